"""What is said of presses at a line: where subjects stood, when to press, how short to expose."""

import math

from auditor.evidence.line_presses import LinePresses
from auditor.show.words.figures import counted, distance_span, interval, percent
from auditor.units import format_distance, format_exposure_time

CAUTION = "Stand behind the barriers, and keep to the organiser's rules."


def say_where(one: LinePresses, ring: str, units: str) -> str:
    """Say all of one preset at a line, whose ring is engraved in a unit of its own."""
    return " ".join((where(one, ring, units), lead(one, units), shutter(one), CAUTION))


def where(one: LinePresses, ring: str, units: str) -> str:
    """Say where the subjects of a preset stood, and how many out of its zone."""
    near, far = (f"{percent(rate)} ({interval(low, high)})" for rate, low, high in (one.before, one.behind))
    line, middle = format_distance(one.line_m, ring), format_distance(one.median_m, units)
    presses = counted(one.bursts, "measured press", "measured presses")
    return (
        f"“{one.preset}”: with the ring on {line}, the middle subject of {presses} stood at {middle} "
        f"({distance_span(one.low_m, one.high_m, units)}); {near} of the frames were nearer than the zone, "
        f"{far} farther."
    )


def lead(one: LinePresses, units: str) -> str:
    """Say whether to press sooner or later, only where the interval shows it."""
    if one.low_m <= one.line_m <= one.high_m:
        return "So the press comes neither surely too soon nor too late."
    gap = abs(one.median_m - one.line_m)
    past, sooner, later = ("nearer than", "sooner", "later")
    if one.median_m > one.line_m:
        past, sooner, later = ("beyond", "later", "sooner")
    walk = f", {gap / one.speed_m_s:.1f} s at a walk" if one.speed_m_s else ""
    return (
        f"That is {format_distance(gap, units)} {past} the line{walk}: press that much {sooner} at those who "
        f"come towards you, {later} at those who walk away."
    )


def shutter(one: LinePresses) -> str:
    """Say up to which time somebody who walks past stays sharp at the line, and how many were slower."""
    if math.isnan(one.longest_s):
        return "At the line diffraction alone exceeds the circle of confusion: open the lens."
    if math.isinf(one.longest_s):
        return "Subjects stand still, so no time is too long."
    limit = format_exposure_time(1 / float(f"{1 / one.longest_s:.2g}"))
    slow = f"{one.slower} of {counted(one.timed, 'frame')} {'was' if one.slower == 1 else 'were'} slower"
    more = ": go faster where light allows" if one.slower else ""
    return f"Somebody who walks past stays within the circle of confusion there up to {limit}; {slow}{more}."
