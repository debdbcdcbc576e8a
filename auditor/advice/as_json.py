"""The decision as JSON, keys as the contract names them: a view of it, no second path."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from auditor.advice.decide import LensDecision, SubjectsStatement
from auditor.advice.decision import Decision
from auditor.text import json_safe


def advice_json(told: LensDecision, others: tuple[str, ...] = ()) -> dict[str, Any]:
    """What to set next with a lens.

    Parameters
    ----------
    told : LensDecision
    others : tuple of str
        The archive's other lenses.
    """
    kind = told.decision.kind
    tried = [one for one in told.settings if one.within_experience]
    now = [{"f_number": one.f_number, "focus_distance_m": one.focus_distance_m, "share_of_presses": share}
           for one, share in told.habit]  # fmt: skip
    parts = {
        "lens": told.lens,
        "focal_length_mm": told.focal_length_mm,
        "other_lenses": list(others),
        "settings": [asdict(one) for one in tried],
        "current": now,
        "distinguishable": kind in ("change", "keep"),
        "change_advised": kind == "change",
        "flags": list(told.flags),
        "decision": _decision(told.decision),
        "situations": [
            {
                "preset": one.preset,
                "light": one.light,
                "decision": _decision(one.decision),
                "subjects": _subjects(one.subjects),
            }
            for one in told.situations
        ],
        "subjects": _subjects(told.subjects),
        "level": {
            "rate": told.level.rate,
            "low": told.level.low,
            "high": told.level.high,
            "presses": told.level.presses,
            "hits": told.level.hits,
            "sessions": told.level.sessions,
        },
        "next_walk": None if told.next_walk is None else asdict(told.next_walk),
        "walk_worth": asdict(told.walk_worth),
        "gates": [asdict(gate) for gate in told.gates],
    }
    out: dict[str, Any] = json_safe(parts)
    return out


def tuning_json(told: LensDecision) -> dict[str, Any]:
    """The stops of a lens: a view of the decision."""
    prefer = {
        one.light: one.decision.setting.f_number
        for one in told.situations
        if one.light is not None and one.decision.setting is not None
    }
    stops = [
        {
            "f_number": stop.f_number,
            "focus_distance_m": stop.focus_distance_m,
            "expected": stop.share,
            "low": stop.low,
            "high": stop.high,
            "lost_to_defocus": stop.lost_to_defocus,
            "lost_to_motion": stop.lost_to_motion,
            "lost_to_diffraction": stop.lost_to_diffraction,
            "median_shutter_s": stop.median_time_s,
            "median_iso": stop.median_iso,
            "within_experience": stop.tried,
        }
        for stop in told.stops
    ]
    out: dict[str, Any] = json_safe(
        {"lens": told.lens, "stops": stops, "prefer": prefer, "decision": _decision(told.decision)}
    )
    return out


def _decision(one: Decision) -> dict[str, Any]:
    return asdict(one) | {"latitude": [asdict(setting) for setting in one.latitude]}


def _subjects(one: SubjectsStatement) -> dict[str, Any]:
    return asdict(one)
