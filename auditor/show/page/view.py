"""Chooses, counts and words what the page says of each lens; rates and decisions are the audit's."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from auditor.advice.paired import Paired
from auditor.evidence.causes import CAUSES, UNEXPLAINED
from auditor.frames import NOT_KEPT
from auditor.journey import Audit
from auditor.show.chart_tables import share_axis_end
from auditor.show.decided import (
    Decided,
    ZoneSetting,
    best_of,
    gather_decision,
    is_setting,
    lenses_of,
    presets_of,
)
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
from auditor.show.words.figures import setting, zone
from auditor.units import METRES_PER_FOOT, format_distance, format_f_number

MOST_DIFFERENCES, MOST_REASONS, MOST_TELLING, MOST_RINGS = 6, 5, 6, 7


def lens_views(audit: Audit) -> tuple[LensView, ...]:
    """Everything that the page says, lens by lens; the one that advice is about comes first."""
    return tuple(_lens_view(audit, number, lens) for number, lens in enumerate(lenses_of(audit)))


def _lens_view(audit: Audit, number: int, lens: str) -> LensView:
    decided = gather_decision(audit, lens)
    presets = presets_of(audit, lens)
    rows = preset_rows(audit, presets, decided.now)
    pairs = differences(audit, set(presets["preset"]))
    causes = causes_of(audit, list(presets["preset"]))
    counts = {cause.name: cause.of_100 for cause in causes}
    measured_lost = audit.causes.by_preset
    noted = own_reasons(audit, list(presets["preset"]))
    high = pd.Series([rate.high for row in rows for rate in (row.kept, row.sharp) if rate], dtype=float)
    return LensView(
        name=lens,
        next_time=_next_time(audit, decided, counts),
        chips=chips_of(audit, number, presets, decided),
        presets=rows,
        presets_title=presets_title(rows, pairs),
        top=share_axis_end(high) if high.notna().any() else 1.0,
        differences=pairs,
        causes=causes,
        causes_title=cause_words.title(counts),
        causes_known=int(measured_lost[measured_lost["preset"].isin(presets["preset"])]["not_kept"].sum()),
        reasons=tuple(noted.most_common(MOST_REASONS)),
        reasons_noted=noted.total(),
        rings=ring_by_stop(decided),
        telling=telling_of(audit, set(presets["preset"])),
    )


def _next_time(audit: Audit, decided: Decided, causes: dict[str, int]) -> NextTime:
    step = next_time.step(decided, audit.sources)
    known = decided.known
    expected = next_time.expect(decided)
    zone_said = next_time.in_the_zone(known)
    sentences = [next_time.rests_on(known), next_time.strictness(decided)]
    return NextTime(
        headline=said(lambda _: next_time.headline(decided)),
        expect=said(lambda _: expected),
        instead=said(lambda _: next_time.instead(decided)),
        blur=said(lambda _: next_time.blur_costs(causes, decided.exposure_time_s)),
        walk=said(lambda _: next_time.next_walk(decided)),
        sure=tuple(one for one in (*sentences, zone_said if zone_said != expected else "") if one),
        step=step,
    )


def preset_rows(audit: Audit, presets: pd.DataFrame, now: ZoneSetting | None) -> tuple[PresetRow, ...]:
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
                setting=said(partial(setting_of, row)),
                zone=said(partial(zone, row.near_limit_m, row.far_limit_m, row.focus_distance_m)),
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


def presets_title(rows: Sequence[PresetRow], pairs: Sequence[Difference]) -> str:
    """Say what the presets' rates show, as a title."""
    counted = [row for row in rows if row.kept.of]
    if not counted:
        return "What was set" if rows else ""
    if len(counted) == 1:
        return f"One preset: {counted[0].kept.hits} of {counted[0].kept.of} presses held a keeper"
    sure = [pair for pair in pairs if pair.sure]
    if not sure:
        return "No preset surely keeps more than another"
    return comparisons.title([(pair.better, pair.worse) for pair in sure])


def differences(audit: Audit, presets: set[str]) -> tuple[Difference, ...]:
    """Differences between presets of one lens within the same walks and light, the largest first."""
    pairs = audit.comparisons.pairs
    if not len(pairs):
        return ()
    own = pairs["preset_a"].isin(presets) & (pairs["status"] == "compared") & pairs["difference"].notna()
    found = []
    for row in pairs[own].itertuples():
        sign = 1 if row.difference >= 0 else -1
        better, worse = (row.preset_a, row.preset_b)[::sign]
        low, high = sorted((sign * row.low, sign * row.high))
        sure = isinstance(row.better, str)
        found.append(Difference(better, worse, 100 * abs(row.difference), 100 * low, 100 * high, sure))
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


def own_reasons(audit: Audit, presets: Sequence[str]) -> Counter[str]:
    """Count the photographer's own reasons for frames not kept."""
    table = audit.table
    own = table.loc[table["preset"].isin(presets) & (table["counted_as"] == NOT_KEPT), "reason"].dropna()
    return Counter(reason.strip().lower() for reason in own if reason.strip())


def ring_by_stop(decided: Decided) -> tuple[RingByStop, ...]:
    """Sharp of 100 at each stop and engraving, now and best outlined; by light too where the best differs."""
    told = decided.told
    if told is None or told.paired is None:
        return ()
    lights = [("", told.paired)]
    lights += [
        (str(one.light), one.paired)
        for one in told.situations
        if one.light
        and one.paired is not None
        and told.decision.kind != "cannot_tell"
        and one.decision.setting not in (None, told.decision.setting)
    ]
    made = [_ring_by_stop(light, paired, decided.now, decided.ring_m) for light, paired in lights]
    if made[0] is not None:
        made[0] = replace(made[0], of_passers=told.subjects.of_passers)
    return tuple(one for one in made if one is not None)


def _ring_by_stop(
    light: str, paired: Paired, now: ZoneSetting | None, ring_m: Sequence[float]
) -> RingByStop | None:
    best = best_of(paired)
    if best is None:
        return None
    unit = ring_unit(ring_m)
    metres = METRES_PER_FOOT if unit == "ft" else 1.0
    stops = np.unique(paired.f_number)
    rings = _around(np.unique(paired.focus_distance_m[paired.tried]), paired.focus_distance_m[best])
    value = {
        (paired.f_number[row], paired.focus_distance_m[row]): float(paired.share[row])
        for row in np.flatnonzero(paired.tried)
    }
    cells = tuple(
        tuple(
            Cell(
                value.get((stop, ring), math.nan),
                bool(now is not None and is_setting(now, stop, ring)),
                bool(paired.f_number[best] == stop and paired.focus_distance_m[best] == ring),
            )
            for ring in rings
        )
        for stop in stops
    )
    named = tuple("∞" if math.isinf(ring) else f"{ring / metres:.3g}" for ring in rings)
    numbers = tuple(format_f_number(stop) for stop in stops)
    return RingByStop(light, numbers, named, unit, cells, subjects=paired.subjects)


def _around(rings: np.ndarray, best_m: float) -> np.ndarray:
    """The engravings nearest to the best one, in their order."""
    at = int(np.flatnonzero(rings == best_m)[0])
    start = min(max(at - MOST_RINGS // 2, 0), max(len(rings) - MOST_RINGS, 0))
    return rings[start : start + MOST_RINGS]


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
            said(partial(format_distance, row.subject_distance_m)),
        )
        for row in own.sort_values("why", kind="stable").itertuples()
    )
