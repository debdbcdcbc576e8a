"""What is said of why frames were not kept."""

import math
from collections.abc import Mapping

from auditor.evidence.causes import UNEXPLAINED, Causes
from auditor.show.words.figures import counted, whole

NAMES = {
    "in_front_of_zone": "a subject too near for the ring",
    "beyond_zone": "a subject too far for the ring",
    "subject_motion": "subject motion",
    "diffraction": "diffraction",
    "not_explained_by_blur": "not explained by blur",
}
SHORT = {
    "in_front_of_zone": "stood too near",
    "beyond_zone": "stood too far",
    "subject_motion": "subject moved",
    "diffraction": "diffraction",
    "not_explained_by_blur": "not a matter of settings",
}
TELLING = {  # why a frame is worth a look
    "in_front_of_zone": "stood too near",
    "beyond_zone": "stood too far",
    "subject_motion": "moved",
    "diffraction": "softened by diffraction",
    "kept_though_blurred": "you kept it blurred",
    "not_kept_though_sharp": "sharp, yet left",
}
LITTLE = 0.05  # share of the frames below which blur is said to account for hardly any


def short(causes: Causes) -> str:
    """Say where most frames were lost; empty where that is not known."""
    blurred = causes.table.drop(UNEXPLAINED)
    lost, total = blurred["of_100"].sum(skipna=False), causes.table["frames"].sum(skipna=False)
    if math.isnan(lost + total) or not total:
        return ""
    known = f"{whole(round(total))} of them at a known distance"
    if lost < 100 * LITTLE:
        return (
            "Blur accounts for hardly any of the frames not kept: they were dropped for something else "
            f"({known})."
        )
    worst = blurred.loc[blurred["of_100"].idxmax()]
    span = f"{round(worst['low'])}–{round(worst['high'])}"
    return (
        f"Of 100 frames not kept blur accounts for about {round(lost)}, chiefly {NAMES[worst.name]} "
        f"(about {round(worst['of_100'])}, {span}; {known})."
    )


def title(of_100: Mapping[str, int]) -> str:
    """Say as a title what most frames were left for; empty where that is unknown."""
    if not of_100:
        return ""
    rest = of_100.get(UNEXPLAINED, 0)
    if rest >= 50:
        return "Most frames were not lost to blur"
    worst = max((name for name in of_100 if name != UNEXPLAINED), key=lambda name: of_100[name])
    return f"Blur took {100 - rest} of 100: most {SHORT[worst]}"


def caution(causes: Causes, speed_m_s: float) -> str:
    """Say how far the shares can be trusted."""
    pace = f"walk at {speed_m_s:g} m/s" if speed_m_s else "stand still"
    said = (
        "A soft frame that would have been left for its moment too is not counted as lost to blur. These "
        "shares are what the fitted curve is consistent with, averaged over distances and directions; "
        f"subjects are taken to {pace}, and a camera that shook is not told apart."
    )
    if causes.sibling_kept:
        said += (
            f" Of the frames not explained, {whole(causes.sibling_kept)} are of bursts that hold a keeper: "
            "the better frame was chosen."
        )
    return said


def without_distance(causes: Causes) -> str:
    """Say how many frames not kept have no known blur; empty if none."""
    if not causes.no_distance:
        return ""
    frames = counted(causes.no_distance, "further frame not kept has", "further frames not kept have")
    return f"{frames} no known blur."


def at_focus(causes: Causes) -> str:
    """Say what can be said without distances: motion and diffraction at the distance of the ring."""
    known = causes.at_focus["frames"]
    if not known:
        return ""
    return (
        "Had every subject stood where the ring was set and walked across, motion alone would have blurred "
        f"{whole(causes.at_focus['motion_over_criterion'])} of {counted(known, 'frame')} not kept beyond "
        "the circle of confusion, and diffraction alone "
        f"{whole(causes.at_focus['diffraction_over_criterion'])}."
    )
