"""The wallet card of a decision: what to set with one lens, and what is sharp then."""

from __future__ import annotations

import math

import pandas as pd

from auditor.journey import Audit
from auditor.optics.bench import Bench
from auditor.optics.framing import landmark_at, lower_edge_m, standing_share
from auditor.show.cards import Card, make_card
from auditor.show.decided import Decided, ZoneSetting, frames_of, gather_decision, is_setting
from auditor.show.page.ring_scale import engravings, scale_of
from auditor.show.wallet import WalletCard
from auditor.show.words.figures import exposure, far_limit
from auditor.show.words.next_time import engraved_scale, setting_name, strictness
from auditor.show.words.plain import one_in
from auditor.units import format_distance

USUAL_STOPS = (4.0, 5.6, 8.0, 11.0, 16.0)


def advised_cards(audit: Audit, lenses: list[str]) -> list[WalletCard]:
    """Lay out a card for each lens of which something can be said of what to set."""
    made = (advised_card(audit, lens) for lens in lenses)
    return [card for card in made if card is not None]


def advised_card(audit: Audit, lens: str) -> WalletCard | None:
    """Lay out the card of one lens; None where nothing can be said of what to set."""
    decided = gather_decision(audit, lens)
    one = decided.to_set or (decided.now if decided.kind == "not_focus" else None)
    if one is None or decided.told is None:
        return None
    frames = frames_of(audit, lens)
    ring_m = decided.ring_m
    units = decided.ring_unit  # what is engraved is read; a card in the other unit would have to be converted
    scale = scale_of([], [(one.near_limit_m, one.far_limit_m), (0.7 * one.near_limit_m, one.near_limit_m)])
    back, row, column = _table(one, frames, decided.bench)
    latest = frames["captured_at"].max()
    return WalletCard(
        lens=lens,
        setting=setting_name(one, units),
        near=format_distance(one.near_limit_m, units),
        far=far_limit(one.far_limit_m, one.focus_distance_m, units),
        near_at=scale.at(one.near_limit_m),
        far_at=scale.at(one.far_limit_m),
        engravings=engravings(scale, ring_m, one.focus_distance_m),
        expect=_expect(decided),
        exposure=exposure(decided.exposure_time_s, decided.iso),
        cues=viewfinder_cues(one, frames, units),
        date="" if pd.isna(latest) else f"as of {latest:%-d %B %Y}",
        back=back,
        now_row=row,
        now_column=column,
        eye=strictness(decided) if decided.told.decision.rests_on != "optics" else "",
        scale=engraved_scale(decided).partition(". ")[0],
    )


def _table(one: ZoneSetting, frames: pd.DataFrame, bench: Bench) -> tuple[Card, int, int]:
    """Near and far limits for the ring's engravings and the stops, and the cell that is set."""
    stops = sorted({*USUAL_STOPS, one.f_number})
    rings = [ring for ring in set(bench.ring_m) if ring > 0.008 * bench.focal_length_mm]
    if not any(is_setting(one, one.f_number, ring) for ring in rings):
        rings.append(one.focus_distance_m)
    rings.sort()
    coc_mm = float(frames["coc_mm"].median())
    card = make_card(bench, stops, rings, coc_mm, (coc_mm, str(frames["coc_criterion"].dropna().iloc[0])))
    row = next(at for at, ring in enumerate(rings) if is_setting(one, one.f_number, ring))
    return card, row, stops.index(one.f_number)


def _expect(decided: Decided) -> str:
    told = decided.told
    if told is None or not decided.known.keepers or math.isnan(told.level.rate):
        return ""
    return f"about {one_in(told.level.rate, 'press')} holds a keeper"


def viewfinder_cues(one: ZoneSetting, frames: pd.DataFrame, units: str) -> tuple[str, ...]:
    """Say what the frame cuts at the zone's ends, held level and upright, the camera at 1.6 m."""
    focal_mm = float(frames["focal_length_mm"].median())
    sides = [float(frames[f"sensor_{side}_mm"].median()) for side in ("width", "height")]
    if math.isnan(focal_mm) or any(math.isnan(side) for side in sides):
        return ()
    ends = [one.near_limit_m, one.far_limit_m]
    if one.far_limit_m > 4 * one.focus_distance_m:  # so far away nobody tells a metre by it
        ends = [one.near_limit_m, one.focus_distance_m]
    ends = [end for end in ends if math.isfinite(end)]
    held = (("Held level", min(sides)), ("Upright", max(sides)))
    return tuple(f"{how}, the frame {_cuts(ends, focal_mm, height_mm, units)}." for how, height_mm in held)


def _cuts(ends: list[float], focal_mm: float, height_mm: float, units: str) -> str:
    said, verb = [], ""
    for distance_m in ends:
        edge_m = float(lower_edge_m(distance_m, focal_mm, height_mm))
        share = standing_share(distance_m, focal_mm, height_mm)
        part = landmark_at(edge_m)
        now = "cuts " if part is not None or edge_m > 0 else "holds "
        what = f"the {part}" if part is not None else f"{format_distance(edge_m, units)} up"
        if now == "holds ":
            what = f"a person {100 * share:.0f} % high"
        said.append(f"{now if now != verb else ''}{what} at {format_distance(round(distance_m, 1), units)}")
        verb = now
    return ", ".join(said)
