"""Invented archives whose truth is known: for the demo, for tests, and to try an audit before trusting it."""

from auditor.simulate.archive import simulate_archive
from auditor.simulate.table import simulate_table, write_simulated_table
from auditor.simulate.truth import Truth

__all__ = ["Truth", "simulate_archive", "simulate_table", "write_simulated_table"]
