"""The fuzzers in short: each run of the suite draws the same files; the long runs are in tests/bench."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow
BENCH = Path(__file__).parents[1] / "bench"


def run(name: str, *words: str) -> str:
    done = subprocess.run(
        [sys.executable, str(BENCH / name), *words], capture_output=True, text=True, check=False, timeout=300
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_damaged_and_wrongly_built_picture_files_are_all_accounted_for():
    assert "400 mutants" in run("fuzz_reading.py", "--mutants", "400", "--seed", "7")


def test_hostile_files_of_people_cost_no_frame():
    assert "300 cases, 0 failed" in run("fuzz_statements.py", "--cases", "300", "--seed", "7")


def test_hostile_pictures_give_a_small_picture_or_none():
    assert "600 pictures, 0 failed" in run("fuzz_pictures.py", "--cases", "600", "--seed", "7")


def test_a_long_table_is_read():
    assert "50000 rows" in run("fuzz_statements.py", "--cases", "0", "--rows", "50000")
