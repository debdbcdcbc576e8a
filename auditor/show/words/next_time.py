"""What is said of one lens's decision: the instruction, what to expect, what it costs, how sure it is."""

import math
from collections.abc import Mapping, Sequence

from auditor.advice.decision import Decision
from auditor.advice.lens_decision import LensDecision, Situation
from auditor.advice.next_walk import PRESSES
from auditor.advice.paired import Setting
from auditor.errors import SettingError
from auditor.evidence.causes import UNEXPLAINED
from auditor.evidence.tolerance import VERDICTS, VERDICTS_REVERSED, WIDEST
from auditor.optics.scales import ASSUMED_SCALE
from auditor.show.decided import Decided, Known, ZoneSetting, eye_of
from auditor.show.words.figures import counted, millimetres, signed, whole
from auditor.show.words.plain import in_words, likely, of_100, one_in, times_more
from auditor.show.words.ring import read_scale, scale_is_known, scale_serves
from auditor.show.words.steps import helpful
from auditor.show.words.tolerance import SENTENCES, carried
from auditor.units import format_distance, format_exposure_time, format_f_number

FEW_PRESSES = 10  # of fewer no share is said in words
_NOT_YET = {
    "gate_closed": "counts or verdicts and optics contradict each other",
    "presses_follow_ring": "you press where the ring is set, so presets met different distances",
    "few_subjects": "too few subjects were measured",
    "no_setting": "no other setting was tried at these distances",
    "unsure": "no setting is surely better, nor surely no better",
}
_MOSTLY = {
    "subject_motion": "people who walk",
    "in_front_of_zone": "subjects too near",
    "beyond_zone": "subjects too far",
    "diffraction": "diffraction at small stops",
}


def the(lens: str) -> str:
    """Name a lens in a sentence; without a name it is the lens."""
    return f"the {lens}" if lens else "the lens"


def setting_name(setting: ZoneSetting | Setting, units: str) -> str:
    """Write a setting as it is set."""
    return f"{format_f_number(setting.f_number)}, ring on {format_distance(setting.focus_distance_m, units)}"


def headline(decided: Decided) -> str:
    """Give the instruction; distances on the ring are written as it is engraved."""
    lens, kind = the(decided.lens), decided.kind
    if kind == "not_focus":
        return f"Focus is not what decides: leave the ring of {lens}"
    if decided.weighed is not None and kind == "latitude":
        return f"{anything(decided.weighed.decision.latitude, decided.bench.units)} will do for {lens}"
    if kind in ("change", "keep") and decided.to_set is not None:
        to_set = setting_name(decided.to_set, decided.bench.units)
        if not decided.stays:
            return f"Next time, set {lens} to {to_set}"
        return f"Keep {lens} at {to_set}{', all the time' if kind == 'change' else ''}"
    return f"{helpful(decided).instruction or 'Walk once more'} to learn what to set"


def anything(settings: Sequence[Setting], units: str) -> str:
    """Name the stops and rings of settings that cannot be told apart."""
    stops = sorted({one.f_number for one in settings})
    rings = sorted({one.focus_distance_m for one in settings})
    along = " to ".join(dict.fromkeys(format_f_number(stop) for stop in (stops[0], stops[-1])))
    between = " to ".join(dict.fromkeys(format_distance(ring, units) for ring in (rings[0], rings[-1])))
    return f"{'Anything from ' if len(stops) > 1 else ''}{along}, ring on {between},"


def expect(decided: Decided) -> str:
    """Say what to expect, words first: of subjects sharp, of presses kept, of the next walk."""
    weighed, known = decided.weighed, decided.known
    if weighed is None:
        return in_the_zone(known)
    valued = weighed.subjects.n and not math.isnan(weighed.subjects.share_now)
    kept = _kept(weighed) if known.marked and weighed.level.presses else ""
    return " ".join(filter(None, (kept, subjects(weighed) if valued else ""))) or in_the_zone(known)


