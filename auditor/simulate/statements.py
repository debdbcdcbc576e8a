"""The texts beside an invented archive: session file, frame notes, and the truth."""

from __future__ import annotations

import math

import pandas as pd

from auditor.simulate.truth import Outing, PresetTruth, Truth

SELECTS = "selects"

_INVENTED = """\
# The truth behind this archive. All of it is invented: market, visitors, photographer, cameras and lenses.
# The pictures are drawn: figures as tall as their distance asks for, blur 30 times larger than life.
# An audit does not read this file.
"""
_KEEPING = """\
# P(keep | blur) = floor + (ceiling - floor) / (1 + (blur / tolerance)^steepness). Blur is the diameter on the
# sensor of defocus, motion and diffraction (Airy) together: the root of the sum of their squares."""
_PEOPLE = """\
# Distances of all who come along: log-normal, from the sensor plane. Speed: normal; every direction alike."""
_PHOTOGRAPHER = """\
# The ring is turned to an engraving with this relative error, once a stretch. Who looks inside the engraved
# zone (circle of confusion 0.030 mm), judged at a glance, is taken; of the others, this share. Distances are
# noted by eye afterwards, with an error of their own, and rounded. Frames of a burst share their fortune."""
_PRESETS = """\
# What each preset truly brought: the mean chance of a burst to hold a keeper, and of a frame to be kept, over
# all frames taken, whether anyone looked at them later or not."""


def stem(outing: Outing, number: int) -> str:
    """A camera's file name without its ending, such as ``P1010203``; the other body counts in ``Q``.

    Examples
    --------
    >>> from auditor.simulate.truth import MARKET_OUTINGS
    >>> stem(MARKET_OUTINGS[0], 203), stem(MARKET_OUTINGS[1], 10001)
    ('P1010203', 'Q1020001')
    """
    letter = "P" if outing.camera.endswith("A") else "Q"
    return f"{letter}{101 + number // 10_000}{number % 10_000:04d}"


def distance_text(distance_m: float) -> str:
    """A distance as people write it.

    Examples
    --------
    >>> distance_text(2.5), distance_text(math.inf)
    ('2.5m', 'inf')
    """
    return "inf" if math.isinf(distance_m) else f"{distance_m:g}m"


def session_text(outing: Outing, truth: Truth, presses: pd.DataFrame) -> str:
    """The session file of one walk with a lens that reports nothing."""
    firsts = presses.drop_duplicates("stretch")
    presets = [truth.presets[i] for i in dict.fromkeys(firsts["preset"])]
    parts = [
        "# An invented walk through a covered market. The lens reports nothing: this file says what was set.",
        f'[[camera]]\nname = "{outing.camera}"\nsensor = "36x24"',
    ]
    parts += [_lens_text(preset) for preset in {preset.lens.name: preset for preset in presets}.values()]
    parts += [
        f'[[preset]]\nname = "{preset.name}"\nlens = "{preset.lens.name}"\nf_number = {preset.f_number:g}\n'
        f'focus_distance = "{distance_text(preset.focus_distance_m)}"'
        for preset in presets
    ]
    parts += [
        f'[[stretch]]\npreset = "{truth.presets[preset].name}"\nfrom = "{stem(outing, number)}"'
        for preset, number in zip(firsts["preset"], firsts["number"], strict=True)
    ]
    if outing.marks == "selects":
        parts.append(f'[marks]\nkeepers = "{SELECTS}"')
    parts.append(f"[subject]\nguess_sd = {truth.note_sd:g}")
    return "\n\n".join(parts) + "\n"


def _lens_text(preset: PresetTruth) -> str:
    lens = preset.lens
    stops = ", ".join(f"{stop:g}" for stop in lens.f_stops)
    ring = ", ".join(f'"{distance_text(mark)}"' for mark in lens.ring_m)
    return (
        f'[[lens]]\nname = "{lens.name}"\nfocal_length = "{lens.focal_length_mm:g}mm"\n'
        f"f_stops = [{stops}]\nring = [{ring}]"
    )


def notes_text(outing: Outing, presses: pd.DataFrame) -> str:
    """The frame notes of one walk: subject distances guessed by eye."""
    noted = presses[presses["noted_m"].notna()]
    rows = [
        f"{stem(outing, number)},{distance_text(distance)}"
        for number, distance in zip(noted["number"], noted["noted_m"], strict=True)
    ]
    return "\n".join(["file,subject_distance", *rows]) + "\n"


def truth_text(truth: Truth, seed: int, frames: int) -> str:
    """The stated truth as a TOML document."""
    sections = [
        f"{_INVENTED}\nseed = {seed}\nframes = {frames}",
        f"{_KEEPING}\n[keeping]\ntolerance_mm = {truth.tolerance_mm:g}\nceiling = {truth.ceiling:g}\n"
        f"floor = {truth.floor:g}\nsteepness = {truth.steepness:g}",
        f"{_PEOPLE}\n[people]\ndistance_median_m = {truth.distance_median_m:g}\n"
        f"distance_log_sd = {truth.distance_log_sd:g}\nspeed_m_s = {truth.speed_m_s:g}\n"
        f"speed_sd_m_s = {truth.speed_sd_m_s:g}",
        f"{_PHOTOGRAPHER}\n[photographer]\nring_error = {truth.ring_error:g}\n"
        f"glance_sd = {truth.glance_sd:g}\npress_outside = {truth.press_outside:g}\n"
        f"note_sd = {truth.note_sd:g}\nburst_share = {truth.burst_share:g}\n"
        f"burst_correlation = {truth.burst_correlation:g}",
        _PRESETS,
        *(_preset_text(preset) for preset in truth.presets),
    ]
    return "\n\n".join(sections) + "\n"


def _preset_text(preset: PresetTruth) -> str:
    rates = (
        ""
        if not preset.frames
        else f"\nhit_rate = {preset.hit_rate:.4f}\nframe_rate = {preset.frame_rate:.4f}"
    )
    return (
        f'[[preset]]\nname = "{preset.name}"\nlens = "{preset.lens.name}"\n'
        f"focal_length_mm = {preset.lens.focal_length_mm:g}\nf_number = {preset.f_number:g}"
        f"\nfocus_distance_m = {preset.focus_distance_m:g}\n"
        f"bursts = {preset.bursts}\nframes = {preset.frames}{rates}"
    )
