"""The verdict: how it went, which setting worked, where frames were lost and what to set next."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from auditor.journey import Audit
from auditor.show.words import advice, causes, comparisons, distances, presets

Results = Mapping[str, Any]  # the page's tables by name


def how_it_went(audit: Audit, results: Results, units: str) -> str:  # noqa: ARG001 -- sentences are called alike
    """Say how it went on the whole."""
    if not results["overall"]["bursts"]:
        return presets.nothing_counts(audit.counts)
    return presets.overall(results["overall"], audit.settings.confidence)


def what_worked(audit: Audit, results: Results, units: str) -> str:
    """Say which preset worked, by fair comparison where there is one."""
    fair = comparisons.verdict(audit.comparisons.pairs, audit.comparisons.worth_points)
    if not fair:
        return presets.which_worked(results["presets"], units)
    told = audit.comparisons.pairs["better"].notna().any()
    return fair if told else f"{fair} {presets.ahead(results['presets'], units)}".strip()


def lost_and_next(audit: Audit, results: Results, units: str) -> str:
    """Say where frames were lost, and what to set next."""
    lost = causes.short(audit.causes) if audit.tolerance.carries else ""
    lost = lost or distances.in_and_out(results["tally"])
    after = ""
    if results["advice"] is not None:
        after = advice.short(results["advice"], units)
    if lost and after:
        return f"{lost.removesuffix('.')}; {after[0].lower()}{after[1:]}"
    return lost or after


def why_no_advice(audit: Audit, results: Results, units: str) -> str:  # noqa: ARG001
    """Say why there is no advice, in the words that ``advise`` uses; empty where there is."""
    return audit.no_advice


SENTENCES = (how_it_went, what_worked, lost_and_next, why_no_advice)
