"""Guide numbers, by definition and against print."""

from __future__ import annotations

import numpy as np
import pytest

from auditor.optics.flash import flash_range_m, flash_reach_m, guide_number_at


def test_the_worked_example_of_a_dictionary():
    """A photography dictionary on "guide number" (idigitalphoto.com, seen): 45 m, ISO 100, 5 m gives f/9."""
    assert float(flash_reach_m(45, 100, 9)) == pytest.approx(5, rel=1e-12)


@pytest.mark.parametrize(("iso", "factor"), [(80, 0.894), (100, 1.0), (200, 1.414), (400, 2.0), (1600, 4.0)])
def test_it_grows_with_the_root_of_the_sensitivity(iso, factor):
    """Multipliers as flash manuals print them, from memory."""
    assert float(guide_number_at(32, iso)) / 32 == pytest.approx(factor, abs=0.001)


def test_half_a_stop_either_way_by_hand():
    """At 4 m: 4 / 2^(1/4) = 3.364 m and 4 x 2^(1/4) = 4.757 m; the exposure goes with 1/d^2."""
    near, far = (float(end) for end in flash_range_m(4.0))
    assert (near, far) == pytest.approx((3.364, 4.757), abs=0.001)
    assert 2 * np.log2(far / 4.0) == pytest.approx(0.5, rel=1e-12)
    assert 2 * np.log2(4.0 / near) == pytest.approx(0.5, rel=1e-12)


@pytest.mark.parametrize("unknown", [0, -1, np.nan, np.inf])
def test_unknown_numbers(unknown):
    assert np.isnan(guide_number_at(unknown, 100))
    assert np.isnan(guide_number_at(32, unknown))
