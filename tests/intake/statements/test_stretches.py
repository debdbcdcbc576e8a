"""Which frames each stretch covers, from the names of frames and cameras alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from auditor.intake.frame_index import FrameIndex
from auditor.intake.statements.session import Preset, SessionFile, Stretch
from auditor.intake.statements.stretches import claim_stretches

PRESETS = (Preset("arcade"), Preset("gate"), Preset("door"))


def claimed(stretches, cameras="AAAAAAAA", minutes=None, numbers=None, distances_from="sensor"):
    n = len(cameras)
    names = [f"P101{i:04d}.jpg" for i in numbers or range(1, n + 1)]
    times = 60.0 * np.array(range(n) if minutes is None else minutes)
    body = np.array([f"body {one}" for one in cameras], dtype=object)
    index = FrameIndex(names, [f"/photos/{name}" for name in names], body, times)
    path = Path("/photos/session.toml")
    session = SessionFile(path, distances_from, presets=PRESETS, stretches=tuple(stretches))
    return claim_stretches(session, np.arange(n), index)


def covered(stretches, cameras="AAAAAAAA", minutes=None, numbers=None):
    """One letter a frame: the first of the preset that covers it; and what is said."""
    claims = claimed(stretches, cameras, minutes, numbers)
    letters = ["-"] * len(cameras)
    for claim in claims.stated:
        if claim.quantity == "preset":
            for row, preset in zip(claim.rows, claim.typed, strict=True):
                letters[row] = preset.name[0]
    return "".join(letters), " ".join(problem.what for problem in claims.problems)


def from_frame(preset, number, camera=None, ends=None, **more):
    starts = None if number is None else f"P101{number:04d}"
    return Stretch(preset, starts, ends and f"P101{ends:04d}", camera and f"body {camera}", **more)


@pytest.mark.parametrize(
    ("stretches", "cameras", "letters"),
    [
        ([from_frame("arcade", 1), from_frame("gate", 4)], "AAAAAAAA", "aaaggggg"),
        ([from_frame("arcade", None)], "AAAA", "aaaa"),
        ([from_frame("arcade", 2, ends=4)], "AAAAAA", "-aa---"),
        # of one camera: the other's frames stay free, and its own stretches end nothing
        ([from_frame("arcade", 1, "A")], "ABABABAB", "a-a-a-a-"),
        ([from_frame("arcade", 1, "A"), from_frame("gate", 4, "B")], "ABABABAB", "a-agagag"),
        ([from_frame("arcade", 1, "A"), from_frame("gate", 5, "A")], "ABABABAB", "a-a-g-g-"),
        # of every camera: whatever begins ends it, and it ends whatever came before
        ([from_frame("arcade", 1), from_frame("gate", 4, "B")], "ABABABAB", "aaag-g-g"),
        ([from_frame("arcade", 1, "A"), from_frame("gate", 5)], "ABABABAB", "a-a-gggg"),
    ],
)
def test_a_stretch_goes_on_until_the_next_that_can_be_of_its_camera(stretches, cameras, letters):
    assert covered(stretches, cameras) == (letters, "")


def test_a_stretch_ends_with_its_session():
    assert covered([from_frame("arcade", 2)], "AAAA", [0, 1, 2, 300]) == ("-aa-", "")
    assert covered([from_frame("arcade", 2, ends=4)], "AAAAA", [0, 1, 2, 300, 301])[0] == "-aa--"


def test_where_two_stretches_lie_over_each_other_neither_is_applied():
    letters, said = covered([from_frame("arcade", 1, ends=5), from_frame("gate", 4, ends=7)], "AAAAAAAA")
    assert letters == "aaa-gg--"
    assert "The stretches 1 ('arcade') and 2 ('gate') overlap: P1010004.jpg." in said


def test_a_stretch_that_holds_no_frame_is_told():
    assert "No frame lies from P1010003 to P1010003" in covered([from_frame("arcade", 3, ends=3)])[1]
    assert "ends (P1010002) before it begins (P1010003)" in covered([from_frame("arcade", 3, ends=2)])[1]


def test_where_nobody_knows_the_beginning_the_one_before_of_that_camera_has_no_end():
    lost = from_frame("gate", None, "A", slip="a key in it cannot be used", is_placed=False)
    arcade, door = from_frame("arcade", 1, "A"), from_frame("door", 2, "B")
    letters, said = covered([arcade, door, lost], "ABABABAB")
    assert letters == "-d-d-d-d", "the other camera's goes on"
    assert "nobody knows where the next one begins" in said
    assert covered([from_frame("arcade", 1, "A", ends=5), lost], "ABABABAB")[0] == "a-a-----"
    assert covered([from_frame("arcade", 1), lost], "ABABABAB")[0] == "--------"


def test_without_a_stretch_nothing_is_stated():
    assert covered([]) == ("--------", "")


def test_a_frame_that_is_gone_still_ends_the_stretch_before_it():
    gone = [from_frame("arcade", 1), from_frame("gate", 4)]
    letters, said = covered(gone, "AAAAA", numbers=[1, 2, 3, 5, 6])
    assert letters == "aaa--"
    assert "Frames of a stretch have no setting, because there is no frame 'P1010004'" in said
    assert covered(gone, "AAA", numbers=[1, 2, 3])[0] == "---", "beyond the last one it may be anywhere"


def test_who_was_pressed_at_and_where_distances_begin_comes_with_the_stretch():
    stretches = [from_frame("arcade", 1, ends=3), from_frame("gate", 3, pressed="anyone")]
    claims = claimed(stretches, "AAAA").stated
    assert [(claim.typed[0], claim.rows.tolist()) for claim in claims if claim.quantity == "pressed"] == [
        ("anyone", [2, 3])
    ]
    assert not any(claim.from_lens for claim in claims)
    assert all(claim.from_lens for claim in claimed(stretches, distances_from="lens").stated)


def test_a_camera_that_took_none_of_the_frames_is_told():
    letters, said = covered([from_frame("arcade", 1, "C"), from_frame("gate", 3, "B")], "ABAB")
    assert letters == "---g"
    assert said == "The stretch names a camera 'body C' that took none of these frames."
