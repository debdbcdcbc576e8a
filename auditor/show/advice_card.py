"""The pocket card of the advised settings: what to set in which light, and what is sharp then."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from auditor.advice.lens_use import same_ring
from auditor.advice.result import Advice, ValuedSetting
from auditor.optics.lens import sharp_zone
from auditor.show.cards import Card
from auditor.show.words.advice import setting_name

MOST_SETTINGS = 3  # in order of preference, beside those for each light


@dataclass(frozen=True, slots=True)
class AdvisedCard(Card):
    """A card with what is advised at its head.

    Attributes
    ----------
    heading, remark : str
        What to set, and below the table in which light.
    """

    heading: str = ""
    remark: str = ""

    @property
    def title(self) -> str:
        """What to set."""
        return self.heading

    @property
    def note(self) -> str:
        """In which light, or how sharp is meant."""
        return self.remark or f"blur within {self.coc_mm:.3f} mm, from the sensor plane"


def advised_card(advice: Advice, units: str) -> AdvisedCard | None:
    """Lay out the card: the advised stops and rings, each with its zone; None without any."""
    if not advice.settings or not (advice.by_curve or advice.change_advised):
        return None
    kinds = [] if advice.one_serves_all else list(advice.by_light)
    first = advice.settings[0] if advice.change_advised or not advice.current else advice.current[0]
    chosen: list[ValuedSetting] = [
        first, *advice.settings[:MOST_SETTINGS], *(kind.setting for kind in kinds)
    ]  # fmt: skip
    stops = np.array(sorted({one.f_number for one in chosen}))
    rings: list[float] = []
    for one in chosen:
        if not same_ring(one.focus_distance_m, np.array(rings)).any():
            rings.append(one.focus_distance_m)
    ring_m = np.array(sorted(rings))
    name = f"{advice.focal_length_mm:.3g} mm"
    return AdvisedCard(
        focal_length_mm=advice.focal_length_mm,
        f_numbers=stops,
        ring_m=ring_m,
        zone=sharp_zone(advice.focal_length_mm, stops, ring_m[:, None], advice.coc_mm),
        coc_mm=advice.coc_mm,
        coc_criterion="",
        distance_from="sensor",
        units=units,
        heading=f"{name}: by the light" if kinds else f"{name}: {setting_name(first, units)}",
        remark=", ".join(f"{kind.name} {setting_name(kind.setting, units)}" for kind in kinds),
    )
