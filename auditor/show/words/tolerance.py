"""What is said of the tolerance: how much blur this photographer bears."""

from auditor.evidence.blur_tolerance import Eye
from auditor.evidence.tolerance import Tolerance
from auditor.show.words.figures import counted, millimetres, percent

ANOTHER_SIZE = 0.05  # relative; a size this near is the one asked for
# What stands in the way of a tolerance.
SENTENCES = {
    "no_distances": "No counted frame has a subject distance, so no blur is known; auditor prepare lays out "
    "a sheet of frames to measure.",
    "few_verdicts": "Fewer than 30 verdicts on sharpness were given, so your keepers stand in for them; the "
    "sheet that auditor prepare lays out asks for them.",
    "too_wide": "Marks and verdicts hardly narrow what is usual.",
    "verdicts_reversed": "The more blur was worked out, the more often you called a frame sharp: look at the "
    "distances and settings that were noted.",
    "blur_decides_nothing": "What you keep does not follow blur.",
}


def finding(tolerance: Tolerance) -> str:
    """Say how much blur the photographer bears, what shows it, and how it compares with the handbook."""
    why = " ".join(SENTENCES[flag] for flag in tolerance.flags)
    if not tolerance.fitted:
        return f"How much blur you bear cannot be said. {why}"
    if not tolerance.carries:
        return f"How much blur you bear is not known well enough to rest anything on it. {why}"
    if tolerance.used == "sharp":
        of_all = " of all lenses, which lend each other strength" if tolerance.by_lens else ""
        said = (
            f"You call a subject sharp up to a blur of {_size(tolerance.sharp, tolerance)} on the sensor "
            f"({counted(tolerance.sharp.count, 'judged press', 'judged presses')}{of_all}): "
            f"there half are called sharp, half soft.{_carried(tolerance.seen_at)}"
        )
    else:
        said = (
            f"Your keepers bear a blur of {_size(tolerance.keep, tolerance)} on the sensor "
            f"({counted(tolerance.keep.count, 'keeper')} of {tolerance.marked} measured and marked). There "
            f"the chance of a frame to be kept has fallen half way from {percent(tolerance.ceiling)} to "
            f"{percent(tolerance.floor)}."
        )
    return f"{said} {_against_handbook(tolerance)}"


def _against_handbook(tolerance: Tolerance) -> str:
    eye = tolerance.eye
    handbook = eye.blur_mm / tolerance.times_handbook
    named = f"the handbook's {millimetres(handbook)}"
    if eye.low <= handbook <= eye.high:
        return f"Its interval holds {named}, so tables serve you as they are."
    how = "wider" if eye.low > handbook else "narrower"
    return f"That is {tolerance.times_handbook:.1f} times {named}: your zones are {how} than tables say."


def carried(seen_at: float) -> str:
    """Say of sharpness that it is that of another size than the judged one, where it is."""
    return "" if abs(seen_at - 1) < ANOTHER_SIZE else " at the size asked for"


def _carried(seen_at: float) -> str:
    """Say that the tolerance was learned at another size than the one asked for, where it was."""
    if abs(seen_at - 1) < ANOTHER_SIZE:
        return ""
    times, how = (seen_at, "coarser") if seen_at > 1 else (1 / seen_at, "finer")
    size = f"{times:.1f} times {how} than the size asked for"
    return f" You judged pictures shown {size}; the blur is carried to it."


def by_lens(tolerance: Tolerance) -> list[str]:
    """Say the tolerance of each lens that carries one."""
    return [f"{name}: {_size(own.eye, own)}, {_presses(own)}." for name, own in tolerance.by_lens.items()]


def doubts(tolerance: Tolerance) -> list[str]:
    """List the doubts about a tolerance that carries, since the others are in the finding."""
    return [SENTENCES[flag] for flag in tolerance.flags] if tolerance.carries else []


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
