"""Whether a lens is a declared one, and whether a file contradicts a preset, from names and focal lengths."""

from __future__ import annotations

import numpy as np
import pytest

from auditor.intake.statements.lens_rule import contradicts, find_lens, off_by
from auditor.intake.statements.session import Lens, SessionFile, declared_lenses

NAN, INF = np.nan, np.inf
LENSES = (Lens("my 28", 28.0), Lens("my 50", 50.0), Lens(None, 35.0))


def test_the_difference_is_relative_to_what_is_wanted():
    np.testing.assert_allclose(off_by(np.array([30.0, 20, 25]), 25.0), [0.2, 0.2, 0], rtol=1e-12)
    assert off_by(np.array([INF, NAN]), INF)[0] == 0
    assert np.isnan(off_by(np.array([NAN, 2.0]), np.array([2.0, NAN]))).all()


@pytest.mark.parametrize(
    ("name", "focal_length_mm", "found"),
    [
        ("MY 28", NAN, 0),
        ("my 28", 50.0, 0),  # the name decides
        ("another", 50.0, 1),
        (None, 50.9, 1),
        (None, 51.1, None),
        (None, 49.1, 1),
        (None, 48.9, None),
        (None, 35.0, 2),
        ("another", NAN, None),
    ],
)
def test_a_declared_name_decides_and_else_the_focal_length_within_two_percent(name, focal_length_mm, found):
    assert find_lens(LENSES, name, focal_length_mm) == (None if found is None else LENSES[found])


def test_a_file_contradicts_a_preset_by_another_name_or_by_more_than_a_tenth():
    names = np.array(["MY 28", "my 50", None, None, None, "my 28"], dtype=object)
    focal = np.array([28.0, 28.0, 30.7, 30.9, NAN, 50.0])
    other = contradicts("My 28", 28.0, names, focal)
    assert other.tolist() == [False, True, False, True, False, True]
    assert contradicts(None, 28.0, names, focal).tolist() == [False, False, False, True, False, True]


def test_of_lenses_of_one_name_the_first_that_says_most_is_used():
    bare, ring = Lens("My 28", 28.0), Lens("my 28", 28.0, ring_m=(1.0, 2.0))
    stops, both = Lens("MY 28", 28.0, f_stops=(8.0,)), Lens("my 28", 28.0, f_stops=(8.0,), ring_m=(1.0,))

    def of(*lenses):
        return declared_lenses([SessionFile(lenses=(lens,)) for lens in lenses])

    assert of(bare, ring) == of(ring, bare) == (ring,)
    assert of(stops, ring) == (stops,)
    assert of(ring, stops) == (ring,)
    assert of(ring, both, stops) == (both,)
    assert of(stops, both) == of(both, ring) == (both,)
    other = Lens("my 28", 35.0)
    assert of(bare, other) == (bare, other), "of another focal length it is another lens"
