"""The next walk as a session file that is ready to be filled in."""

import json
import math
from collections.abc import Sequence
from dataclasses import asdict
from itertools import groupby, starmap

from auditor.advice.next_walk import WalkPlan
from auditor.intake.statements.session import Lens, RingReading, ScaleReading
from auditor.optics.rings import ring_unit
from auditor.settings import Settings
from auditor.units import METRES_PER_FOOT, format_exposure_time

_PURPOSE = {
    "compare": (
        "# Change over after so many presses; stand still to change, out of traffic.",
        "# Take what comes: press as if the ring were always right, or the settings cannot be compared.",
    ),
    "anyone": (
        "# Press at whoever comes, near or far, without regard for the zone: only then do the distances",
        "# speak for people as they pass, and not for the ring.",
    ),
}


def experiment_session(walk: WalkPlan, focal_length_mm: float, lens: Lens | None, settings: Settings) -> str:
    """Write the session file of an experiment; it can be read back as it is.

    The stretches are comments, since the frames that begin them are not taken yet. ``lens`` is what a session
    file says of it already; the limits of the light are written where they were stated.
    """
    runs = [list(run) for _, run in groupby(walk.blocks, key=lambda block: block.preset)]
    blocks = [(sum(block.presses for block in run), run[0]) for run in runs]  # nothing changes within a run
    order = ", ".join(f"{presses} with {_quoted(block.preset)}" for presses, block in blocks)
    change = (
        "# Hold the palm over the lens at each change, or photograph the ring; name the next frame in from."
    )
    lines = [
        f"# The next walk: {walk.presses} presses, {order}.",
        *_PURPOSE[walk.purpose],
        *([change] if len(blocks) > 1 else []),
        "# Look where you walk; local law on photographing people applies.",
        "",
        "[[lens]]",
        f"name = {_quoted(walk.lens)}",
        f'focal_length = "{focal_length_mm:g}mm"',
    ]
    if lens is not None and lens.f_stops:
        lines.append(f"f_stops = [{', '.join(f'{stop:g}' for stop in lens.f_stops)}]")
    units = ring_unit(lens.ring_m) if lens is not None and lens.ring_m else settings.units
    if lens is not None and lens.ring_m:
        ring = ", ".join(_quoted(_distance(mark, units)) for mark in lens.ring_m)
        lines.append(f"ring = [{ring}]")
    if lens is not None:
        lines += _readings("scale", lens.scale, units)
        lines += _readings("ring_check", lens.ring_checks, units)
    for name, setting in {block.preset: block.setting for block in walk.blocks}.items():
        lines += [
            "",
            "[[preset]]",
            f"name = {_quoted(name)}",
            f"lens = {_quoted(walk.lens)}",
            f"f_number = {setting.f_number:g}",
            f"focus_distance = {_quoted(_distance(setting.focus_distance_m, units))}",
        ]
    lines += ["", "# Take the # away and put in the name of each block's first frame.", ""]
    for presses, block in blocks:
        lines += [f"# [[stretch]]    # {presses} presses", f"# preset = {_quoted(block.preset)}"]
        lines += ['# pressed = "anyone"'] if block.pressed == "anyone" else []
        lines += ['# from = "WALK0001"', ""]
    return "\n".join([*lines, *_light(settings)])


def _readings(key: str, readings: Sequence[ScaleReading | RingReading], units: str) -> list[str]:
    """What was read off the lens, under the keys that a session file has for it."""

    def written(name: str, value: float) -> str:
        if name.endswith("_m"):
            return f"{name.removesuffix('_m')} = {_quoted(_distance(value, units))}"
        return f"{name} = {value:g}"

    tables = [", ".join(starmap(written, asdict(one).items())) for one in readings]
    return [f"{key} = [{', '.join(f'{{ {table} }}' for table in tables)}]"] if tables else []


def _light(settings: Settings) -> list[str]:
    values = []
    if settings.iso_max is not None:
        values.append(f"iso_max = {settings.iso_max:g}")
    for name in ("wanted_shutter", "slowest_shutter"):
        time = getattr(settings, f"{name}_s")
        if time is not None:
            values.append(f'{name} = "{format_exposure_time(time)}"')
    return ["[light]", *values, ""] if values else []


def _distance(distance_m: float, units: str) -> str:
    if math.isinf(distance_m):
        return "inf"
    return f"{distance_m:.4g}m" if units == "m" else f"{distance_m / METRES_PER_FOOT:.4g}ft"


def _quoted(text: str) -> str:
    """A TOML basic string; JSON's escapes are all valid there."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
