"""What is said of distances: those met, keepers over them, and whether the sharp zone predicts keepers."""

import math
from typing import Any

import pandas as pd

from auditor.evidence.distances_met import DistancesMet
from auditor.evidence.zone_check import ABOUT_RIGHT, TOO_GENEROUS, TOO_STRICT, ZoneCheck
from auditor.show.words.figures import (
    counted,
    distance_span,
    interval,
    listed,
    millimetres,
    percent,
    times,
    times_span,
    whole,
)
from auditor.units import format_distance

LEAST_LEFT_MM = 0.0005  # for defocus, below which the criterion is not judged
NO_DISTANCES = (
    "No counted frame has a subject distance, so it cannot be said where frames were lost. The column "
    "subject_distance in notes.csv takes them; auditor prepare --distances 60 picks frames to measure."
)
DRAWN = (
    "The frames with distances were drawn, keepers more readily than others; every share over distance is "
    "put back to all frames that count."
)
SOME = (
    "Distances are known for some frames only, and not for the same part of each preset and mark; every "
    "share over distance is put back to all frames that count."
)
FEW_KEEPERS = 10  # behind a share: with fewer, how many times as often is told beside it
NAMED = 3
_MARKS = {"keeper": "keepers", "not kept": "frames not kept"}


def in_and_out(tally: dict[str, float]) -> str:
    """Say how frames inside their sharp zone fared (:func:`auditor.show.chart_tables.zone_rates`)."""
    inside, outside = tally["in_frames"], tally["out_frames"]
    if not inside and not outside:
        return NO_DISTANCES if tally["no_distance"] else ""
    known = f"Of {counted(inside + outside, 'counted frame')} with a subject distance"
    within = f"{percent(tally['in_rate'])} ({interval(tally['in_low'], tally['in_high'])})"
    without = f"{percent(tally['out_rate'])} ({interval(tally['out_low'], tally['out_high'])})"
    if math.isnan(tally["in_rate"]) and math.isnan(tally["out_rate"]):
        return f"{known}, {whole(inside)} lay inside the sharp zone; they cannot stand for the other frames."
    if not outside:
        return (
            f"{known} all lay inside the sharp zone, where {within} of the frames were kept: the zone cannot "
            "be compared with what lies outside it."
        )
    if not inside:
        return (
            f"{known} none lay inside the sharp zone; {without} of the frames were kept all the same. Check "
            "the focus distance and what distances are measured from."
        )
    measured = f"{whole(inside)} and {whole(outside)} frames with a distance"
    return (
        f"Inside the sharp zone {within} of the frames were kept, outside it {without} "
        f"({measured}){_times_as_often(tally)}."
    )


def drawn(
    frames: int, inside: int, kept_inside: int, kept_outside: int, *, marked: bool, sample: bool
) -> str:
    """Say what the frames of one preset show against its zone."""
    if not frames:
        return "No frame here has a subject distance, so none can be drawn."
    said = f"{whole(inside)} of {counted(frames, 'subject here', 'subjects here')} stood in the zone"
    if not marked:
        return f"{said}. Not one carries a mark that counts."
    said += f"; kept: {whole(kept_inside)} of them and {whole(kept_outside)} outside."
    if sample:
        said += " Keepers and others were measured in unlike parts, so dots are no rates."
    return said


def not_drawn(frames: int) -> str:
    """Say how many frames have no distance; empty if none."""
    return f"{counted(frames, 'frame')} without a distance not drawn." if frames else ""


def _times_as_often(tally: dict[str, float]) -> str:
    """Say how many times as often frames inside were kept, where few keepers stand behind the shares."""
    if min(tally["in_kept"], tally["out_kept"]) >= FEW_KEEPERS or not tally["times_high"] > 0:
        return ""
    span = times_span(tally["times_low"], tally["times_high"])
    return f": {times(tally['times'])} times as often inside ({span})"


def times_overall(band: Any) -> str:
    """Write how many times as often a band's frames were kept as all, where few keepers stand behind it."""
    if band.keepers >= FEW_KEEPERS or not band.times_overall > 0:
        return ""
    return f", ×{times(band.times_overall)}"


