"""Which pictures are copies, by the pixel sizes that their camera's pictures have."""

from __future__ import annotations

import numpy as np
import pytest

from auditor.intake.library.camera_pixels import find_copies


def copies(*kinds, few=True):
    """Whether the pictures of each kind (camera, width, height, how many) are copies."""
    cameras = np.array([kind[0] for kind in kinds for _ in range(kind[3])], dtype=object)
    width, height = (np.array([kind[i] for kind in kinds for _ in range(kind[3])], float) for i in (1, 2))
    found = find_copies(cameras, width, height, few=few)
    ends = np.cumsum([kind[3] for kind in kinds])
    return [bool(part.all()) if part.all() == part.any() else None for part in np.split(found, ends[:-1])]


@pytest.mark.parametrize(("n", "few_are"), [(1, True), (2, False)])
def test_a_smaller_size_is_a_copys_where_few_pictures_have_it(n, few_are):
    """Few is less than a fifth; however many there are, the largest of a frame's files is still its own."""
    kinds = ("A", 6000, 4000, 10 - n), ("A", 3000, 2000, n)
    assert copies(*kinds) == [False, few_are]
    assert copies(*kinds, few=False) == [False, True]


@pytest.mark.parametrize(("n", "own"), [(1, "small"), (2, "large")])
def test_the_largest_size_that_a_fifth_have_is_the_cameras_own(n, own):
    kinds = ("A", 3000, 2000, 10 - n), ("A", 6000, 4000, n)
    assert copies(*kinds, few=False) == [own == "large", False]
    assert copies(*kinds) == [False, False]


def test_four_percent_fewer_pixels_are_still_the_own_size():
    """4900 by 4800 pixels are just 0.96 of 5000 by 4900, of nearly the same shape."""
    assert copies(("A", 5000, 4900, 9), ("A", 4900, 4800, 1)) == [False, False]
    assert copies(("A", 5000, 4900, 9), ("A", 4900, 4790, 1)) == [False, True]
    assert copies(("A", 5000, 4900, 9), ("A", 5100, 5000, 1)) == [False, False]


def test_another_shape_is_a_copys_however_large_it_is():
    """A shape may differ by 3 %: 6120 by 4000 is 2 % wider than 3:2, 6240 by 4000 4 %."""
    assert copies(("A", 6000, 4000, 9), ("A", 6120, 4000, 1)) == [False, False]
    assert copies(("A", 6000, 4000, 9), ("A", 6240, 4000, 1)) == [False, True]
    assert copies(("A", 6000, 4000, 9), ("A", 6000, 4500, 1)) == [False, True]
    assert copies(("A", 6000, 4000, 9), ("A", 4000, 6000, 1)) == [False, False]  # it only stands upright


def test_each_camera_has_its_own_size():
    kinds = ("A", 6000, 4000, 9), ("B", 3000, 2000, 9), ("A", 3000, 2000, 1), ("B", 6000, 4000, 1)
    assert copies(*kinds) == [False, False, True, False]


def test_what_is_unknown_is_no_copy_and_counts_for_no_share():
    """Of three quarters and a quarter neither is few, whatever else is unknown."""
    known = ("A", 6000, 4000, 3), ("A", 3000, 2000, 1)
    assert copies(*known, ("A", 0, 0, 2)) == [False, False, False]
    assert copies(*known, ("A", np.nan, np.nan, 9)) == [False, False, False]
    assert copies(("A", 6000, 4000, 2), (None, 6000, 4000, 9), (None, 3000, 2000, 1)) == [False] * 3
    assert copies(("A", 0, 0, 3), few=False) == [False]


def test_where_no_size_is_common_none_is_a_copy():
    assert copies(*(("A", 600 + 100 * i, 400, 1) for i in range(6))) == [False] * 6
