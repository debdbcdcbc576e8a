"""What is said of distances and blur that were measured from the pictures."""

from collections.abc import Iterable, Mapping
from typing import Final

from auditor.intake.people.filling import PictureFacts
from auditor.show.words.figures import counted, listed, percent, whole
from auditor.units import format_distance

# What everyone must know who reads measures from pictures.
SAID_ONCE: Final = (
    "A distance is known to about 9 % (one standard deviation), for adults of average build. Children come "
    "out too far, a toddler by a third. Whether faces are found and read as well on every tone of skin, at "
    "every age and for both sexes was not measured.",
    "No face found does not mean nobody there: backs, profiles and people far away are not measured. Coarse "
    "grain and hard black-and-white lose faces, and a face under a hat or a mask reads too far.",
    "Faces on posters and screens, and statues, can pass for people and even for the subject.",
    "A measured blur is no verdict. It holds in full-size files with little noise that nobody sharpened; "
    "movement reads as a fifth to three fifths of its length; the interval allows for a gain that all "
    "frames of a session share. Where only its upper end is given, the blur is no more than that.",
    "Faces are located and measured, never compared or recognised, and nothing leaves this machine. The "
    "places of faces stay in the cache until auditor forget clears it; tables "
    "hold only distances and sizes. Photographing people is subject to local law.",
)


def say_found(facts: PictureFacts) -> list[str]:
    """Say what came of measuring, in the order to be read; empty sentences are left out."""
    said = (found(facts.counts), choice(facts.counts), refusals(facts.refused), who_is_missing(facts))
    return [sentence for sentence in said if sentence]


def found(counts: Mapping[str, int]) -> str:
    """Say how many pictures were measured and what came of them."""
    text = f"Of {counted(counts['frames'], 'frame')}, "
    if counts["tried"] < counts["frames"]:
        text += f"{whole(counts['tried'])} were measured, one of each burst; "
    text += f"{whole(counts['opened'])} could be opened"
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
    text = (
        "The subject is taken to be the largest face, faces off the middle counting less; neither sharpness "
        "nor the zone has a say."
    )
    if counts["ambiguous"]:
        share = percent(counts["ambiguous"] / counts["chosen"])
        text += (
            f" In {share} of the frames with a distance another face might be meant: their error is widened."
        )
    return f"{text} A note wins."


def refusals(refused: Mapping[str, int]) -> str:
    """Say why faces gave no distance; empty if all did."""
    if not refused:
        return ""
    reasons = listed(f"{reason} ({whole(n)})" for reason, n in sorted(refused.items(), key=lambda x: -x[1]))
    return f"Faces without a distance: {reasons}."


def who_is_missing(facts: PictureFacts) -> str:
    """Say that distances from faces alone are of those who faced the camera; empty where others are known."""
    if not facts.only_who_faced_the_camera:
        return ""
    return (
        "Every distance here comes from a face, so all that is said by distance speaks of people who faced "
        "the camera; a drawn sample measured by hand speaks of everyone."
    )


def to_look_at(nearest: Iterable[tuple[str, float]], units: str) -> str:
    """Name the nearest and largest subjects, which somebody should look at."""
    named = listed(f"{file} ({format_distance(distance, units)})" for file, distance in nearest)
    return f"The nearest and largest subjects, where a poster or a screen would be: {named}. Look at them."
