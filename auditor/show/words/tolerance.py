"""What is said of the keeper tolerance."""

from __future__ import annotations

import math

from auditor.evidence.tolerance import Tolerance
from auditor.show.words.figures import counted, listed, millimetres, percent
from auditor.show.words.flags import sentences

REFITS = {
    "half_guess_error": "with half the error of guessed distances",
    "double_guess_error": "with double that error",
    "speed_0.6": "with subjects strolling at 0.6 m/s",
    "ceiling_by_distance": "if frames are also chosen by distance",
}


def finding(tolerance: Tolerance) -> str:
    """Say how much blur the photographer accepts, and how that compares with the handbook's value."""
    if not tolerance.fitted:
        return "How much blur your keepers bear cannot be said. " + " ".join(sentences(tolerance.flags))
    size = f"{millimetres(tolerance.blur_mm)} on the sensor"
    span = f"{100 * tolerance.confidence:g} % interval {_span(tolerance.low, tolerance.high)}"
    if not tolerance.carries:
        doubts = " ".join(sentences(tolerance.flags))
        return f"A tolerance of {size} ({span}) was fitted, but nothing rests on it. {doubts}"
    return (
        f"Your keepers bear a blur of {size} ({span}, {counted(tolerance.bursts, 'burst')}): there the "
        f"chance of a frame to be kept has fallen half way from {percent(tolerance.ceiling)} to "
        f"{percent(tolerance.floor)}. {_against_handbook(tolerance)}"
    )


def in_short(tolerance: Tolerance) -> str:
    """Say in one sentence how strict this eye is; empty where nothing carries."""
    if not tolerance.carries:
        return ""
    return (
        f"Your keepers bear {tolerance.times_handbook:.1f} times the handbook's blur "
        f"({millimetres(tolerance.blur_mm)}, {_span(tolerance.low, tolerance.high)})."
    )


def _against_handbook(tolerance: Tolerance) -> str:
    handbook = tolerance.blur_mm / tolerance.times_handbook
    named = f"the handbook's {millimetres(handbook)}"
    if tolerance.low > handbook:
        return f"That is {tolerance.times_handbook:.1f} times {named}: your zones are wider than tables say."
    if tolerance.high < handbook:
        return (
            f"That is {tolerance.times_handbook:.1f} times {named}: your zones are narrower than tables say."
        )
    return f"Its interval holds {named}, so tables may serve you as they are."


def refits(tolerance: Tolerance) -> str:
    """Say what the tolerance would be under other assumptions; empty where it was not refitted."""
    said = [
        f"{millimetres(value)} {REFITS[name]}"
        for name, value in tolerance.ranges.items()
        if name in REFITS and not math.isnan(value)
    ]
    return f"It would be {listed(said)}." if said and tolerance.fitted else ""


def by_lens(tolerance: Tolerance) -> list[str]:
    """Say the tolerance of each lens that carries one."""
    return [
        f"{name}: {millimetres(own.blur_mm)} ({_span(own.low, own.high)}), {counted(own.bursts, 'burst')}."
        for name, own in tolerance.by_lens.items()
    ]


def doubts(tolerance: Tolerance) -> list[str]:
    """List the doubts about a tolerance that carries, since the others are in the finding."""
    return sentences(tolerance.flags) if tolerance.carries else []


def chart_finding(tolerance: Tolerance, units: str) -> str:  # noqa: ARG001 -- charts are described alike
    """State the finding of the blur chart for those who cannot see it."""
    rates = "; ".join(
        f"{percent(row.hit_rate)} of {row.bursts} at {millimetres(row.blur_mm)}"
        for row in tolerance.calibration.itertuples()
    )
    return f"Hit rate against blur, with the fitted curve. {finding(tolerance)} Observed: {rates}."


def _span(low: float, high: float) -> str:
    return f"{millimetres(low).removesuffix(' mm')}–{millimetres(high)}"