def put_back(tally: dict[str, float]) -> str:
    """Say that shares are put back to all frames; empty where every counted frame has a distance."""
    if not tally["put_back"]:
        return ""
    return DRAWN if tally["drawn"] else SOME


def without_distances(unheard: pd.DataFrame) -> str:
    """Name the presets and marks that no share over distance speaks for; empty if there are none."""
    if not len(unheard):
        return ""
    cells = [
        f"the {whole(row.frames)} {_MARKS[row.counted_as]} of “{row.preset}”" for row in unheard.itertuples()
    ]
    more = f" and {len(cells) - NAMED} more groups" if len(cells) > NAMED else ""
    return f"No distance is known of {listed(cells[:NAMED])}{more}, which stay out of these shares."


def lane_count(tally: dict[str, float]) -> str:
    """Say a lane's shares and their n beside its bars."""
    if not tally["in_frames"] and not tally["out_frames"]:
        return "nothing counted at a known distance"
    within, without = (
        f"{percent(tally[f'{side}_rate'])}, n {whole(tally[f'{side}_frames'])}"
        if tally[f"{side}_frames"]
        else "none"
        for side in ("in", "out")
    )
    return f"kept in zone {within} · outside {without}"


def overall(met: DistancesMet, units: str) -> str:
    """Say where subjects stood; empty where no distance is known."""
    together = met.presets[met.presets["preset"].isna()]
    if not len(together):
        return ""
    row = together.iloc[0]
    if row["bursts"] < 2:
        return f"The one burst with a known distance was taken at {format_distance(row['median_m'], units)}."
    return (
        f"In {counted(row['bursts'], 'counted burst')} with a known distance, half of the subjects stood "
        f"within {distance_span(row['p25_m'], row['p75_m'], units)} and nine tenths within "
        f"{distance_span(row['p05_m'], row['p95_m'], units)}; the middle one at "
        f"{format_distance(row['median_m'], units)}."
    )


def differ(met: DistancesMet) -> str:
    """Warn where presets met different distances; empty where that does not show."""
    if not met.differ:
        return ""
    return (
        "The presets met different distances, as they do where people press when the subject looks inside "
        "the zone. What worked at one distance need not work at another."
    )


def named(preset: object) -> str:
    """Name a row of the distances met; a missing preset stands for all."""
    return "all presets, any lens" if pd.isna(preset) else str(preset)


def predicts(check: ZoneCheck) -> str:
    """Say whether being inside the zone goes with being kept; empty where one side is missing."""
    if math.isnan(check.odds_ratio):
        return ""
    frames = counted(check.in_kept + check.in_not_kept + check.out_kept + check.out_not_kept, "frame")
    odds = f"The odds of a keeper inside the zone are {check.odds_ratio:.1f} times those outside"
    so = ", which may be chance"
    if check.low > 1 or check.high < 1:
        so = ": the zone predicts your keepers" if check.low > 1 else ": the focus distances may be wrong"
    return f"{odds} ({check.low:.1f}–{check.high:.1f}, {frames}){so}."


def outside(check: ZoneCheck) -> str:
    """Say how many keepers lie outside the zone; empty without keepers at known distances."""
    if math.isnan(check.kept_outside):
        return ""
    span = interval(check.kept_outside_low, check.kept_outside_high)
    keepers = counted(check.in_kept + check.out_kept, "keeper")
    return f"{percent(check.kept_outside)} of {keepers} at a known distance ({span}) lie outside it."


def criterion(check: ZoneCheck) -> str:
    """Say whether the circle of confusion suits; empty where that cannot be told."""
    size = f"{check.criterion} ({millimetres(check.coc_mm)})"
    low, high = millimetres(check.allowance_low).removesuffix(" mm"), millimetres(check.allowance_high)
    said = {
        TOO_STRICT: ("too strict", ", so your zones reach farther"),
        TOO_GENEROUS: ("too generous", ", so your zones are narrower"),
        ABOUT_RIGHT: ("about right", ""),
    }
    if check.verdict not in said or check.allowance_mm < LEAST_LEFT_MM:
        return ""  # where movement and diffraction take all that is borne, nothing shows of the criterion
    suits, so = said[check.verdict]
    left = f"your keepers leave {millimetres(check.allowance_mm)} for defocus ({low}–{high})"
    return f"The criterion {size} is {suits} for you: {left}{so}."