def _kept(weighed: LensDecision) -> str:
    level, walk = weighed.level, weighed.next_walk
    more = ""
    if walk is not None:
        sure = f"{in_words(round(walk.level * 10))} times in ten"
        more = f" On a walk of {walk.presses} presses, {sure}: {walk.low} to {walk.high} with a keeper."
    if level.presses < FEW_PRESSES:
        met = f"{level.hits} of {level.presses}"
        return f"Of presses that count, {met} held a keeper so far: too few to say how often.{more}"
    often = one_in(level.rate, "press")
    past = weighed.decision.kind in ("change", "cannot_tell")
    start = f"so far {often} held" if past else f"{often} will hold"
    span = f"{likely(level.low, level.high)}; {whole(level.presses)} presses"
    return f"{start[0].upper()}{start[1:]} a keeper ({of_100(level.rate)} of 100, {span}).{more}"


def subjects(weighed: LensDecision) -> str:
    """Say how many of 100 subjects were sharp, and how many could be."""
    one = weighed.subjects
    whom = "passers" if one.of_passers else "subjects you pressed at"
    eye = "to a usual eye"
    if weighed.tolerances.sharp.count >= VERDICTS:
        eye = f"to your eye{carried(weighed.tolerances.seen_at)}"
    elif weighed.decision.rests_on == "keepers":
        eye = "by what you keep"
    now = f"about {of_100(one.share_now)} were sharp {eye} as you set it"
    said = f"Of 100 {whom}, {now} ({likely(one.now_low, one.now_high)}; {whole(one.n)} measured)"
    if weighed.decision.kind == "change" and not math.isnan(one.share_best):
        return f"{said}; set as advised, {of_100(one.share_best)} ({likely(one.low, one.high)})."
    return f"{said}."


def instead(decided: Decided) -> str:
    """Say what else could be set, and in which light; empty where nothing is known of other settings."""
    weighed = decided.weighed
    if weighed is None:
        return ""
    said = {
        "keep": "Nothing: no ring or stop surely makes more subjects sharp.",
        "latitude": "Whatever suits you: these cannot be told apart.",
        "not_focus": "Moment, framing, light: what you left was not left for blur.",
        "cannot_tell": f"Nothing yet: {_NOT_YET.get(weighed.decision.why, _NOT_YET['unsure'])}.",
    }.get(decided.kind, "")
    if decided.kind == "latitude" and decided.now is not None and not decided.stays:
        said += f" Now mostly {setting_name(decided.now, decided.bench.units)}."
    if decided.kind == "change" and decided.now is not None:
        said = _against_habit(weighed, decided.now, decided.bench.units, stays=decided.stays)
    return " ".join([said, *by_light(weighed, decided.bench.units)]).strip()


def _against_habit(weighed: LensDecision, now: ZoneSetting, units: str, *, stays: bool) -> str:
    """Say what a change promises, and against what: one setting, or all that were in use together."""
    own = weighed.decision
    if len(weighed.habit) < 2:
        return f"Now {setting_name(now, units)}. The change promises {gain(own)}."
    share = f"{of_100(weighed.habit[0][1])} of 100 presses"
    return (
        f"Now mostly {setting_name(now, units)} ({share}). Against all your settings together "
        f"{'keeping to it' if stays else 'the change'} promises {gain(own)}."
    )


def gain(decision: Decision) -> str:
    """Write what a change promises, with its interval."""
    low, high = (signed(100 * (end - 1)) for end in (decision.gain_low, decision.gain_high))
    return f"{times_more(decision.gain_ratio)} sharp presses (likely {low} to {high} %)"


def by_light(weighed: LensDecision, units: str) -> list[str]:
    """Say for which light the decision is another."""
    return [
        f"{str(one.light).capitalize()} ({whole(one.subjects.n)} measured): "
        f"{setting_name(setting, units)}, {gain(one.decision)}."
        for one, setting in otherwise(weighed)
        if one.light
    ]


def here(decided: Decided, preset: str) -> str:
    """Say what is decided for one preset's own subjects, where it is another setting; else empty."""
    for one, setting in otherwise(decided.weighed) if decided.weighed is not None else ():
        if one.preset == preset:
            return f" Here {setting_name(setting, decided.bench.units)} promises {gain(one.decision)}."
    return ""


def otherwise(weighed: LensDecision) -> list[tuple[Situation, Setting]]:
    """Situations in which another setting was decided on, with it."""
    if weighed.decision.kind == "cannot_tell":
        return []
    found = ((one, one.decision.setting) for one in weighed.situations)
    return [(one, new) for one, new in found if new is not None and new != weighed.decision.setting]


