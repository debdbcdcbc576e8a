"""How fast are pictures measured, and in how much memory? JPEGs of 24 megapixels with a face each.

    python tests/bench/bench_measure.py
    python tests/bench/bench_measure.py --frames 6

Prints the time of a plain full decode by Pillow and of measuring, both in processor seconds of the
same process, so that other work on the machine counts in neither; then how much faster two processes are
than one by the clock, and the memory of the command with its processes together (proportional set size).
Exit code 1 where measuring takes more than 9 decodes, two processes are less than 1.7 times as fast as one,
or the memory is over 700 MB.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path

import numpy as np
import psutil
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[2]))

from auditor.intake.people.facemodel import can_find_faces
from auditor.intake.people.measuring import measure_pictures
from tests.intake.people.scenes import with_face

MOST_DECODES, LEAST_GAIN, MOST_MB = 9.0, 1.7, 700.0
ONE_PROCESS = """
import os, sys, time
os.environ["OMP_NUM_THREADS"] = "1"
from PIL import Image
from auditor.intake.people.measuring_process import measure_packed
def timed(work):
    began = time.process_time(); work(); return time.process_time() - began
paths = sys.argv[1:]
measure_packed([paths[0]]); Image.open(paths[0]).load()
for path in paths:
    print(timed(lambda: Image.open(path).load()), timed(lambda: measure_packed([path])))
"""


def write_frames(folder, count):
    """Pictures with grain, so that they are as large as a camera's."""
    rng = np.random.default_rng(5)
    paths = []
    for i in range(count):
        frame = np.asarray(with_face(90 + 40 * (i % 4), at=(1500 + 200 * i, 900)), dtype=np.float32)
        grain = rng.normal(0, 5, (*frame.shape[:2], 1)).astype(np.float32)
        path = folder / f"P{i:03d}.jpg"
        Image.fromarray(np.clip(frame + grain, 0, 255).astype(np.uint8)).save(path, quality=90)
        paths.append(str(path))
    return paths


def decodes_and_measures(paths):
    out = subprocess.run(
        [sys.executable, "-c", ONE_PROCESS, *paths], capture_output=True, text=True, check=True,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
    ).stdout  # fmt: skip
    pairs = [tuple(map(float, line.split())) for line in out.splitlines()]
    return statistics.median(p[0] for p in pairs), statistics.median(p[1] for p in pairs)


def seconds(paths, workers):
    """Time by the clock."""
    began = time.perf_counter()
    pictures, _ = measure_pictures([[path] for path in paths], None, workers)
    took = time.perf_counter() - began
    assert all(picture.error is None and len(picture.faces) == 1 for picture in pictures)
    return took


def pss_mb(process):
    """Memory of a process and its children [MB]."""
    total = 0
    for one in (process, *process.children(recursive=True)):
        with suppress(psutil.Error, AttributeError):
            total += one.memory_full_info().pss
    return total / 1e6


def most_memory_mb(folder):
    """The most that the command holds at any time, on two cores [MB]."""
    command = [sys.executable, "-m", "auditor", "measure", str(folder), "--cache", "off", "--workers", "2"]
    place = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}
    most = 0.0
    with psutil.Popen(command, env=place, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as running:
        while running.poll() is None:
            with suppress(psutil.Error):
                most = max(most, pss_mb(running))
            time.sleep(0.02)
    assert running.returncode == 0
    return most


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--frames", type=int, default=12)
    wanted = parser.parse_args()
    if not can_find_faces():
        print("the extra people is not installed")
        return 1
    with tempfile.TemporaryDirectory() as name:
        paths = write_frames(Path(name), wanted.frames)
        size = statistics.mean(os.path.getsize(path) for path in paths) / 1e6
        decode, measure = decodes_and_measures(paths)
        print(f"24 megapixels, {size:.1f} MB: decode {decode * 1e3:.0f} ms, measure {measure * 1e3:.0f} ms, "
              f"{measure / decode:.2f} decodes")  # fmt: skip
        warm = 3 * paths  # long enough for the start of the processes not to count
        one, two = (min(seconds(warm, workers) for _ in range(2)) for workers in (1, 2))
        gain = one / two
        print(f"one process {one / len(warm):.2f} s a frame, two {two / len(warm):.2f} s: {gain:.2f} times")
        memory = most_memory_mb(name)
        print(f"memory of auditor measure with two processes: {memory:.0f} MB")
    missed = []
    if measure > MOST_DECODES * decode:
        missed.append("more than 9 decodes")
    if gain < LEAST_GAIN:
        missed.append("two processes gain less than 1.7")
    if memory > MOST_MB:
        missed.append("more than 700 MB")
    print("missed: " + "; ".join(missed) if missed else "every target met")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
