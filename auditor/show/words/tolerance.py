"""What is said of the tolerance: how much blur this photographer bears."""

from __future__ import annotations

from auditor.evidence.tolerance import Eye, Tolerance
from auditor.show.words.figures import counted, millimetres, percent
from auditor.show.words.flags import sentences


def finding(tolerance: Tolerance) -> str:
    """Say how much blur the photographer bears, what shows it, and how it compares with the handbook."""
    if not tolerance.fitted:
        return "How much blur you bear cannot be said. " + " ".join(sentences(tolerance.flags))
    if not tolerance.carries:
        doubts = " ".join(sentences(tolerance.flags))
        return f"How much blur you bear is not known well enough to rest anything on it. {doubts}"
    if tolerance.used == "sharp":
        said = (
            f"You call a subject sharp up to a blur of {_size(tolerance.sharp, tolerance)} on the sensor "
            f"({counted(tolerance.sharp.count, 'judged press', 'judged presses')}{_of_all(tolerance)}): "
            "there half are called sharp, half soft."
        )
    else:
        said = (
            f"Your keepers bear a blur of {_size(tolerance.keep, tolerance)} on the sensor "
            f"({counted(tolerance.keep.count, 'keeper')} of {_presses(tolerance)}). There the chance of a "
            f"frame to be kept has fallen half way from {percent(tolerance.ceiling)} to "
            f"{percent(tolerance.floor)}."
        )
    return f"{said} {_against_handbook(tolerance)}"


def _against_handbook(tolerance: Tolerance) -> str:
    eye = tolerance.eye
    handbook = eye.blur_mm / tolerance.times_handbook
    named = f"the handbook's {millimetres(handbook)}"
    if eye.low > handbook:
        return f"That is {tolerance.times_handbook:.1f} times {named}: your zones are wider than tables say."
    if eye.high < handbook:
        return (
            f"That is {tolerance.times_handbook:.1f} times {named}: your zones are narrower than tables say."
        )
    return f"Its interval holds {named}, so tables serve you as they are."


def _of_all(tolerance: Tolerance) -> str:
    return " of all lenses, which lend each other strength" if tolerance.by_lens else ""


def by_lens(tolerance: Tolerance) -> list[str]:
    """Say the tolerance of each lens that carries one."""
    return [f"{name}: {_size(own.eye, own)}, {_presses(own)}." for name, own in tolerance.by_lens.items()]


def doubts(tolerance: Tolerance) -> list[str]:
    """List the doubts about a tolerance that carries, since the others are in the finding."""
    return sentences(tolerance.flags) if tolerance.carries else []


def chart_finding(tolerance: Tolerance) -> str:
    """State the finding of the blur chart for those who cannot see it."""
    verb = "called sharp" if tolerance.used == "sharp" else "kept"
    rates = "; ".join(
        f"{percent(row.rate)} of {row.frames} {verb} at {millimetres(row.blur_mm)}"
        for row in tolerance.calibration.itertuples()
    )
    return f"Share {verb} against blur, with the fitted curve. {finding(tolerance)} Observed: {rates}."


def _presses(tolerance: Tolerance) -> str:
    return counted(tolerance.bursts, "measured press", "measured presses")


def _size(eye: Eye, tolerance: Tolerance) -> str:
    span = f"{millimetres(eye.low).removesuffix(' mm')}–{millimetres(eye.high)}"
    return f"{millimetres(eye.blur_mm)} ({100 * tolerance.confidence:g} % interval {span})"
