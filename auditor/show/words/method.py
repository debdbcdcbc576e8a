"""Assumptions and method, each with its source; cautions; what the page holds."""

from collections.abc import Sequence

from auditor.settings import Settings
from auditor.show.words.figures import counted, listed, percent, whole

CAUTION = "Look where you walk; local law on photographing people applies."
NOT_VALUED = (
    "What is promised counts subjects sharp and presses kept: noise at a high ISO and the look of the "
    "background are not valued."
)


def thumbnails_held(held: int, frames: int) -> str:
    """Say how many thumbnails the page holds.

    >>> thumbnails_held(300, 412), thumbnails_held(0, 60)
    ('The page holds 300 thumbnails; 112 more frames by name.', 'The page holds no thumbnail.')
    """
    if not held:
        return "The page holds no thumbnail."
    more = f"; {whole(frames - held)} more frames by name" if frames > held else ""
    return f"The page holds {counted(held, 'thumbnail')}{more}."


def criterion(name: str, values_mm: Sequence[float]) -> str:
    """Name the circle of confusion with its value or values."""
    if not values_mm:
        return f"Circle of confusion: {name}; no frame has a sharp zone."
    return f"Circle of confusion: {name}, {listed(f'{value:.4f} mm' for value in values_mm)} on the sensor."


def sensors(assumed: int, frames: int) -> str:
    """Say for how many frames the sensor size was assumed; empty if for none."""
    if not assumed:
        return ""
    verb = "says" if assumed == 1 else "say"
    return (
        f"{counted(assumed, 'frame')} of {frames} {verb} nothing of the sensor's size; 36×24 mm was assumed. "
        'The session file can state it: sensor = "1.5x".'
    )


def assumptions(settings: Settings) -> list[tuple[str, str, str]]:
    """List what was assumed: subject, statement, source."""
    level = percent(settings.confidence).replace(" ", "\u00a0")
    return [
        (
            "Sharp zone",
            "Thin lens in its exact form; distances count from the sensor plane. A point at either limit "
            "blurs to exactly the circle of confusion. Beyond 20 times the focus distance a far limit is "
            "not relied on.",
            "Similar triangles; counting from the sensor plane is common practice.",
        ),
        (
            "Circle of confusion",
            "The handbook value is the sensor's diagonal divided by 1442, 0.030 mm on 36×24 mm.",
            "Handbook practice; no standard fixes it.",
        ),
        ("Intervals", f"{level} intervals of bursts: score interval.", "Wilson 1927, Newcombe 1998."),
        (
            "Intervals by frames",
            "Frames of a burst are not independent, so the interval rests on the effective number of frames. "
            "Above 20,000 presses with a distance fits rest on whole walks drawn by chance up to that many; "
            "counts use all.",
            "Rao and Scott 1992; Korn and Graubard 1998.",
        ),
        (
            "Shares over distance",
            "Frames with a distance stand for all of their preset and mark, in rates for those that count; "
            "ratio of weighted sums, its variance linearised over the draw and the frames themselves.",
            "Hájek 1971; Särndal, Swensson and Wretman 1992.",
        ),
        (
            "Subject motion",
            f"People walk at {settings.speed_m_s:g} m/s unless the session file says otherwise; direction "
            "unknown. Of frames with a flash no light is inferred, and motion only from a stated duration."
            if settings.speed_m_s
            else "Subjects stand still, as the session file says.",
            "Observed gait at crossings, Andrews et al." if settings.speed_m_s else "Session file.",
        ),
        ("Diffraction", "Diameter of the first dark ring at 550 nm; this overstates the loss.", "Airy 1835."),
        ("Blur together", "Root of the sum of squares of defocus, motion and diffraction.", "Hansma 1996."),
        (
            "Colours",
            "Keepers blue and solid, frames not kept vermillion and hollow, zones yellow.",
            "Okabe and Ito 2008.",
        ),
    ]
