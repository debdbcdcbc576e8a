"""What is said of what to set next."""

from __future__ import annotations

import math

from auditor.advice.experiment import Experiment
from auditor.advice.flags import USUAL_CURVE
from auditor.advice.light_kinds import SURE
from auditor.advice.limits import Limits
from auditor.advice.result import Advice, LightKind, ValuedSetting
from auditor.show.words.figures import (
    about,
    counted,
    interval,
    listed,
    percent,
    ratio_span,
    whole,
    zone,
)
from auditor.units import format_distance, format_exposure_time, format_f_number

CAUTION = "Look where you walk; local law on photographing people applies."
NOT_VALUED = (
    "The expected hit rate counts keepers alone: noise at a high ISO and the look of the background are not "
    "valued. Its interval is about walks like these taken together; a single one may fall well outside."
)
BY_COUNTS = (
    "Without a keeper curve over known distances only presets in use can be compared, by their counts, each "
    "rate pulled toward the common one."
)
LEAST_GAIN = 0.005  # of what is kept now: less would be written as nothing at all
_LIMIT_NAMES = {
    "iso_max": "highest ISO",
    "wanted_shutter": "wanted exposure time",
    "slowest_shutter": "slowest exposure time",
}


def setting_name(setting: ValuedSetting, units: str) -> str:
    """Write a setting as it is set: f-number and ring."""
    return f"{format_f_number(setting.f_number)} at {format_distance(setting.focus_distance_m, units)}"


def expectation(setting: ValuedSetting) -> str:
    """Write what a setting should bring."""
    return f"{percent(setting.expected_hit_rate)} ({interval(setting.low, setting.high)})"


def tomorrow(advice: Advice, worth: float, units: str) -> str:
    """Say in one sentence what to set next; ``worth`` is the least gain to act on, of what is kept now."""
    if not advice.settings or not advice.current:
        return f"No setting of {advice.lens} can be advised from these frames."
    first, now = advice.settings[0], advice.current[0]
    if advice.change_advised:
        span = interval_of_100(first.low, first.high)
        return (
            f"Next, set {advice.lens} to {setting_name(first, units)}: {_basis(advice)}of 100 presses about "
            f"{of_100(first.expected_hit_rate)} should hold a keeper ({span}), with "
            f"{setting_name(now, units)} about {of_100(now.expected_hit_rate)}{_seen(now)}: {_more(advice)}."
        )
    if not advice.by_curve:
        return _by_counts(advice, units)
    keep = f"Keep {advice.lens} at {setting_name(now, units)}"
    same = math.isclose(first.f_number, now.f_number, rel_tol=0.02) and (
        first.focus_distance_m == now.focus_distance_m
        or math.isclose(first.focus_distance_m, now.focus_distance_m, rel_tol=0.02)
    )
    if same:
        return f"{keep}: no setting promises more."
    if not advice.gain_ratio >= LEAST_GAIN:
        return f"{keep}: not even {setting_name(first, units)} promises more to speak of."
    gain = f"about {of_100(advice.gain)} more of 100 presses, {_more(advice)}"
    other = f"{_basis(advice)}{setting_name(first, units)} promises {gain}"
    if advice.gain_ratio < worth:
        return f"{keep}: {other}; that is less than the {percent(worth)} worth acting on."
    if advice.chance_better >= SURE:
        return f"{keep}: {other}, but a doubt named below stands against it."
    more = ""
    if advice.frames_needed:
        more = f" About {about(advice.frames_needed)} more frames would show it, if it is there."
    return (
        f"{keep}: {other}, but the chance that it brings more at all is {percent(advice.chance_better)}: too "
        f"little for a change.{more}"
    )


def of_100(rate: float) -> str:
    """Write how many of 100 presses; one decimal below 10.

    Examples
    --------
    >>> of_100(0.354), of_100(0.0524)
    ('35', '5.2')
    """
    return f"{100 * rate:.{1 if abs(rate) < 0.0995 else 0}f}"


def interval_of_100(low: float, high: float) -> str:
    """Write an interval of how many of 100 presses."""
    return f"{of_100(low)}–{of_100(high)}"


def _seen(setting: ValuedSetting) -> str:
    """Write what was counted at a setting in use, beside what is expected there."""
    if math.isnan(setting.observed_hit_rate):
        return ""
    hits = round(setting.observed_hit_rate * setting.bursts)
    return f" (counted: {whole(hits)} of {whole(setting.bursts)})"


def _basis(advice: Advice) -> str:
    return "by the usual curve, " if USUAL_CURVE in advice.flags else ""


def _more(advice: Advice) -> str:
    """Write the gain as a share of what is kept now, with its interval."""
    if not math.isfinite(advice.gain_ratio):
        return "where now there is nothing"
    return f"{percent(advice.gain_ratio)} more ({ratio_span(advice.gain_ratio_low, advice.gain_ratio_high)})"


