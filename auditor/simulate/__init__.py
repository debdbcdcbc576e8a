"""Invented archives whose truth is known: for the demo, for tests, and to try an audit before trusting it."""

from __future__ import annotations

from auditor.simulate.archive import simulate_archive
from auditor.simulate.table import simulate_table, write_simulated_table
from auditor.simulate.truth import Lens, Outing, PresetTruth, Truth, keep_chance

__all__ = [
    "Lens",
    "Outing",
    "PresetTruth",
    "Truth",
    "keep_chance",
    "simulate_archive",
    "simulate_table",
    "write_simulated_table",
]
