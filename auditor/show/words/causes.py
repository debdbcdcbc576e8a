"""What is said of why frames were not kept."""

from __future__ import annotations

import math
from collections.abc import Mapping

import pandas as pd

from auditor.evidence.causes import CAUSES, UNEXPLAINED, Causes
from auditor.show.words.figures import counted, percent, whole

NAMES = {
    "in_front_of_zone": "subject nearer than the ring was set",
    "beyond_zone": "subject farther than the ring was set",
    "subject_motion": "subject motion",
    "diffraction": "diffraction",
    "not_explained_by_blur": "not explained by blur",
}
SHORT = {
    "in_front_of_zone": "stood nearer than the zone",
    "beyond_zone": "stood farther than the zone",
    "subject_motion": "subject moved",
    "diffraction": "diffraction",
    "not_explained_by_blur": "not a matter of settings",
}
LITTLE = 0.05  # share of the frames below which blur is said to account for hardly any


def blamed(causes: Causes) -> float:
    """Return how many frames blur accounts for, NaN without a fitted tolerance."""
    return float(sum(getattr(causes, name) for name in CAUSES if name != UNEXPLAINED))


def short(causes: Causes) -> str:
    """Say where most frames were lost; empty where that is not known."""
    lost = blamed(causes)
    total = lost + causes.not_explained_by_blur
    if math.isnan(total) or total == 0:
        return ""
    of_all = f"the {counted(round(total), 'frame')} not kept at a known distance"
    if lost < LITTLE * total:
        return f"Blur accounts for hardly any of {of_all}: they were dropped for something else."
    blurred = causes.table[causes.table["cause"] != UNEXPLAINED]
    worst = blurred.loc[blurred["frames"].idxmax()]
    return (
        f"Blur accounts for about {percent(lost / total)} of {of_all}, chiefly {NAMES[worst['cause']]} "
        f"(about {whole(round(worst['frames']))}, {_span(worst)})."
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
    said = (
        "These shares are what the fitted curve is consistent with, averaged over distances and directions; "
        f"subjects are taken to walk at {speed_m_s:g} m/s, and a camera that shook is not told apart."
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
    verb = "has" if causes.no_distance == 1 else "have"
    return f"{counted(causes.no_distance, 'further frame')} not kept {verb} no known blur."


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


def count_label(row: pd.Series) -> str:
    """Say a cause's frames with their interval beside its bar."""
    return f"about {whole(round(row['frames']))} frames ({_span(row)})"


def _span(row: pd.Series) -> str:
    return f"{whole(round(row['low']))}–{whole(round(row['high']))}"


def chart_finding(causes: Causes, units: str) -> str:  # noqa: ARG001 -- charts are described alike
    """State the finding of the chart of causes for those who cannot see it."""
    parts = "; ".join(f"{NAMES[row['cause']]}: {count_label(row)}" for _, row in causes.table.iterrows())
    return f"Why frames were not kept. {short(causes)} {parts}."