def _by_counts(advice: Advice, units: str) -> str:
    """Say what the counts of the presets in use alone can say."""
    first, now = advice.settings[0], advice.current[0]
    used = f"{setting_name(now, units)} ({counted(now.bursts, 'burst')})"
    if len(advice.current) == 1:
        return (
            f"What {advice.lens} would do at another setting cannot be told from these frames: only {used} "
            "was used, and no keeper curve over known distances carries."
        )
    if first.preset == now.preset:
        return (
            f"Of the presets of {advice.lens} in use none has a higher hit rate than {used}; counts alone "
            "cannot say what another setting would do."
        )
    return (
        f"Counts alone cannot tell {setting_name(first, units)} ({counted(first.bursts, 'burst')}), which "
        f"has the highest hit rate of the presets of {advice.lens}, from {used}, the most used one."
    )


def short(advice: Advice, units: str) -> str:
    """Say what to set next without the reasons; empty where nothing can be advised."""
    if not advice.settings or not advice.current:
        return ""
    if advice.change_advised:
        return f"Next, set {advice.lens} to {setting_name(advice.settings[0], units)}."
    if not advice.by_curve:
        return f"What to set next with {advice.lens} cannot be told yet."
    for_now = " for now" if advice.flags else ""
    return f"Keep {advice.lens} at {setting_name(advice.current[0], units)}{for_now}."


def one_for_all(advice: Advice) -> str:
    """Say whether one setting serves every light; empty where light is unknown."""
    if not advice.by_light:
        return ""
    if advice.one_serves_all:
        return (
            "One setting serves every light that was met: in none of them is another surely better by as "
            "much as is worth acting on."
        )
    return "No one setting serves every light that was met:"


def light_kind(kind: LightKind, units: str) -> str:
    """Say which setting serves one kind of light."""
    span = f"EV {kind.from_ev:.0f} to {kind.to_ev:.0f}"
    return f"{kind.name} ({span}): {setting_name(kind.setting, units)}, {expectation(kind.setting)}."


def experience(advice: Advice, units: str) -> str:
    """Say on what ground the advice stands."""
    if not advice.distances_known or math.isnan(advice.experience_from_m):
        return ""
    span = zone(advice.experience_from_m, advice.experience_to_m, math.inf, units)
    return (
        f"Nine tenths of the {counted(advice.distances_known, 'burst')} with a known subject distance lie "
        f"within {span}. Rings set outside that are not advised, and are grey in the picture."
    )


def others(advice: Advice) -> str:
    """Name the lenses that this advice is not about; empty if there are none."""
    if not advice.other_lenses:
        return ""
    return (
        "For "
        + " or ".join(advice.other_lenses)
        + f' run auditor advise with --lens "{advice.other_lenses[0]}"'
        + (" or another name." if len(advice.other_lenses) > 1 else ".")
    )


def exposure(setting: ValuedSetting) -> str:
    """Write the exposure that a setting would have had in the light met."""
    if math.isnan(setting.median_shutter_s) and math.isnan(setting.median_iso):
        return "–"
    iso = "" if math.isnan(setting.median_iso) else f", ISO {whole(setting.median_iso)}"
    return f"{format_exposure_time(setting.median_shutter_s)}{iso}"


def chart_finding(advice: Advice, worth: float, units: str) -> str:
    """State the finding of the advice chart for those who cannot see it."""
    best = "; ".join(f"{setting_name(s, units)} {percent(s.expected_hit_rate)}" for s in advice.settings[:5])
    return (
        "Expected hit rate for each engraving and stop. "
        f"{tomorrow(advice, worth, units)} In order of preference: {best}."
    )


def limits(light: Limits | None) -> str:
    """Say within which limits exposures were worked out, and which nobody stated; empty if unknown."""
    if light is None:
        return ""
    said = (
        f"Exposures: {format_exposure_time(light.wanted_shutter_s)} as long as ISO {whole(light.iso_max)} "
        f"allows it, then longer, to {format_exposure_time(light.slowest_shutter_s)}."
    )
    notes = [
        f"{listed(_LIMIT_NAMES[name] for name in names)} {how}"
        for names, how in ((light.inferred, "inferred from the frames"), (light.assumed, "assumed"))
        if names
    ]
    return f"{said} Of these, {'; '.join(notes)}." if notes else said


def next_walk(experiment: Experiment, units: str) -> str:
    """Say what the next walk should alternate, and what it is worth."""
    names = [
        f"{format_f_number(one.f_number)} at {format_distance(one.focus_distance_m, units)}"
        for one in experiment.settings
    ]
    if len(names) == 1:
        return f"{experiment.lens} has no other setting to try against {names[0]}."
    beyond = [name for name, one in zip(names, experiment.settings, strict=True) if not one.within_experience]
    worth = (
        f"Of all pairs and triples these should help most to choose better afterwards, by "
        f"{100 * experiment.value:.1f} points of hit rate."
        if experiment.value >= 0.0005
        else "Little is left to learn: no walk should change the choice by a tenth of a point."
    )
    note = f" No subject was met around {listed(beyond)} yet: it is only for trying." if beyond else ""
    return (
        f"Next walk with {experiment.lens}: alternate {listed(names)}, "
        f"{counted(experiment.bursts_each, 'burst')} "
        f"of each, changing over every {experiment.block_bursts}. {worth}{note}"
    )
