"""Chooses, counts and words what the page says of each lens; rates and decisions are the audit's."""

from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from auditor.advice.decision import Decision
from auditor.advice.paired import Paired
from auditor.evidence.causes import CAUSES, UNEXPLAINED
from auditor.frames import NOT_KEPT
from auditor.journey import Audit
from auditor.show.chart_tables import share_axis_end
from auditor.show.decided import (
    Decided,
    ZoneSetting,
    gather_decision,
    lenses_of,
    named_by_setting,
    presets_of,
    ring_units,
)
from auditor.show.page.chips import chips_of
from auditor.show.page.model import Cell, Difference, LensView, RingByStop
from auditor.show.page.ring_scale import around, engraved
from auditor.show.words.next_time import otherwise
from auditor.show.words.presets import best_of_all
from auditor.units import format_f_number

MOST_DIFFERENCES, MOST_RINGS = 6, 7
FEWEST_LOST = 10  # frames left at a known distance; of fewer no share is said


def lens_views(audit: Audit) -> tuple[LensView, ...]:
    """Everything that the page says, lens by lens; the one that advice is about comes first."""
    return tuple(_lens_view(audit, number, lens) for number, lens in enumerate(lenses_of(audit)))


def _lens_view(audit: Audit, number: int, lens: str) -> LensView:
    decided, presets = gather_decision(audit, lens), presets_of(audit, lens)
    names = set(presets["preset"])
    rows, pairs, causes = _preset_rows(audit, presets, decided.now), _differences(audit, names), {}
    lost = audit.causes.by_preset[audit.causes.by_preset["preset"].isin(names)]
    if audit.tolerance.carries and lost["not_kept"].sum() >= FEWEST_LOST:
        causes = _shared_out(lost)
    high = presets[["high", "sharp_high"] if (presets["sharp_judged"] > 0).any() else ["high"]].max()
    return LensView(
        decided=decided,
        chips=chips_of(audit, number, presets, decided),
        presets=rows,
        presets_title=_presets_title(rows, pairs),
        top=share_axis_end(high) if high.notna().any() else 1.0,
        differences=pairs,
        causes=causes,
        causes_known=int(lost["not_kept"].sum()),
        reasons=_own_reasons(audit.table, names),
        rings=_ring_by_stop(decided),
    )


def _preset_rows(audit: Audit, presets: pd.DataFrame, now: ZoneSetting | None) -> list[Any]:
    """Rows of a lens's presets, the best first; one that is named after its setting has no ``name``."""
    rows = presets.sort_values("hit_rate", ascending=False, na_position="last", kind="stable")
    names = rows["preset"].mask(rows["preset"].isin(named_by_setting(audit.table)), "")
    is_now = rows["preset"] == (now.preset if now is not None else None)
    units = rows["preset"].map(ring_units(audit))
    return list(rows.assign(name=names, now=is_now, ring_unit=units).itertuples())


def _presets_title(rows: Sequence[Any], pairs: Sequence[Difference]) -> str:
    """Say what the presets' rates show, as a title."""
    counted = [row for row in rows if row.bursts]
    if not counted:
        return "What was set" if rows else ""
    if len(counted) == 1:
        return f"One preset: of presses that count, {counted[0].hits} of {counted[0].bursts} held a keeper"
    sure = [(pair.better, pair.worse) for pair in pairs if pair.sure]
    return best_of_all(sure) if sure else "No preset surely keeps more than another"


def _differences(audit: Audit, presets: set[str]) -> tuple[Difference, ...]:
    """Differences between presets of one lens within the same walks and light, the largest first."""
    pairs, found = audit.comparisons, []
    if not len(pairs):
        return ()
    own = pairs["preset_a"].isin(presets) & (pairs["status"] == "compared") & pairs["difference"].notna()
    for row in pairs[own].itertuples():
        sign = 1 if row.difference >= 0 else -1
        better, worse = (row.preset_a, row.preset_b)[::sign]
        low, high = sorted((sign * row.low, sign * row.high))
        sure = isinstance(row.better, str)
        found.append(Difference(better, worse, 100 * abs(row.difference), 100 * low, 100 * high, sure))
    return tuple(sorted(found, key=lambda one: -one.points)[:MOST_DIFFERENCES])


def _shared_out(lost: pd.DataFrame) -> dict[str, int]:
    """Of 100 frames not kept, how many each cause accounts for: what blur does not explain first."""
    shares = dict(zip(CAUSES, out_of_100([float(lost[name].sum()) for name in CAUSES]), strict=True))
    order = sorted(shares, key=lambda name: (name != UNEXPLAINED, -shares[name]))
    return {name: shares[name] for name in order if shares[name]}


def out_of_100(frames: Sequence[float]) -> list[int]:
    """Share 100 out in whole numbers, what is left over by the largest rests.

    >>> out_of_100([1, 1, 1])
    [34, 33, 33]
    """
    exact = 100 * np.asarray(frames, dtype=float) / sum(frames)
    whole = np.floor(exact).astype(int)
    for place in np.argsort(-(exact - whole), kind="stable")[: 100 - whole.sum()]:
        whole[place] += 1
    return [int(number) for number in whole]


def _own_reasons(table: pd.DataFrame, presets: set[str]) -> Counter[str]:
    """Count the photographer's own reasons for frames not kept."""
    own = table.loc[table["preset"].isin(presets) & (table["counted_as"] == NOT_KEPT), "reason"].dropna()
    return Counter(reason.strip().lower() for reason in own if reason.strip())


def _ring_by_stop(decided: Decided) -> tuple[RingByStop, ...]:
    """Sharp of 100 at each stop and engraving, now and best outlined; by light too where the best differs."""
    weighed = decided.weighed
    if weighed is None or weighed.paired is None:
        return ()
    lights = [("", weighed.paired, weighed.decision, weighed.subjects.of_passers)]
    lights += [
        (str(one.light), one.paired, one.decision, False)
        for one, _ in otherwise(weighed)
        if one.light and one.paired is not None
    ]
    return tuple(
        _in_light(light, paired, best, decision, decided, of_passers=of_passers)
        for light, paired, decision, of_passers in lights
        if (best := paired.best_tried()) is not None
    )


def _in_light(
    light: str, paired: Paired, best: int, decision: Decision, decided: Decided, *, of_passers: bool
) -> RingByStop:
    unit, now = decided.bench.units, decided.now
    alike = {(one.f_number, one.focus_distance_m) for one in decision.latitude}
    at_best = paired.f_number[best], paired.focus_distance_m[best]
    every = {"stop": paired.f_number, "ring": paired.focus_distance_m, "share": paired.share}
    share = pd.DataFrame(every)[paired.tried].pivot_table("share", "stop", "ring")
    shown = around(len(share.columns), share.columns.get_loc(at_best[1]), MOST_RINGS)
    share = share.reindex(np.unique(paired.f_number)).iloc[:, shown]

    def cell(stop: float, ring: float, value: float) -> Cell:
        in_use = now is not None and bool(now.is_at(stop, ring))
        return Cell(value, in_use, (stop, ring) == at_best, (stop, ring) in alike)

    cells = tuple(
        tuple(cell(stop, ring, value) for ring, value in row.items()) for stop, row in share.iterrows()
    )
    rings = tuple(engraved(ring, unit) for ring in share.columns)
    return RingByStop(
        light, tuple(map(format_f_number, share.index)), rings, unit, cells, of_passers, paired.subjects
    )
