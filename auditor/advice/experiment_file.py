"""The next walk as a session file that is ready to be filled in."""

from __future__ import annotations

import json
import math

from auditor.advice.experiment import Experiment, TrySetting
from auditor.settings import Settings
from auditor.units import METRES_PER_FOOT, format_exposure_time

MOST_BLOCKS = 12


def experiment_session(experiment: Experiment, settings: Settings) -> str:
    """Write the session file of an experiment; it can be read back as it is.

    The stretches stand as comments, since the frames that begin them are not taken yet. Their order is turned
    on by one in every round, so that no setting always has the better light.

    Parameters
    ----------
    experiment : Experiment
    settings : Settings
        The limits of the light are written where they were stated.
    """
    names = [_name(place, setting, settings.units) for place, setting in enumerate(experiment.settings)]
    each = experiment.bursts_each
    lines = [
        f"# The next walk: {len(names)} settings in turn, {each} bursts of each, changed over every "
        f"{experiment.block_bursts} bursts.",
        "# Photograph the ring, or a hand sign, at each change, and name that frame in the stretch's from.",
        "# Take what comes: press as if the ring were always right, or the settings cannot be compared.",
        "# Look where you walk; local law on photographing people applies.",
        "",
        "[[lens]]",
        f"name = {_quoted(experiment.lens)}",
        f'focal_length = "{experiment.focal_length_mm:g}mm"',
    ]
    if experiment.f_stops:
        lines.append(f"f_stops = [{', '.join(f'{stop:g}' for stop in experiment.f_stops)}]")
    if experiment.ring_m:
        ring = ", ".join(_quoted(_distance(distance, "m")) for distance in experiment.ring_m)
        lines.append(f"ring = [{ring}]")
    for name, setting in zip(names, experiment.settings, strict=True):
        beyond = "" if setting.within_experience else "    # no subject was met around there yet"
        lines += [
            "",
            f"[[preset]]{beyond}",
            f"name = {_quoted(name)}",
            f"lens = {_quoted(experiment.lens)}",
            f"f_number = {setting.f_number:g}",
            f"focus_distance = {_quoted(_distance(setting.focus_distance_m, settings.units))}",
        ]
    lines += ["", "# Take the # away and put in the name of each block's first frame.", ""]
    for place in _block_order(len(names), each, experiment.block_bursts):
        lines += ["# [[stretch]]", f"# preset = {_quoted(names[place])}", '# from = "P1010001"', ""]
    return "\n".join([*lines, *_light(settings)])


def _block_order(settings: int, each: int, block: int) -> list[int]:
    """Numbers of the settings, block by block: 0 1 2, 1 2 0, ..."""
    rounds = max(1, min(math.ceil(each / block), MOST_BLOCKS // settings))
    return [(turn + place) % settings for turn in range(rounds) for place in range(settings)]


def _light(settings: Settings) -> list[str]:
    values = []
    if settings.iso_max is not None:
        values.append(f"iso_max = {settings.iso_max:g}")
    for name in ("wanted_shutter", "slowest_shutter"):
        time = getattr(settings, f"{name}_s")
        if time is not None:
            values.append(f'{name} = "{format_exposure_time(time)}"')
    return ["[light]", *values, ""] if values else []


def _name(place: int, setting: TrySetting, units: str) -> str:
    return f"{'ABC'[place]}: f/{setting.f_number:g} at {_distance(setting.focus_distance_m, units)}"


def _distance(distance_m: float, units: str) -> str:
    if math.isinf(distance_m):
        return "inf"
    return f"{distance_m:.4g}m" if units == "m" else f"{distance_m / METRES_PER_FOOT:.4g}ft"


def _quoted(text: str) -> str:
    """A TOML basic string; JSON's escapes are all valid there."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
