"""Chooses, counts and words what the page says of each lens. Rates, intervals and decisions are the audit's."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from auditor.advice.result import ValuedSetting
from auditor.evidence.causes import CAUSES, UNEXPLAINED
from auditor.frames import NOT_KEPT
from auditor.journey import Audit
from auditor.show.chart_tables import share_axis_end
from auditor.show.decided import Decided, decide, lens_names, lenses_of, ring_of
from auditor.show.page.chips import chips_of
from auditor.show.page.model import (
    Cause,
    Cell,
    Difference,
    LensView,
    NextTime,
    PresetRow,
    Rate,
    RingByStop,
    Telling,
    said,
)
from auditor.show.page.ring_scale import ring_unit
from auditor.show.words import causes as cause_words
from auditor.show.words import comparisons, next_time, telling
from auditor.show.words import tolerance as tolerance_words
from auditor.show.words.figures import setting, zone
from auditor.units import METRES_PER_FOOT, format_distance, format_f_number

MOST_DIFFERENCES, MOST_REASONS, MOST_TELLING = 6, 5, 6
SAME = 0.02


def lens_views(audit: Audit) -> tuple[LensView, ...]:
    """Everything that the page says, lens by lens; the one that advice is about comes first."""
    return tuple(_lens_view(audit, number, lens) for number, lens in enumerate(lenses_of(audit)))


def _lens_view(audit: Audit, number: int, lens: str) -> LensView:
    decided = decide(audit, lens)
    presets = audit.presets[[name == lens for name in lens_names(audit)]]
    rows = preset_rows(audit, presets, decided.now)
    causes = causes_of(audit, list(presets["preset"]))
    counts = {cause.name: cause.of_100 for cause in causes}
    high = pd.Series([rate.high for row in rows for rate in (row.kept, row.sharp) if rate], dtype=float)
    return LensView(
        name=lens,
        next_time=_next_time(audit, decided, counts),
        chips=chips_of(audit, number, presets, decided),
        presets=rows,
        presets_title=presets_title(audit, lens, rows),
        top=share_axis_end(high) if high.notna().any() else 1.0,
        differences=differences(audit, lens),
        causes=causes,
        causes_title=cause_words.title(counts),
        causes_note=cause_words.caution(audit.causes, audit.settings.speed_m_s) if causes else "",
        reasons=reasons(audit, list(presets["preset"])),
        rings=ring_by_stop(audit, decided),
        telling=telling_of(audit, set(presets["preset"])),
    )


def _next_time(audit: Audit, decided: Decided, causes: dict[str, int]) -> NextTime:
    command, minutes = next_time.step(decided, audit.sources)
    known, now = decided.known, decided.now
    sentences = [
        next_time.rests_on(known),
        next_time.no_marks()
        if known.frames and not known.marked
        else tolerance_words.in_short(audit.tolerance),
        next_time.in_the_zone(known),
    ]
    return NextTime(
        headline=said(lambda units: next_time.headline(decided, units)),
        expect=said(lambda units: next_time.expect(decided, units)),
        instead=said(lambda units: next_time.instead(decided, units)),
        blur=said(lambda units: next_time.blur_costs(causes, now.median_shutter_s if now else math.nan)),  # noqa: ARG005
        walk=said(lambda units: next_time.next_walk(decided, units)),
        sure=tuple(sentence for sentence in sentences if sentence),
        command=command,
        minutes=minutes,
    )


def preset_rows(audit: Audit, presets: pd.DataFrame, now: ValuedSetting | None) -> tuple[PresetRow, ...]:
    """Rates of a lens's presets, the best first."""
    judged = "sharp_judged" in presets and bool((presets["sharp_judged"] > 0).any())
    rows = []
    for row in presets.sort_values(
        "hit_rate", ascending=False, na_position="last", kind="stable"
    ).itertuples():
        own = str(row.preset)
        grouped = _grouped(audit, own)
        rows.append(
            PresetRow(
                name="" if grouped else own,
                setting=said(lambda units, row=row: setting_of(row, units)),  # type: ignore[misc]
                zone=said(
                    lambda units, row=row: zone(
                        row.near_limit_m, row.far_limit_m, row.focus_distance_m, units
                    )  # type: ignore[misc]
                ),
                now=now is not None and now.preset == own,
                kept=Rate(row.hit_rate, row.low, row.high, int(row.hits), int(row.bursts)),
                sharp=Rate(
                    row.sharp_rate, row.sharp_low, row.sharp_high, int(row.sharp), int(row.sharp_judged)
                )
                if judged
                else None,
            )
        )
    return tuple(rows)


def _grouped(audit: Audit, preset: str) -> bool:
    """Whether a preset was named after its setting, since nobody declared it."""
    own = audit.table.loc[audit.table["preset"] == preset, "preset_source"]
    return bool(len(own)) and own.iloc[0] == "grouped"


def setting_of(row: Any, units: str) -> str:
    """Write a preset's setting, without the lens."""
    return setting(row.focal_length_mm, row.f_number, row.focus_distance_m, units).partition(" mm ")[2]


def presets_title(audit: Audit, lens: str, rows: Sequence[PresetRow]) -> str:
    """Say what the presets' rates show, as a title."""
    counted = [row for row in rows if row.kept.of]
    if not counted:
        return "What was set" if rows else ""
    if len(counted) == 1:
        return f"One preset: {counted[0].kept.hits} of {counted[0].kept.of} presses held a keeper"
    sure = [pair for pair in differences(audit, lens) if pair.sure]
    if not sure:
        return "No preset is surely better than another"
    return comparisons.title([(pair.better, pair.worse) for pair in sure])


