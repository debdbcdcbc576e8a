"""What is said of distances and blur that were measured from the pictures."""

from __future__ import annotations

from collections.abc import Mapping

from auditor.evidence.measured_blur import HIDDEN, LESS, MORE, MeasuredBlur
from auditor.evidence.ring import RingCheck
from auditor.show.words.figures import counted, distance_span, listed, millimetres, percent, whole
from auditor.units import format_distance

HOW_SURE = {"mesh": "about 8 %", "boxes": "about 10 %"}


def said_once(detector: str) -> list[str]:
    """What everyone must know who reads measures from pictures."""
    return [
        f"A distance is known to {HOW_SURE.get(detector, 'about 10 %')} (one standard deviation), for adults "
        "of average build. Children come out too far, a toddler by a third.",
        "No face found does not mean nobody there: backs, profiles and people far away are not measured. "
        "Badly blurred faces are missed more often, so missed focus is counted too low. Printed faces and "
        "statues can pass for people.",
        "Blur shows neither whether the focus lay in front of a face or behind it, nor where else it lay.",
        "Faces are located and measured, never compared or recognised, and nothing leaves this machine. The "
        "results hold their places and sizes: think before you share them. Photographing people is subject "
        "to local law.",
    ]


def found(counts: Mapping[str, int]) -> str:
    """Say how many pictures were measured and what came of them."""
    text = f"Of {counted(counts['frames'], 'frame')}, {whole(counts['opened'])} could be opened"
    if counts["previews"]:
        text += f" ({whole(counts['previews'])} by a raw file's preview)"
    return (
        f"{text}; {counted(counts['with_face'], 'shows a face', 'show a face')}, "
        f"{counted(counts['chosen'], 'gives a distance', 'give a distance')}. "
        f"{counted(counts['filled'], 'distance was', 'distances were')} filled in where none was stated."
    )


def choice(counts: Mapping[str, int]) -> str:
    """Say how the subject was chosen among faces, and how often that is in doubt; empty without a face."""
    if not counts["chosen"]:
        return ""
    share = percent(counts["ambiguous"] / counts["chosen"])
    return (
        "The subject is taken to be the largest face, faces off the middle counting less; neither sharpness "
        f"nor the zone has a say. In {share} of the frames with a distance another face might be meant: "
        "their error is widened. A note wins."
    )


def refusals(refused: Mapping[str, int]) -> str:
    """Say why faces gave no distance; empty if all did."""
    if not refused:
        return ""
    reasons = listed(f"{reason} ({whole(n)})" for reason, n in sorted(refused.items(), key=lambda x: -x[1]))
    return f"Faces without a distance: {reasons}."


def previews(preview_floor_mm: float, whole_floor_mm: float, coc_mm: float) -> str:
    """Say what measuring raw files' previews costs; empty where none was, or they lose nothing."""
    if not preview_floor_mm > 0 or preview_floor_mm <= 1.05 * whole_floor_mm:
        return ""
    text = f"In the raw files' previews the least blur that shows is {millimetres(preview_floor_mm)}"
    if whole_floor_mm > 0:
        text += f", in the other files {millimetres(whole_floor_mm)}"
    if preview_floor_mm > coc_mm:
        return f"{text}; that is more than the circle of confusion, so no preview can be called sharp."
    return f"{text}."


_MEANINGS = (
    "More than predicted: the ring off its engraving, a stretch that names the wrong setting, movement, or a "
    "lens out of true. Less: the ring or the stretch, or a distance read too far, as a child's is."
)


def chart_finding(found: MeasuredBlur, units: str = "m") -> str:  # noqa: ARG001 -- the same in both
    """Say in words what the chart shows."""
    return agreement(found)


def agreement(found: MeasuredBlur) -> str:
    """Say how the measured blur agrees with the predicted one."""
    told = found.frames[found.frames["finding"] != HIDDEN]
    if not len(told):
        return (
            "No face was blurred, or should have been, by enough to show, so measured and predicted blur "
            "cannot be compared."
        )
    counts = told["finding"].value_counts()
    more, less = int(counts.get(MORE, 0)), int(counts.get(LESS, 0))
    text = (
        f"Of {counted(len(told), 'face')} whose blur is large enough to show, "
        f"{whole(len(told) - more - less)} are blurred as predicted, {whole(more)} more and {whole(less)} "
        "less; by chance it would be fewer than one in ten."
    )
    return f"{text} {_MEANINGS}" if more + less > 0.1 * len(told) else text


def who_was_measured(found: MeasuredBlur) -> str:
    """Say what share of keepers and of the others was measured; empty without both."""
    if not found.keepers or not found.others:
        return ""
    text = (
        f"A face was measured in {percent(found.keepers_measured / found.keepers)} of keepers and in "
        f"{percent(found.others_measured / found.others)} of the frames not kept"
    )
    if found.low > 0:
        return f"{text}: what is missing is not missing by chance, so missed focus is undercounted."
    if found.high < 0:
        return f"{text}: keepers without a face are under-represented wherever distances come from pictures."
    return f"{text}; the two do not differ beyond chance."


def sharpness(found: MeasuredBlur, marked: int) -> str:
    """Say how many faces are sharp; where nothing is marked, that this is all there is for now."""
    sums = found.presets[["sharp", "not_sharp", "not_told"]].sum()
    text = (
        f"By the circle of confusion {counted(sums['sharp'], 'measured face is', 'measured faces are')} "
        "sharp, "
        f"{whole(sums['not_sharp'])} not, and of {whole(sums['not_told'])} it cannot be told"
    )
    if marked:
        return f"{text}. These verdicts are provisional and stay apart from your marks."
    return (
        f"{text}. Nothing is marked yet, so this is a provisional answer to how often each preset worked; it "
        "says nothing of what you would keep."
    )


def causes_seen(found: MeasuredBlur) -> str:
    """Say how many faces moved or were missed by the focus; empty where neither was told."""
    moved, missed = (int(found.presets[name].sum()) for name in ("moved", "missed_focus"))
    if not moved + missed:
        return ""
    return (
        f"Large, blurred faces whose cause shows: {whole(moved)} moved, {whole(missed)} out of focus. Of "
        "smaller ones it cannot be told."
    )


def ring(check: RingCheck, units: str) -> str:
    """Say where the ring stood, by the pictures."""
    start = (
        f"{check.preset}, session {check.session}: said to be focused at "
        f"{format_distance(check.stated_m, units)}"
    )
    if not check.told:
        return f"{start}; {counted(check.frames, 'face')} cannot tell where it really was."
    found = (
        f"{format_distance(check.focus_m, units)} by the blur of {counted(check.frames, 'face')} "
        f"({distance_span(check.low_m, check.high_m, units)})"
    )
    if check.differs:
        return f"{start}, but {found}. Photograph a ruler at a taped distance before trusting either."
    return f"{start}; {found}, which agrees."
