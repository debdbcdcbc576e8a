"""What stands in the way of advice, or should be known beside it; one short name for each."""

from __future__ import annotations

NO_DISTANCES = "no_distances"  # no subject distance is known: presets can only be counted
NO_TOLERANCE = "no_tolerance"  # no keeper curve could be fitted
USUAL_CURVE = "usual_curve"  # this photographer's own curve does not carry: the usual one stands in
NO_LIGHT = "no_light"  # f-number, time and sensitivity are not known together: times as used stand in
NO_EXPOSURES = "no_exposures"  # no exposure time is known
DISTANCES_OF_ALL_LENSES = "distances_of_all_lenses"  # this lens alone has too few
ONE_PRESET = "one_preset"
LIMITS_INFERRED = "limits_inferred"
LIMITS_ASSUMED = "limits_assumed"
USUAL_SETTINGS = "usual_settings"  # nobody said which f-stops and engravings the lens has
DISTANCES_DIFFER = "distances_differ"  # the presets met different distances, and that decides the advice
