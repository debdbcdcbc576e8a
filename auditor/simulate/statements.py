"""The texts beside an invented archive: session file, frame notes, and the truth."""

import math

import pandas as pd

from auditor.simulate.pictures import TIMES_BLUR
from auditor.simulate.truth import Outing, PresetTruth, Truth

SELECTS = "selects"
SHOWN_PX = 2400  # as wide as the invented photographer's window showed each picture: two of them are 0.03 mm
NOTE_COLUMNS = (
    "file", "subject_distance", "subject_distance_sd", "guessed_distance", "sharp", "sharp_seen",
    "sharp_shown_px", "reason",
)  # fmt: skip
OF_PHOTOGRAPHER = (
    "ring_error", "glance_sd", "press_outside", "line_spread_m", "measure_sd", "guess_bias", "guess_sd",
    "burst_share", "burst_correlation",
)  # fmt: skip


def stem(outing: Outing, number: int) -> str:
    """A camera's file name without its ending, such as ``WALK0203``; the other body counts in ``HALL``.

    Four signs and four figures, as DCF (CIPA DC-009) asks for; past 9999 the last sign counts on.

    >>> from auditor.simulate.truth import MARKET_OUTINGS
    >>> stem(MARKET_OUTINGS[0], 203), stem(MARKET_OUTINGS[1], 10001)
    ('WALK0203', 'HAL10001')
    """
    word = "WALK" if outing.camera.endswith("A") else "HALL"
    over = str(number // 10_000) if number >= 10_000 else ""
    return f"{word[: len(word) - len(over)]}{over}{number % 10_000:04d}"


def distance_text(distance_m: float) -> str:
    """A distance as people write it.

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
        + ('\nkind = "line"' if preset.kind == "line" else "")
        for preset in presets
    ]
    parts += [
        f'[[stretch]]\npreset = "{truth.presets[preset].name}"\nfrom = "{stem(outing, number)}"'
        + ('\npressed = "anyone"' if anyone else "")
        for preset, number, anyone in zip(firsts["preset"], firsts["number"], firsts["anyone"], strict=True)
    ]
    marks = [f'keepers = "{SELECTS}"'] if outing.marks == "selects" else []
    palms = ", ".join(f'"{stem(outing, number - 1)}"' for number in presses["number"][presses["marked"]])
    marks += [f"markers = [{palms}]"] if palms else []
    if marks:
        parts.append("\n".join(["[marks]", *marks]))
    return "\n\n".join(parts) + "\n"


def _lens_text(preset: PresetTruth) -> str:
    lens = preset.lens
    stops = ", ".join(f"{stop:g}" for stop in lens.f_stops)
    ring = ", ".join(f'"{distance_text(mark)}"' for mark in lens.ring_m)
    return (
        f'[[lens]]\nname = "{lens.name}"\nfocal_length = "{lens.focal_length_mm:g}mm"\n'
        f"f_stops = [{stops}]\nring = [{ring}]"
    )


def notes_text(outing: Outing, presses: pd.DataFrame, truth: Truth) -> str:
    """The frame notes of one walk: what was said and measured of some frames in the evening."""
    measured = presses[presses["measured_m"].notna()]
    rows = [
        ",".join(
            (
                stem(outing, row.number),
                distance_text(row.measured_m),
                f"{truth.measure_sd:g}",
                distance_text(row.guessed_m),
                row.sharp,
                "shown",
                str(SHOWN_PX),
                row.reason if isinstance(row.reason, str) else "",
            )
        )
        for row in measured.itertuples()
    ]
    return "\n".join([",".join(NOTE_COLUMNS), *rows]) + "\n"


def truth_text(truth: Truth, seed: int, frames: int) -> str:
    """The stated truth as a TOML document."""
    moods = ", ".join(f"{outing.mood:g}" for outing in truth.outings)
    stated = f"""\
# The truth behind this archive. All of it is invented: market, visitors, photographer, cameras and lenses.
# The pictures are drawn: people as large as at their distance, blur {TIMES_BLUR:g} times larger than life.
# An audit does not read this file.

seed = {seed}
frames = {frames}

# P(called sharp | blur) = 1 / (1 + (blur / tolerance)^steepness), but for a share of lapses either way. Blur
# is the diameter on the sensor of defocus, motion and diffraction (Airy) together: the root of the sum of
# their squares.
[sharp]
{_values(truth, "tolerance_mm", "steepness", "lapses")}

# P(kept) = K (floor + (1 - floor) P(sharp with the tolerance times forgives)); logit K = logit ceiling + the
# walk's mood + near_interest log(distance_median / distance).
[keeping]
forgives = {truth.keeping_forgives:g}
{_values(truth, "ceiling", "floor", "near_interest")}
moods = [{moods}]

# Distances of all who come along: log-normal, from the sensor plane. Speed: normal; every direction alike.
[people]
{_values(truth, "distance_median_m", "distance_log_sd", "speed_m_s", "speed_sd_m_s")}

# The ring is turned to an engraving with this relative error, once a stretch. Who looks inside the engraved
# zone (circle of confusion 0.030 mm), judged at a glance, is taken; of the others, this share. At a line
# people are taken within line_spread of its place. In the evening some frames, drawn by chance, get a verdict
# on their sharpness, a guess of the distance (biased, rounded) and a measured distance. Frames of a burst
# share their fortune.
[photographer]
{_values(truth, *OF_PHOTOGRAPHER)}

# What each preset truly brought: the mean chance of a burst to hold a keeper, of a frame to be kept, and of a
# frame to be sharp enough, over all frames taken, whether anyone looked at them later or not.
"""
    return "\n".join([stated, *(f"{_preset_text(preset)}\n" for preset in truth.presets)])


def _values(truth: Truth, *names: str) -> str:
    return "\n".join(f"{name} = {getattr(truth, name):g}" for name in names)


def _preset_text(preset: PresetTruth) -> str:
    rates = (
        ""
        if not preset.frames
        else f"\nhit_rate = {preset.hit_rate:.4f}\nframe_rate = {preset.frame_rate:.4f}"
        f"\nsharp_rate = {preset.sharp_rate:.4f}"
    )
    return (
        f'[[preset]]\nname = "{preset.name}"\nlens = "{preset.lens.name}"\n'
        f"focal_length_mm = {preset.lens.focal_length_mm:g}\nf_number = {preset.f_number:g}"
        f'\nfocus_distance_m = {preset.focus_distance_m:g}\nkind = "{preset.kind}"\n'
        f"bursts = {preset.bursts}\nframes = {preset.frames}{rates}"
    )
