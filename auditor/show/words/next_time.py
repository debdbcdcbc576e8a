"""What is said of one lens's decision: the instruction, what to expect, what it costs, what would help."""

from __future__ import annotations

import math
import shlex

from auditor.advice.result import ValuedSetting
from auditor.show.decided import Decided, Known
from auditor.show.words.figures import counted, listed, whole
from auditor.show.words.plain import likely, of_100, one_in, times_more
from auditor.units import format_distance, format_exposure_time, format_f_number

# What would help most: the instruction it makes where nothing can be told, the command, what it costs.
STEPS = {
    "settings": ("Say what was on the lens", "auditor prepare {source}", "about five minutes"),
    "distances": ("Measure sixty distances", "auditor prepare {source}", "about ten minutes"),
    "verdicts": ("Judge sixty frames for sharpness", "auditor prepare {source}", "about ten minutes"),
    "marks": ("Mark what you keep", "auditor audit {source} --keepers SELECTS", "as long as choosing takes"),
    "walk": ("Walk once more", "", "one walk"),
    "": ("", "", ""),
}


def the(lens: str) -> str:
    """Name a lens in a sentence; without a name it is the lens."""
    return f"the {lens}" if lens else "the lens"


def setting_name(setting: ValuedSetting, units: str) -> str:
    """Write a setting as it is set."""
    return f"{format_f_number(setting.f_number)}, ring on {ring_name(setting.focus_distance_m, units)}"


def ring_name(distance_m: float, units: str) -> str:
    """Write where the ring stands."""
    return "∞" if math.isinf(distance_m) else format_distance(distance_m, units)


def headline(decided: Decided, units: str) -> str:
    """Give the instruction."""
    one = decided.setting
    if decided.kind == "latitude" and decided.latitude:
        return f"{_anything(decided, units)} will do"
    if decided.kind == "not_focus":
        return "Focus is not what decides: leave the ring"
    if one is not None and decided.kind == "change":
        return f"Next time, set {the(decided.lens)} to {setting_name(one, units)}"
    if one is not None and decided.kind == "keep":
        return f"Keep {the(decided.lens)} at {setting_name(one, units)}"
    return f"{STEPS[decided.would_help][0] or 'Walk once more'} to learn what to set"


def _anything(decided: Decided, units: str) -> str:
    stops = sorted({one.f_number for one in decided.latitude})
    rings = sorted({one.focus_distance_m for one in decided.latitude})
    along = f"f/{stops[0]:.3g} to f/{stops[-1]:.3g}" if len(stops) > 1 else format_f_number(stops[0])
    if len(rings) > 1:
        between = f"ring on {ring_name(rings[0], units)} to {ring_name(rings[-1], units)}"
    else:
        between = f"ring on {ring_name(rings[0], units)}"
    return f"Anything from {along}, {between}," if len(stops) > 1 else f"{along}, {between},"


def expect(decided: Decided, units: str) -> str:
    """Say what to expect of it, words first."""
    one, known = decided.setting, decided.known
    if one is not None and not math.isnan(one.expected_hit_rate):
        rate, span = one.expected_hit_rate, likely(one.low, one.high)
        return f"About {one_in(rate, 'press')} will hold a keeper ({of_100(rate)} of 100, {span})."
    now = decided.now
    if now is not None and now.bursts and not math.isnan(now.observed_hit_rate) and known.keepers:
        hits = round(now.observed_hit_rate * now.bursts)
        return (
            f"So far, at {setting_name(now, units)}, about {one_in(now.observed_hit_rate, 'press')} held a keeper "
            f"({whole(hits)} of {whole(now.bursts)}; {likely(now.observed_low, now.observed_high)} of 100)."
        )
    if known.measured:
        return f"{whole(known.in_zone)} of the {counted(known.measured, 'subject')} measured stood in the sharp zone."
    return ""


def instead(decided: Decided, units: str) -> str:
    """Say what else could be set; empty where nothing is known of other settings."""
    one, now = decided.setting, decided.now
    if decided.kind == "change" and one is not None and now is not None:
        gain = times_more(decided.gain_ratio)
        span = f"{_percent(decided.gain_low)} to {_percent(decided.gain_high)}"
        return f"Now: {setting_name(now, units)}. The change promises {gain} ({span})."
    if decided.kind == "keep":
        return "Nothing: no ring or stop is surely better."
    if decided.kind == "latitude":
        return "Whatever suits the light: these settings cannot be told apart."
    if decided.kind == "not_focus":
        return "Moment, framing and light: what you left was not left for blur."
    return ""


def _percent(ratio: float) -> str:
    return f"{100 * (ratio - 1):.0f} %".replace("-", "−")


def blur_costs(of_100_by_cause: dict[str, int], exposure_time_s: float) -> str:
    """Say what blur still costs, and which blur mostly; empty where that is unknown."""
    lost = {name: number for name, number in of_100_by_cause.items() if name != "not_explained_by_blur"}
    total = sum(lost.values())
    if not of_100_by_cause:
        return ""
    if total < 3:
        return "Hardly any frame you left was left for blur."
    worst = max(lost, key=lambda name: lost[name])
    advice = {
        "subject_motion": "people who walk",
        "in_front_of_zone": "subjects nearer than the zone",
        "beyond_zone": "subjects farther than the zone",
        "diffraction": "diffraction at small stops",
    }[worst]
    more = ""
    if worst == "subject_motion" and not math.isnan(exposure_time_s):
        more = f", at {format_exposure_time(exposure_time_s)}: go faster where the light allows"
    return f"About {one_in(total / 100, 'frame')} of those you left, mostly {advice}{more}."


def next_walk(decided: Decided, units: str) -> str:
    """Say what the next walk should try, or that there is nothing to test."""
    if decided.walk:
        names = listed(setting_name(one, units) for one in decided.walk)
        return (
            f"Change between {names} every quarter hour. Stand still, out of traffic, to change. "
            "auditor advise --experiment writes it down."
        )
    if decided.kind in ("keep", "latitude", "not_focus", "change"):
        return "Nothing to test: just shoot."
    return ""


def rests_on(known: Known) -> str:
    """Say how many frames of the lens have what an answer rests on."""
    if not known.frames:
        return "No frame of this lens has a whole zone setting."
    measured = whole(known.measured) if known.measured else "none"
    judged = whole(known.judged) if known.judged else "none"
    return (
        f"Of {counted(known.frames, 'frame')} of this lens {measured} "
        f"{'has' if known.measured == 1 else 'have'} a distance, {judged} a verdict on sharpness, and "
        f"{whole(known.marked)} {'is' if known.marked == 1 else 'are'} marked kept or not."
    )


def in_the_zone(known: Known) -> str:
    """Say how many stood in the zone; empty where no distance is known."""
    if not known.measured:
        return ""
    return f"{whole(known.in_zone)} of {counted(known.measured, 'subject')} measured stood in the sharp zone."


def no_marks() -> str:
    """Say how marks come in."""
    return (
        "No frame carries a mark that counts: save ratings into the files or sidecars, or name your folder "
        "of selects with --keepers."
    )


def step(decided: Decided, sources: tuple[str, ...]) -> tuple[str, str]:
    """Give the one command that helps most, and what it costs; both empty where nothing would."""
    _, command, minutes = STEPS[decided.would_help]
    named = " ".join(shlex.quote(source) for source in sources) or "FOLDER"
    return command.format(source=named), minutes