def blur_costs(of_100_by_cause: Mapping[str, int], exposure_time_s: float) -> str:
    """Say what blur still costs, and which blur mostly; empty where that is unknown."""
    if not of_100_by_cause:
        return ""
    lost = {name: number for name, number in of_100_by_cause.items() if name != UNEXPLAINED}
    total = sum(lost.values())
    if total < 3:
        return "Hardly any frame you left was lost to blur alone."
    worst, often = max(lost, key=lambda name: lost[name]), one_in(total / 100, "frame").capitalize()
    keepers = "be keepers" if "frames" in often else "be a keeper"
    said = f"{often} you left would {keepers} but for it, mostly {_MOSTLY[worst]}"
    if worst == "subject_motion" and not math.isnan(exposure_time_s):
        said += f", at {format_exposure_time(exposure_time_s)}: go faster where light allows"
    return f"{said}."


def next_walk(decided: Decided) -> str:
    """Say what the next walk should try, or why it need not try anything."""
    weighed = decided.weighed
    if weighed is None:
        return ""
    if weighed.walk_worth.purpose == "anyone":
        return (
            "For one stretch press at anyone, whatever the ring says: it tells passers from those you waited "
            "for. Look out for traffic."
        )
    untried = f"Nothing to test yet{': first do what helps most' if helpful(decided).sentence else ''}."
    if weighed.decision.why == "gate_closed":
        return untried
    if weighed.walk_worth.purpose == "compare" and decided.now is not None and weighed.paired is not None:
        row, other = weighed.paired.best_tried(), weighed.decision.setting
        if other is None and row is not None:
            other = weighed.paired.setting(row)
        if other is not None and not decided.now.is_at(other.f_number, other.focus_distance_m):
            first, second = (setting_name(one, decided.bench.units) for one in (decided.now, other))
            return (
                f"{PRESSES // 4} presses with {first}; {PRESSES // 2} with {second}; {PRESSES // 4} with the "
                "first again. Stand still, out of traffic, to change."
            )
    if weighed.decision.setting is None and not weighed.decision.latitude and decided.kind != "not_focus":
        return untried
    return "Nothing to test: just shoot."


def rests_on(known: Known) -> str:
    """Say how many frames of the lens have what an answer rests on."""
    if not known.frames:
        return "No frame has a whole zone setting: focal length, f-number and focus distance."
    measured, judged = (whole(frames) if frames else "none" for frames in (known.measured, known.judged))
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


def sure(decided: Decided) -> list[str]:
    """Say what the decision rests on."""
    known = decided.known
    said = [rests_on(known), strictness(decided)]
    if not known.marked and in_the_zone(known) != expect(decided):
        said.append(in_the_zone(known))
    return list(filter(None, said))


def strictness(decided: Decided) -> str:
    """Say how strict this eye is, as far as it is known, or how marks come in."""
    weighed = decided.weighed
    if decided.known.frames and not decided.known.marked:
        return (
            "No frame of this lens carries a mark that counts: save ratings into the files or sidecars, or "
            "name your folder of selects with --keepers."
        )
    if weighed is None:
        return ""
    if VERDICTS_REVERSED in weighed.flags:
        return SENTENCES[VERDICTS_REVERSED]
    own, eye = weighed.tolerances, eye_of(weighed)
    if eye is None or eye[2] > WIDEST * eye[1]:
        how = "not" if eye is None else "hardly"
        return f"How strict your eye is, is {how} known yet, so every likely strictness was tried."
    start = "Your eye takes for sharp up to" if own.sharp.count >= VERDICTS else "Your keepers bear about"
    blur_mm, low, high = eye
    span = f"{millimetres(low).removesuffix(' mm')} to {millimetres(high)}"
    return f"{start} {blur_mm / own.handbook_mm:.1f} times the handbook's blur ({span})."


def engraved_scale(decided: Decided) -> str:
    """Say which marks of the engraved scale show the zone of what is set; empty where it serves as it is."""
    one, bench = decided.to_set or decided.now, decided.bench
    if one is None:
        return ""
    try:
        coc_mm = float(bench.coc_mm(one.f_number, one.focus_distance_m, decided.motion_mm))
    except SettingError:  # diffraction and motion take all that this eye bears
        return ""
    usual = bench.scale == ASSUMED_SCALE and scale_serves(one.f_number, coc_mm, bench)
    if usual or not scale_is_known(one.f_number, coc_mm, bench):
        return ""
    return " ".join(line.strip() for line in read_scale(one.f_number, coc_mm, bench))
