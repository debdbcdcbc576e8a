"""The light that planned settings need, as lines to read and as JSON rows."""

from __future__ import annotations

from typing import Any

from auditor.advice.light_kinds import KindOfLight, scene_at
from auditor.advice.limits import LightNeeded
from auditor.optics.lens import Floats
from auditor.show.words.figures import about
from auditor.units import format_exposure_time, format_f_number


def light_rows(f_number: Floats, light: LightNeeded, kind: KindOfLight | None) -> list[dict[str, Any]]:
    """What each f-number needs, and the ISO in a stated light."""
    return [
        {"wanted_ev": float(light.wanted_ev[i]), "darkest_ev": float(light.darkest_ev[i])}
        | ({"iso": _iso(float(number), light, kind)} if kind else {})
        for i, number in enumerate(f_number)
    ]


def light_text(f_number: Floats, light: LightNeeded, kind: KindOfLight | None) -> list[str]:
    """What each f-number needs, and the ISO in a stated light, as lines to read."""
    wanted, slowest = (format_exposure_time(t) for t in (light.wanted_shutter_s, light.slowest_shutter_s))
    rows = [f"Light needed at ISO {light.iso_max:g} (exposure values at ISO 100):"]
    for number, enough, least in zip(f_number, light.wanted_ev, light.darkest_ev, strict=True):
        scene = scene_at(float(enough))
        iso = f"; ISO {about(_iso(float(number), light, kind))} {kind.said}" if kind else ""
        rows.append(
            f"  {format_f_number(float(number)):<8}{wanted} from EV {enough:.1f} ({scene}), "
            f"{slowest} from EV {least:.1f}, darker: not at all{iso}"
        )
    return rows


def _iso(number: float, light: LightNeeded, kind: KindOfLight) -> float:
    """Sensitivity for the wanted exposure time in a kind of light."""
    return float(100 * number**2 / (light.wanted_shutter_s * 2**kind.usual_ev))
