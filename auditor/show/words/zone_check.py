"""What is said of whether the sharp zone predicts keepers, and whether its criterion suits."""

from __future__ import annotations

import math

from auditor.evidence.zone_check import ABOUT_RIGHT, TOO_GENEROUS, TOO_STRICT, ZoneCheck
from auditor.show.words.figures import counted, interval, millimetres, percent


def predicts(check: ZoneCheck) -> str:
    """Say whether being inside the zone goes with being kept; empty where one side is missing."""
    if math.isnan(check.odds_ratio):
        return ""
    frames = check.in_kept + check.in_not_kept + check.out_kept + check.out_not_kept
    span = (
        f"{check.odds_ratio:.1f} times those outside ({check.low:.1f}–{check.high:.1f}, "
        f"{counted(frames, 'frame')})"
    )
    if check.low > 1:
        return f"The odds of a keeper inside the zone are {span}: the zone predicts your keepers."
    if check.high < 1:
        return f"The odds of a keeper inside the zone are {span}: the focus distances may be wrong."
    return f"The odds of a keeper inside the zone are {span}, which may be chance."


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
    left = f"your keepers leave {millimetres(check.allowance_mm)} for defocus ({low}–{high})"
    if check.verdict == TOO_STRICT:
        return f"The criterion {size} is too strict for you: {left}, so your zones reach farther."
    if check.verdict == TOO_GENEROUS:
        return f"The criterion {size} is too generous for you: {left}, so your zones are narrower."
    if check.verdict == ABOUT_RIGHT:
        return f"The criterion {size} is about right for you: {left}."
    return ""
