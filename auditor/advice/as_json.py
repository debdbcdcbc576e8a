"""The decision as JSON, keys as the contract names them: a view of it, no second path."""

from dataclasses import asdict
from typing import Any

from auditor.advice.lens_decision import LensDecision
from auditor.text import json_safe

_LEVEL = ("rate", "low", "high", "presses", "hits", "sessions")


def advice_json(found: LensDecision, others: tuple[str, ...] = ()) -> dict[str, Any]:
    """What to set next with a lens; ``others`` are the archive's other ones."""
    kind = found.decision.kind
    parts = {
        "lens": found.lens,
        "focal_length_mm": found.focal_length_mm,
        "other_lenses": list(others),
        "settings": [one for one in found.settings.to_dict("records") if one["within_experience"]],
        "current": [asdict(one) | {"share_of_presses": share} for one, share in found.habit],
        "distinguishable": kind in ("change", "keep"),
        "change_advised": kind == "change",
        "flags": list(found.flags),
        "decision": asdict(found.decision),
        "situations": [
            {
                "preset": one.preset,
                "light": one.light,
                "decision": asdict(one.decision),
                "subjects": asdict(one.subjects),
            }
            for one in found.situations
        ],
        "subjects": asdict(found.subjects),
        "level": {name: getattr(found.level, name) for name in _LEVEL},
        "next_walk": None if found.next_walk is None else asdict(found.next_walk),
        "walk_worth": asdict(found.walk_worth),
        "gates": [asdict(gate) for gate in found.gates],
    }
    out: dict[str, Any] = json_safe(parts)
    return out


_STOP = (
    "f_number", "focus_distance_m", "expected", "low", "high", "lost_to_defocus", "lost_to_motion",
    "lost_to_diffraction", "median_shutter_s", "median_iso", "within_experience",
)  # fmt: skip


def tuning_json(found: LensDecision) -> dict[str, Any]:
    """The stops of a lens: a view of the decision."""
    prefer = {
        one.light: one.decision.setting.f_number
        for one in found.situations
        if one.light is not None and one.decision.setting is not None
    }
    stops = found.stops.reindex(columns=_STOP).to_dict("records")
    out: dict[str, Any] = json_safe(
        {"lens": found.lens, "stops": stops, "prefer": prefer, "decision": asdict(found.decision)}
    )
    return out
