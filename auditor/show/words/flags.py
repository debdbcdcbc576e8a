"""What stands in the way of a tolerance or of advice, one sentence for each flag."""

from __future__ import annotations

from collections.abc import Collection, Iterable

SENTENCES = {
    # of the tolerance
    "not_enough": "There is too little to fit a keeper tolerance on.",
    "few_keepers": "Fewer than 20 bursts with a known blur hold a keeper.",
    "few_not_kept": "Fewer than 20 bursts with a known blur are without a keeper.",
    "little_spread": "The frames differ too little in blur: hardly any is much sharper, or less sharp.",
    "one_side": "Hardly a frame is sharper than the tolerance that was fitted, or hardly one less sharp.",
    "at_the_edge": "The fit ran to the end of the tolerances that were tried: these frames set it no bound.",
    "no_distances": "No counted frame has a subject distance, so no blur is known; auditor prepare "
    "--distances 60 picks frames to measure.",
    "poor_fit": "The fitted curve does not go through the observed rates.",
    "chosen_by_distance": "Frames may also have been chosen by distance: if so, the tolerance is another.",
    "distances_of_keepers": "Distances are known mostly for keepers, and nobody drew the few others by "
    "chance; measure frames that auditor prepare --distances picks at random.",
    "distances_of_not_kept": "Distances are known mostly for frames that were not kept, and nobody drew the "
    "few keepers by chance; measure frames that auditor prepare --distances picks at random.",
    "leans_on_speed": "The tolerance hangs on how fast subjects are taken to walk; speed_m_s in the session "
    "file states it.",
    "between_outings": "Within the single sessions hits do not surely fall with blur: what looks like your "
    "tolerance may be places and light that differed from one outing to the next. No change is advised.",
    "leans_on_guess_error": "The tolerance hangs on how well distances were guessed.",
    # of the advice
    "no_tolerance": "No keeper tolerance could be fitted, so presets are compared by their counts alone.",
    "usual_curve": "Your own tolerance is not known well enough yet. Expected rates rest on the distances "
    "measured and on the usual curve of photographers, set to the level of your own hit rate.",
    "no_light": "Light is not known (a single ISO, a flash, or no ISO at all), so exposure times as they "
    "were used stand in for it, and only stops in use are advised.",
    "no_exposures": "No exposure time is known, so subject motion is not.",
    "distances_of_all_lenses": "This lens has too few subject distances; those of all lenses stand in.",
    "one_preset": "Only one preset of this lens was used.",
    "limits_inferred": "The limits of ISO and exposure time were inferred from the frames; the session "
    "file can state them.",
    "limits_assumed": "The limits of ISO and exposure time are assumed; the session file can state them.",
    "usual_settings": "Nobody said which f-stops and engravings the lens has; the usual ones were tried.",
    "distances_differ": "The presets met subjects at different distances, and that alone would decide; so "
    "no change is advised.",
}

LIMITS = ("limits_inferred", "limits_assumed")  # said better where the limits themselves are


def sentences(flags: Iterable[str], said: Collection[str] = ()) -> list[str]:
    """Write each flag as a sentence, once, in the order given, without those said already."""
    return [SENTENCES[flag] for flag in dict.fromkeys(flags) if flag not in said]
