"""A million frames through every column that comes from optics, beside the bare defocus formula.

    python tests/bench/bench_optics.py [--frames 1000000] [--rounds 15]

The columns are computed in blocks that stay in the processor's cache. They may take 10 times what one plain
numpy evaluation of f^2 / (N (s - f)) |u - s| / u takes in the same run, and the process at most 700 MB (exit
code 1 where not). Both are timed in turn, in processor time, since other work on the machine slows a long
piece of work more than a short one; medians are compared.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from auditor.optics.blur import blur_parts, combined_mm
from auditor.optics.lens import sharp_zone
from auditor.optics.sensors import parse_criterion

BLOCK = 32_768
TIMES, MEGABYTES = 10.0, 700.0
FACTS = ("focal", "number", "focus", "subject", "time", "width", "height")


def invented(frames: int) -> dict[str, np.ndarray]:
    """Settings and distances as in an archive; one in twenty is unknown, some rings stand at infinity."""
    rng = np.random.default_rng(2031)
    facts = {
        "focal": rng.choice([21.0, 28.0, 35.0, 50.0], frames),
        "number": rng.choice([4.0, 5.6, 8.0, 11.0, 16.0], frames),
        "focus": rng.choice([1.2, 1.5, 2.0, 2.5, 3.0, 5.0, np.inf], frames),
        "subject": rng.lognormal(1.0, 0.5, frames),
        "time": rng.choice([1 / 60, 1 / 125, 1 / 250, 1 / 500], frames),
        "width": np.full(frames, 36.0),
        "height": np.full(frames, 24.0),
    }
    for name in ("focal", "number", "focus", "subject", "time"):
        facts[name][rng.random(frames) < 0.05] = np.nan
    return facts


def plain(facts: dict[str, np.ndarray]) -> np.ndarray:
    """The defocus formula alone, on whole columns, distances taken as from the lens [mm]."""
    f, s, u = facts["focal"] / 1000, facts["focus"], facts["subject"]
    with np.errstate(all="ignore"):
        return 1000 * f**2 / (facts["number"] * (s - f)) * np.abs(u - s) / u


def columns(facts: dict[str, np.ndarray], out: dict[str, np.ndarray]) -> None:
    """Fill every column that comes from optics, block by block."""
    criterion = parse_criterion("handbook")
    for start in range(0, len(facts["focal"]), BLOCK):
        part = slice(start, start + BLOCK)
        focal, number, focus, subject, exposure, width, height = (facts[name][part] for name in FACTS)
        coc = criterion.coc_mm(np.sqrt(width * width + height * height))
        zone = sharp_zone(focal, number, focus, coc)
        blur = blur_parts(focal, number, focus, subject, speed_m_s=1.32, exposure_time_s=exposure)
        out["coc_mm"][part] = coc
        out["hyperfocal_m"][part] = zone.hyperfocal_m
        out["near_limit_m"][part] = near = zone.near_limit_m
        out["far_limit_m"][part] = far = zone.far_limit_m
        out["in_zone"][part] = (subject >= near) & (subject <= far)
        out["side"][part] = (subject > far).astype(np.int8) - (subject < near)
        out["defocus_mm"][part] = blur.defocus_mm
        out["motion_mm"][part] = blur.motion_mm
        out["diffraction_mm"][part] = blur.diffraction_mm
        out["blur_mm"][part] = combined_mm(blur.defocus_mm, blur.motion_mm, blur.diffraction_mm)


def processor_s(work: Callable[[], object]) -> float:
    """Processor time of one piece of work [s]."""
    start = time.process_time()
    work()
    return time.process_time() - start


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--frames", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=15)
    given = parser.parse_args()
    facts = invented(given.frames)
    numbers = ("coc", "hyperfocal", "near_limit", "far_limit", "defocus", "motion", "diffraction", "blur")
    units = ("mm", "m", "m", "m", "mm", "mm", "mm", "mm")
    out = {f"{name}_{unit}": np.empty(given.frames) for name, unit in zip(numbers, units, strict=True)}
    out |= {"in_zone": np.empty(given.frames, bool), "side": np.empty(given.frames, np.int8)}
    taken = [
        (processor_s(lambda: plain(facts)), processor_s(lambda: columns(facts, out)))
        for _ in range(given.rounds)
    ]
    alone, full = (statistics.median(times) for times in zip(*taken, strict=True))
    megabytes = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{given.frames} frames: formula alone {alone:.4f} s, all columns {full:.3f} s")
    print(f"ratio {full / alone:.1f} (at most {TIMES:.0f})")
    print(f"memory {megabytes:.0f} MB (at most {MEGABYTES:.0f})")
    known = np.isfinite(out["near_limit_m"]).mean()
    print(f"zone known for {100 * known:.0f} %, blur for {100 * np.isfinite(out['blur_mm']).mean():.0f} %")
    return int(full / alone > TIMES or megabytes > MEGABYTES)


if __name__ == "__main__":
    raise SystemExit(main())
