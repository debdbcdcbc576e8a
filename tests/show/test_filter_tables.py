"""The tables that the page filters: parts add up to the whole, in the counts of the frame table itself."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint

from auditor.frames import KEEPER, LEFT_OUT
from auditor.journey import Audit
from auditor.show import chart_tables
from auditor.show.filter_tables import distance_bands, presets_by_session, sessions_to_pick


@pytest.mark.parametrize("units", ["m", "ft"])
def test_bands_of_sessions_and_presets_add_up(walked: Audit, units: str) -> None:
    order = list(walked.presets["preset"])
    table = distance_bands(walked.table, order, 0.95, units)
    counted = walked.table[walked.table["counted_as"] != LEFT_OUT]
    for wanted in ("", *walked.sessions["session"]):
        rows = [row for row in table["rows"] if row[0] == wanted and row[1] is not None]
        cells = [cell for _, _, cells in rows for cell in cells if cell is not None]
        own = counted if wanted == "" else counted[counted["session"] == wanted]
        assert sum(cell.frames for cell in cells) == len(own)
        assert sum(cell.keepers for cell in cells) == (own["counted_as"] == KEEPER).sum()
        assert [row[1] for row in rows] == [name for name in order if name in set(own["preset"])]
    assert table["rows"][0][:2] == ("", None), "all together on top"


def test_rates_of_presets_within_sessions(walked: Audit) -> None:
    split = presets_by_session(walked.table, walked.presets, 0.95)
    counted = walked.table[walked.table["counted_as"] != LEFT_OUT]
    for row in split.itertuples():
        own = counted[(counted["session"] == row.session) & (counted["preset"] == row.preset)]
        assert row.frames == len(own)
        assert row.keepers == (own["counted_as"] == KEEPER).sum()
        assert row.focus_distance_m == pytest.approx(own["focus_distance_m"].median(), rel=1e-12)
    assert split["frames"].sum() == len(counted)
    assert sessions_to_pick(walked.table) == list(walked.sessions["session"])


def test_intervals_inside_and_outside_the_zone_are_those_of_lone_frames(walked: Audit) -> None:
    """Where every burst is one frame the interval is near Wilson's, as statsmodels computes it."""
    assert not walked.table["burst"].duplicated().any()
    rates = chart_tables.zone_rates(walked.table, 0.95)
    for side in ("in", "out"):
        kept, frames = rates[f"{side}_kept"], rates[f"{side}_frames"]
        wanted = proportion_confint(kept, frames, 0.05, method="wilson")
        np.testing.assert_allclose([rates[f"{side}_low"], rates[f"{side}_high"]], wanted, atol=0.02)
    level = chart_tables.zone_rates(walked.table, 0.8)
    assert level["in_low"] > rates["in_low"]
