"""One chip for each preset of a lens, and for a setting to change to: the frames against its zone."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

import numpy as np
import pandas as pd

from auditor.frames import KEEPER, LEFT_OUT
from auditor.journey import Audit
from auditor.show.decided import Decided, ZoneSetting, verdicts
from auditor.show.page.model import Chip, Mark, Said, said
from auditor.show.page.ring_scale import RingScale, engravings, ring_unit, scale_of
from auditor.show.words import distances as words
from auditor.show.words.figures import far_limit
from auditor.show.words.next_time import here, ring_name
from auditor.units import format_distance, format_f_number

MOST_CHIPS = 6
MOST_DOTS = 400  # more frames are drawn as bars
COLUMNS, BARS = 64, 40
ROWS_OF_A_BAR = 12  # frames that a bar opens
_FIRST = {"yes": 0, "": 1, "no": 2}  # from the line outward


def chips_of(audit: Audit, number: int, presets: pd.DataFrame, decided: Decided) -> tuple[Chip, ...]:
    """Lay out the chips of a lens: the setting to change to, then the presets with most frames."""
    table = audit.table
    anything_counts = bool((table["counted_as"] != LEFT_OUT).any())
    own = table["preset"].isin(presets["preset"]) & table["in_preset"].fillna(False).astype(bool)
    if anything_counts:
        own &= table["counted_as"].notna() & (table["counted_as"] != LEFT_OUT)
    frames = table[own]
    chosen = presets[presets["near_limit_m"].notna()].sort_values(
        "frames_taken", ascending=False, kind="stable"
    )
    chosen = chosen.head(MOST_CHIPS)
    zones = list(zip(chosen["near_limit_m"], chosen["far_limit_m"], strict=True))
    advised = decided.to_set if decided.kind == "change" else None
    if advised is not None:
        zones.append((advised.near_limit_m, advised.far_limit_m))
    if not zones:
        return ()
    scale = scale_of(frames["subject_distance_m"].dropna(), zones)
    ring_m = decided.ring_m
    now = decided.now.preset if decided.now is not None else None
    first = (
        "new" if advised is not None else now if now in set(chosen["preset"]) else chosen["preset"].iloc[0]
    )
    chips = []
    if advised is not None:
        chips.append(
            _chip(f"{number}-new", "as advised", advised, frames, scale, ring_m, first=first == "new")
        )
    for place, row in enumerate(chosen.itertuples()):
        setting = ZoneSetting(row.f_number, row.focus_distance_m, row.near_limit_m, row.far_limit_m)
        own = frames[frames["preset"] == row.preset]
        name = "" if _grouped(own) else str(row.preset)
        chip = _chip(f"{number}-{place}", name, setting, own, scale, ring_m, first=row.preset == first)
        more = here(decided, str(row.preset))
        chips.append(replace(chip, finding=Said(chip.finding.m + more, chip.finding.ft + more)))
    return tuple(chips)


def _grouped(own: pd.DataFrame) -> bool:
    """Whether a preset was named after its setting, since nobody declared it."""
    return bool(len(own)) and own["preset_source"].iloc[0] == "grouped"


def _chip(
    key: str,
    name: str,
    setting: ZoneSetting,
    frames: pd.DataFrame,
    scale: RingScale,
    ring_m: tuple[float, ...],
    *,
    first: bool,
) -> Chip:
    known = frames[frames["subject_distance_m"].notna()]
    set_to = f"{format_f_number(setting.f_number)}, {ring_name(setting.focus_distance_m, ring_unit(ring_m))}"
    near, far, focus = setting.near_limit_m, setting.far_limit_m, setting.focus_distance_m
    kept = (known["counted_as"] == KEEPER).to_numpy()
    marked = (known["counted_as"].notna() & (known["counted_as"] != LEFT_OUT)).to_numpy()
    met = known["subject_distance_m"].to_numpy(float)
    inside = (met >= near) & (met <= far)
    bars = len(known) > MOST_DOTS
    return Chip(
        key=key,
        label=" · ".join(part for part in (name, set_to) if part),
        now=first,
        near_at=scale.at(near),
        far_at=scale.at(far),
        near=said(lambda units: format_distance(near, units)),
        far=said(lambda units: far_limit(far, focus, units)),
        marks=marks_of(known, scale, bars=bars),
        bars=bars,
        engravings=engravings(scale, ring_m, focus),
        finding=said(
            lambda _: words.drawn(
                len(known),
                int(inside.sum()),
                int((inside & kept).sum()),
                int((~inside & kept).sum()),
                marked=bool(marked.any()),
                sample=_is_sample(frames, known),
            )
        ),
        without_distance=words.not_drawn(len(frames) - len(known)),
    )


def _is_sample(frames: pd.DataFrame, known: pd.DataFrame) -> bool:
    """Whether keepers are drawn much more, or less, often than there are."""
    if not len(known) or len(known) > 0.9 * len(frames):
        return False
    all_kept, known_kept = ((part["counted_as"] == KEEPER).mean() for part in (frames, known))
    return bool(abs(known_kept - all_kept) > 0.1 * max(all_kept, 0.05))


def marks_of(known: pd.DataFrame, scale: RingScale, *, bars: bool) -> tuple[Mark, ...]:
    """Put each frame with a distance into its column: as dots stacked from the line, or as bars."""
    columns = BARS if bars else COLUMNS
    places = np.array([scale.at(distance) for distance in known["subject_distance_m"]])
    column = np.minimum((places * columns).astype(int), columns - 1)
    judged = verdicts(known).fillna("").replace("unsure", "").to_numpy(object)
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