def differences(audit: Audit, lens: str) -> tuple[Difference, ...]:
    """Differences between a lens's presets within the same sessions and light, the largest first."""
    pairs = audit.comparisons.pairs
    own = set(audit.presets.loc[[name == lens for name in lens_names(audit)], "preset"])
    if not len(pairs):
        return ()
    pairs = pairs[(pairs["status"] == "compared") & pairs["preset_a"].isin(own) & pairs["difference"].notna()]
    found = []
    for row in pairs.itertuples():
        sign = 1 if row.difference >= 0 else -1
        names = (row.preset_a, row.preset_b)[::sign]
        low, high = sorted((sign * row.low, sign * row.high))
        sure = isinstance(row.better, str)
        found.append(Difference(names[0], names[1], 100 * abs(row.difference), 100 * low, 100 * high, sure))
    return tuple(sorted(found, key=lambda one: -one.points)[:MOST_DIFFERENCES])


def causes_of(audit: Audit, presets: Sequence[str]) -> tuple[Cause, ...]:
    """Of 100 frames of these presets that were not kept, how many each cause accounts for."""
    table = audit.causes.by_preset
    own = table[table["preset"].isin(presets)] if audit.tolerance.carries else table.iloc[:0]
    frames = {name: float(own[name].sum()) for name in CAUSES} if len(own) else {}
    if not sum(frames.values()):
        return ()
    shares = out_of_100([frames[name] for name in CAUSES])
    order = sorted(zip(CAUSES, shares, strict=True), key=lambda one: (one[0] != UNEXPLAINED, -one[1]))
    return tuple(Cause(name, cause_words.SHORT[name], number) for name, number in order if number)


def out_of_100(frames: Sequence[float]) -> list[int]:
    """Share 100 out in whole numbers, what is left over by the largest rests.

    Examples
    --------
    >>> out_of_100([1, 1, 1])
    [34, 33, 33]
    """
    exact = 100 * np.asarray(frames, dtype=float) / sum(frames)
    whole = np.floor(exact).astype(int)
    for place in np.argsort(-(exact - whole), kind="stable")[: 100 - whole.sum()]:
        whole[place] += 1
    return [int(number) for number in whole]


def reasons(audit: Audit, presets: Sequence[str]) -> tuple[tuple[str, int], ...]:
    """The photographer's own reasons for frames not kept, the most frequent first."""
    table = audit.table
    own = table.loc[table["preset"].isin(presets) & (table["counted_as"] == NOT_KEPT), "reason"].dropna()
    told = Counter(reason.strip().lower() for reason in own if reason.strip())
    return tuple(told.most_common(MOST_REASONS))


def ring_by_stop(audit: Audit, decided: Decided) -> tuple[RingByStop, ...]:
    """What each stop and engraving would bring, now and best outlined; none where nothing was valued."""
    advice = audit.advice
    if advice is None or advice.lens != decided.lens or not advice.by_curve or decided.now is None:
        return ()
    grid, ring_m = advice.grid, ring_of(audit, decided.lens)
    unit = ring_unit(ring_m)
    metres = METRES_PER_FOOT if unit == "ft" else 1.0
    stops, rings = np.unique(grid["f_number"]), np.unique(grid["focus_distance_m"])
    value = {
        (row.f_number, row.focus_distance_m): row.expected_hit_rate if row.within_experience else math.nan
        for row in grid.itertuples()
    }
    best = decided.setting if decided.setting is not None else advice.settings[0] if advice.settings else None
    seen = [
        ring for ring in rings if any(not math.isnan(value.get((stop, ring), math.nan)) for stop in stops)
    ]
    cells = tuple(
        tuple(
            Cell(
                value.get((stop, ring), math.nan),
                _is(decided.now, stop, ring),
                best is not None and _is(best, stop, ring),
            )
            for ring in seen
        )
        for stop in stops
    )
    named = tuple("∞" if math.isinf(ring) else f"{ring / metres:.3g}" for ring in seen)
    return (RingByStop("", tuple(format_f_number(stop) for stop in stops), named, unit, cells),)


def _is(one: ValuedSetting, stop: float, ring: float) -> bool:
    same_ring = one.focus_distance_m == ring or math.isclose(one.focus_distance_m, ring, rel_tol=SAME)
    return same_ring and math.isclose(one.f_number, stop, rel_tol=SAME)


def telling_of(audit: Audit, presets: set[str]) -> tuple[Telling, ...]:
    """Frames to look at, so that each kind that there is comes first once."""
    if not audit.tolerance.carries:
        return ()
    own = audit.telling[audit.telling["preset"].isin(presets)]
    turn = own.groupby("why", sort=False).cumcount()
    own = own.iloc[np.argsort(turn.to_numpy(), kind="stable")].head(MOST_TELLING)
    place = {file: row for row, file in reversed(list(enumerate(audit.table["file"])))} if len(own) else {}
    return tuple(
        Telling(
            place[row.file],
            row.file,
            telling.SHORT[row.why],
            said(lambda units, at_m=row.subject_distance_m: format_distance(at_m, units)),  # type: ignore[misc]
        )
        for row in own.sort_values("why", kind="stable").itertuples()
    )
