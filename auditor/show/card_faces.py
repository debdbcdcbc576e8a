"""What stands on the faces of a wallet card: of a decision, or of a lens as typed."""

import math
from typing import Any

import numpy as np
import pandas as pd

from auditor.journey import Audit
from auditor.optics.bench import Bench
from auditor.optics.framing import landmark_at, lower_edge_m, standing_share
from auditor.show.cards import BEYOND, NO_ZONE, ZoneTable, make_table
from auditor.show.decided import Decided, ZoneSetting, frames_of, gather_decision
from auditor.show.page.ring_scale import engravings, scale_of
from auditor.show.wallet import MOST_STOPS, WalletCard
from auditor.show.words.figures import exposure
from auditor.show.words.next_time import FEW_PRESSES, engraved_scale, setting_name, strictness
from auditor.show.words.plain import one_in

USUAL_STOPS = (4.0, 5.6, 8.0, 11.0, 16.0)


def advised_card(audit: Audit, lens: str) -> WalletCard | None:
    """Lay out the card of one lens; None where nothing can be said of what to set."""
    decided = gather_decision(audit, lens)
    one = decided.to_set or (decided.now if decided.kind == "not_focus" else None)
    if one is None or decided.weighed is None:
        return None
    frames = frames_of(audit, lens)
    latest = frames["captured_at"].max()
    coc_mm = float(frames["coc_mm"].median())
    stops = sorted({*USUAL_STOPS, one.f_number})
    rings = [ring for ring in set(decided.bench.ring_m) if ring > 0.008 * decided.bench.focal_length_mm]
    if not one.is_at(one.f_number, rings).any():
        rings.append(one.focus_distance_m)
    rings.sort()
    row = next(at for at, ring in enumerate(rings) if one.is_at(one.f_number, ring))
    said = (coc_mm, str(frames["coc_criterion"].dropna().iloc[0]))
    return _card(
        one,
        make_table(decided.bench, stops, rings, coc_mm, said),
        lens=lens,
        now=(row, stops.index(one.f_number)),
        columns=range(len(stops)),
        expect=_expect(decided),
        exposure=exposure(decided.exposure_time_s, decided.iso),
        date="" if pd.isna(latest) else f"as of {latest.day} {latest:%B %Y}",
        notes=(
            strictness(decided) if decided.weighed.decision.rests_on != "optics" else "",
            "" if decided.bench.shift_mm else engraved_scale(decided).partition(". ")[0],
        ),
    )


def typed_cards(table: ZoneTable) -> list[WalletCard]:
    """Lay out the cards of a lens as typed, six stops on each; the front keeps infinity sharp if it can."""
    sensor, many = table.bench.sensor, math.ceil(len(table.f_numbers) / MOST_STOPS)
    cards = []
    for columns in np.array_split(np.arange(len(table.f_numbers)), many):
        column = int(columns[len(columns) // 2])
        rows = range(len(table.ring_m))
        sharp = [row for row in rows if table.limits(row, column)[0] != NO_ZONE]
        row = next((row for row in rows if table.endless(row, column)), (sharp or rows)[-1])
        setting = (table.f_numbers[column], table.ring_m[row])
        limits = (table.zone.near_limit_m[row, column], table.zone.far_limit_m[row, column])
        what = (
            "the nearest mark that keeps infinity sharp"
            if table.endless(row, column)
            else "the farthest mark"
        )
        cards.append(
            _card(
                ZoneSetting(*setting, *limits),
                table,
                lens=f"{table.bench.focal_length_mm:g} mm on {sensor.width_mm:g} x {sensor.height_mm:g} mm",
                now=(row, column),
                columns=range(int(columns[0]), int(columns[-1]) + 1),
                expect=what if sharp else "nothing is sharp there",
            )
        )
    return cards


def _card(one: ZoneSetting, back: ZoneTable, **said: Any) -> WalletCard:
    """Put a setting with its zone on a front, and the table on the back."""
    bench = back.bench
    units = bench.units  # what is engraved is read; a card in the other unit would have to be converted
    near, far = (end if end in (NO_ZONE, "∞") else f"{end} {units}" for end in back.limits(*said["now"]))
    if BEYOND in far:
        far = f"beyond {far.replace(BEYOND, '')}"
    scale = scale_of([], [(one.near_limit_m, one.far_limit_m), (0.7 * one.near_limit_m, one.near_limit_m)])
    return WalletCard(
        setting=setting_name(one, units),
        near=near,
        far=far,
        near_at=scale.at(one.near_limit_m),
        far_at=scale.at(one.far_limit_m),
        engravings=engravings(scale, bench.ring_m, one.focus_distance_m),
        cues=viewfinder_cues(one, bench),
        back=back,
        **said,
    )


def _expect(decided: Decided) -> str:
    weighed = decided.weighed
    if weighed is None or not decided.known.keepers or weighed.level.presses < FEW_PRESSES:
        return ""
    return f"a keeper in {one_in(weighed.level.rate, 'press')}"


def viewfinder_cues(one: ZoneSetting, bench: Bench) -> tuple[str, ...]:
    """Say what the frame cuts at the zone's ends, held level and upright, the camera at 1.6 m."""
    sides = (bench.sensor.width_mm, bench.sensor.height_mm)
    if math.isnan(bench.focal_length_mm) or any(math.isnan(side) for side in sides):
        return ()
    ends = [one.near_limit_m, one.far_limit_m]
    if one.far_limit_m > 4 * one.focus_distance_m:  # so far away nobody tells a metre by it
        ends = [one.near_limit_m, one.focus_distance_m]
    ends = [end for end in ends if math.isfinite(end)]
    if not ends:
        return ()
    held = (("Level", min(sides)), ("Upright", max(sides)))
    return tuple(f"{how}, the frame {_cuts(ends, height_mm, bench)}." for how, height_mm in held)


def _cuts(ends: list[float], height_mm: float, bench: Bench) -> str:
    said, verb = [], ""
    for distance_m in ends:
        edge_m = float(lower_edge_m(distance_m, bench.focal_length_mm, height_mm))
        share = standing_share(distance_m, bench.focal_length_mm, height_mm)
        part = landmark_at(edge_m)
        now = "cuts " if part is not None or edge_m > 0 else "holds "
        what = f"the {part}" if part is not None else f"{bench.shown(edge_m)} up"
        if now == "holds ":
            what = f"people {100 * share:.0f} % high" if now != verb else f"{100 * share:.0f} %"
        at_m = round(distance_m, 1) if bench.units == "m" else distance_m
        said.append(f"{now if now != verb else ''}{what} at {bench.shown(at_m)}")
        verb = now
    return ", ".join(said)
