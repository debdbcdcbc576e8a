"""Strangers' files: what a reason says of the next time."""

from __future__ import annotations

import pytest

from auditor.intake.photofile.opening import UNFORESEEN, OpenError, may_pass, opened


@pytest.mark.parametrize(
    "reason",
    ["no permission to read it", "the system cannot read it: Stale file handle", f"{UNFORESEEN} (KeyError)"],
)
def test_trouble_with_the_system_may_pass(reason):
    assert may_pass(reason)


@pytest.mark.parametrize("reason", [None, "not a picture this reader knows", "not the disk cannot read it"])
def test_trouble_with_the_file_stays(reason):
    assert not may_pass(reason)


def test_what_opening_says_is_among_the_reasons_that_may_pass(tmp_path):
    for path in (tmp_path / "gone.jpg", tmp_path / ("x" * 300 + ".jpg")):
        with pytest.raises(OpenError) as told, opened(path):
            pass
        assert may_pass(str(told.value))
