"""What is said of distances and blur that were measured from the pictures."""

from __future__ import annotations

from collections.abc import Mapping

from auditor.show.words.figures import counted, listed, percent, whole

HOW_SURE = {"mesh": "about 8 %", "boxes": "about 10 %"}


def said_once(detector: str) -> list[str]:
    """What everyone must know who reads measures from pictures."""
    return [
        f"One distance is {HOW_SURE.get(detector, 'about 10 %')} sure (one standard deviation), for adults of "
        "average build. Children come out too far, a toddler by a third.",
        "No face found does not mean nobody there: backs, profiles and people far away are not measured. Badly "
        "blurred faces are missed more often, so missed focus is counted too low. Printed faces and statues can "
        "pass for people.",
        "Blur shows neither whether the focus lay in front of a face or behind it, nor where else it lay.",
        "Faces are located and measured, never compared or recognised, and nothing leaves this machine. The "
        "results hold their places and sizes: think before you share them. Photographing people is subject to "
        "local law.",
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
        "The subject is taken to be the largest face, faces off the middle counting less; neither sharpness nor "
        f"the zone has a say. In {share} of the frames with a distance another face might be meant: their error "
        "is widened. A note wins."
    )


def refusals(refused: Mapping[str, int]) -> str:
    """Say why faces gave no distance; empty if all did."""
    if not refused:
        return ""
    reasons = listed(f"{reason} ({whole(n)})" for reason, n in sorted(refused.items(), key=lambda x: -x[1]))
    return f"Faces without a distance: {reasons}."


def previews(counts: Mapping[str, int], floor_mm: float, least_floor_mm: float) -> str:
    """Say what measuring a preview costs; empty where none was, or it is as large as the picture."""
    if not counts["previews"] or not floor_mm > 1.05 * least_floor_mm:
        return ""
    return (
        f"A preview smaller than its sensor hides small blur: the least that shows is {floor_mm:.3f} mm there, "
        f"{least_floor_mm:.3f} mm in the sharpest of the other files."
    )
