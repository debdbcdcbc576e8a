"""One chip for each preset of a lens, and for a setting to change to: the frames against its zone."""

import math
from collections import defaultdict
from functools import partial

import numpy as np
import pandas as pd

from auditor.evidence.bursts import is_counted
from auditor.frames import KEEPER, LEFT_OUT
from auditor.journey import Audit
from auditor.optics.rings import ring_unit
from auditor.show.decided import Decided, ZoneSetting, named_by_setting, zone_setting
from auditor.show.page.model import Chip, Mark, said
from auditor.show.page.ring_scale import RingScale, engravings, scale_of
from auditor.show.words import distances as words
from auditor.show.words.figures import far_limit
from auditor.show.words.next_time import here
from auditor.units import format_distance, format_f_number

MOST_CHIPS = 6
MOST_DOTS = 400  # more frames are drawn as bars
COLUMNS, BARS = 64, 40
ROWS_OF_A_BAR = 12  # frames that a bar opens
_FIRST = {"yes": 0, "": 1, "no": 2}  # from the line outward


def chips_of(audit: Audit, number: int, presets: pd.DataFrame, decided: Decided) -> tuple[Chip, ...]:
    """Lay out the chips of a lens: the setting to change to, then the presets with most frames."""
    table = audit.table
    own = table["preset"].isin(presets["preset"]) & table["in_preset"].fillna(False).astype(bool)
    read = ["preset", "subject_distance_m", "counted_as", "sharp"]
    frames = table.loc[own, read]
    chosen = presets[presets["near_limit_m"].notna()]
    chosen = chosen.sort_values("frames_taken", ascending=False, kind="stable").head(MOST_CHIPS)
    settings = {str(row.preset): zone_setting(row) for row in chosen.itertuples()}
    grouped = named_by_setting(table)
    shown = [
        ("" if preset in grouped else preset, one, frames[frames["preset"] == preset], here(decided, preset))
        for preset, one in settings.items()
    ]
    first = list(settings).index(decided.now.preset) if decided.now and decided.now.preset in settings else 0
    keys = [f"{number}-{place}" for place in range(len(shown))]
    new = decided.to_set
    if new is not None and not decided.stays and not math.isnan(new.near_limit_m):
        shown.insert(0, ("as advised", new, frames, ""))
        keys.insert(0, f"{number}-new")
        first = 0
    scale = scale_of(
        frames["subject_distance_m"].dropna(), [(one.near_limit_m, one.far_limit_m) for _, one, *_ in shown]
    )
    return tuple(
        _chip(key, *one, scale, decided.bench.ring_m, now=place == first)
        for place, (key, one) in enumerate(zip(keys, shown, strict=True))
    )


def _chip(
    key: str,
    name: str,
    setting: ZoneSetting,
    frames: pd.DataFrame,
    more: str,
    scale: RingScale,
    ring_m: tuple[float, ...],
    *,
    now: bool,
) -> Chip:
    known = frames[frames["subject_distance_m"].notna()]
    near, far, focus = setting.near_limit_m, setting.far_limit_m, setting.focus_distance_m
    set_to = f"{format_f_number(setting.f_number)}, {format_distance(focus, ring_unit(ring_m))}"
    kept = (known["counted_as"] == KEEPER).to_numpy()
    marked = is_counted(known)
    inside = known["subject_distance_m"].between(near, far).to_numpy()
    bars = len(known) > MOST_DOTS
    counts = len(known), int(inside.sum()), int((inside & kept).sum()), int((~inside & kept).sum())
    finding = words.drawn(*counts, marked=bool(marked.any()), sample=_is_sample(frames, known))
    return Chip(
        key=key,
        label=" · ".join(part for part in (name, set_to) if part),
        now=now,
        near_at=scale.at(near),
        far_at=scale.at(far),
        near=said(partial(format_distance, near)),
        far=said(partial(far_limit, far, focus)),
        marks=marks_of(known, scale, bars=bars),
        bars=bars,
        engravings=engravings(scale, ring_m, focus),
        finding=finding + more,
        without_distance=words.not_drawn(len(frames) - len(known)),
    )


def _is_sample(frames: pd.DataFrame, known: pd.DataFrame) -> bool:
    """Whether keepers are drawn much more, or less, often than there are."""
    frames, known = (part[is_counted(part)] for part in (frames, known))
    if not len(known) or len(known) > 0.9 * len(frames):
        return False
    all_kept, known_kept = ((part["counted_as"] == KEEPER).mean() for part in (frames, known))
    return bool(abs(known_kept - all_kept) > 0.1 * max(all_kept, 0.05))


def marks_of(known: pd.DataFrame, scale: RingScale, *, bars: bool) -> tuple[Mark, ...]:
    """Put each frame with a distance into its column: as dots stacked from the line, or as bars."""
    columns = BARS if bars else COLUMNS
    places = np.array([scale.at(distance) for distance in known["subject_distance_m"]])
    column = np.minimum((places * columns).astype(int), columns - 1)
    judged = known["sharp"].fillna("").replace("unsure", "").to_numpy(object)
    counted = known["counted_as"].to_numpy(object)
    stacks: dict[tuple[int, bool | None], list[tuple[int, int, str]]] = defaultdict(list)
    for at, row, mark, sharp in zip(column, known.index, counted, judged, strict=True):
        kept = None if not isinstance(mark, str) or mark == LEFT_OUT else mark == KEEPER
        stacks[int(at), kept].append((_FIRST[sharp], int(row), sharp))
    marks = []
    for (at, kept), stack in sorted(stacks.items(), key=lambda one: (one[0][0], str(one[0][1]))):
        middle = (at + 0.5) / columns
        if bars:
            rows = tuple(row for _, row, _ in stack[:: max(len(stack) // ROWS_OF_A_BAR, 1)])[:ROWS_OF_A_BAR]
            marks.append(Mark(middle, len(stack), kept, "", rows))
            continue
        for level, (_, row, sharp) in enumerate(sorted(stack), 1):
            marks.append(Mark(middle, level, kept, sharp, (row,)))
    return tuple(marks)
