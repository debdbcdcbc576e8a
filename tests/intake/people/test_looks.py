"""The steps of a look at a picture: what the detector finds, and in which pixels of the whole it lies."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from auditor.intake.people.facemodel import can_find_faces, find
from auditor.intake.people.finding import (
    FIRST_SCORE,
    WINDOW_PX,
    _agreed,
    _boxes,
    _first_look,
    _reduced,
    _second_look,
    find_faces,
    overlap,
    starts,
    without_doubles,
)
from auditor.intake.people.measurements import Box, Face
from auditor.intake.people.measuring_process import _blur_px
from auditor.intake.people.wholepicture import WholePicture
from tests.intake.people.scenes import portrait

needs_detector = pytest.mark.skipif(not can_find_faces(), reason="the extra people is not installed")
SIDE = 192
AT = (128, 16)  # a piece of the portrait with the face in its middle
# By eye in the portrait: eyes on rows 102 and 105, nose tip near (222, 126), the mouth on row 144.
EYES_ROW, NOSE_TIP, MOUTH_ROW = 103, (222, 126), 144


def piece(left: int = AT[0], top: int = AT[1]) -> np.ndarray:
    return np.asarray(portrait().crop((left, top, left + SIDE, top + SIDE)))


@needs_detector
def test_the_box_and_the_points_lie_on_the_face():
    seen = find(piece(), FIRST_SCORE)
    assert len(seen.score) == 1
    left, top, width, height = seen.box[0]
    assert (left + width / 2 + AT[0], top + height / 2 + AT[1]) == pytest.approx((222, 119), abs=6)
    assert (width, height) == pytest.approx((89, 117), abs=8)
    x, y = (seen.points[0] + AT).T
    assert y == pytest.approx([EYES_ROW, EYES_ROW, NOSE_TIP[1], MOUTH_ROW, MOUTH_ROW], abs=5)
    assert x[2] == pytest.approx(NOSE_TIP[0], abs=5)
    assert x[0] < x[2] < x[1]
    assert x[3] < x[2] < x[4]


@needs_detector
def test_a_face_that_moves_by_a_few_pixels_is_found_as_many_further():
    """The network's maps are four times coarser than this, so that where between them matters."""
    shifts = np.arange(8)
    found = []
    for shift in shifts:
        box = find(piece(AT[0] - shift, AT[1] - shift), FIRST_SCORE).box[0]
        found.append(box[:2] + box[2:] / 2)
    off = np.array(found) - found[0] - shifts[:, None]
    assert np.abs(off - off.mean(axis=0)).mean() < 1.0


@needs_detector
@pytest.mark.parametrize("first", [0, 1])
def test_several_faces_come_the_surest_first(first):
    sides = [piece(), piece()[:, ::-1]]
    seen = find(np.concatenate([sides[first], sides[1 - first]], axis=1), FIRST_SCORE)
    assert len(seen.score) == 2
    assert seen.score[0] > seen.score[1]
    alone = find(sides[0], FIRST_SCORE)
    assert seen.box[0, 0] // SIDE == first
    assert seen.box[0, 2:] == pytest.approx(alone.box[0, 2:], rel=0.05)


@needs_detector
def test_no_face_surer_than_asked_for_is_no_face():
    score = find(piece(), FIRST_SCORE).score[0]
    assert len(find(piece(), score - 0.01).score) == 1
    assert len(find(piece(), score + 0.01).score) == 0


@needs_detector
def test_boxes_of_a_window_are_told_in_pixels_of_the_whole():
    window = Image.fromarray(piece())
    (own,), (moved,) = _boxes(window, (0, 0), 1.0), _boxes(window, (300, 464), 2.5)
    assert (moved.left, moved.top) == pytest.approx((2.5 * (own.left + 300), 2.5 * (own.top + 464)))
    assert (moved.width, moved.height) == pytest.approx((2.5 * own.width, 2.5 * own.height))
    assert moved.score == own.score


@needs_detector
def test_the_face_of_a_small_picture_is_found_once_wherever_it_lies():
    """In a picture of less than a window, with the face in each of two corners."""
    for left, top in ((130, 30), (60, 0)):
        picture = portrait().crop((left, top, left + 240, top + 230))
        (face,) = find_faces(picture)
        assert face.face_px == pytest.approx(78.2, rel=0.08)
        ends = face.nose_x + left, face.nose_y + top, face.chin_x + left, face.chin_y + top
        assert ends == pytest.approx((227, 100, 222, 178), abs=7)
        middle = face.left + face.width / 2 + left, face.top + face.height / 2 + top
        assert middle == pytest.approx((222, 119), abs=7)


@needs_detector
def test_a_face_larger_than_a_window_is_seen_in_the_whole_picture():
    """130 pixels of the portrait on 700, the face some 480 by 630 of them."""
    part = portrait().crop((157, 54, 287, 184)).resize((700, 700), Image.Resampling.BICUBIC)
    (box,) = without_doubles(_first_look(part))
    assert (box.left + box.width / 2, box.top + box.height / 2) == pytest.approx((350, 350), abs=40)
    assert (box.width, box.height) == pytest.approx((480, 630), rel=0.2)


@needs_detector
def test_a_picture_of_just_a_window_is_looked_at_once():
    picture = Image.new("RGB", (WINDOW_PX, 300))
    picture.paste(Image.fromarray(piece()), (200, 50))
    assert len(_first_look(picture)) == 1


@pytest.mark.parametrize(
    ("size", "scale", "reduced"),
    [((300, 200), 2.0, (150, 100)), ((301, 199), 2.0, (150, 100)), ((90, 3), 10.0, (9, 1)),
     ((6, 4), 1.0, (6, 4))],
)  # fmt: skip
def test_a_reduced_picture_is_smaller_by_the_scale_and_never_empty(size, scale, reduced):
    assert _reduced(Image.new("RGB", size), scale).size == reduced


@pytest.mark.parametrize("length", [1, 575, 576, 577, 900, 1056, 1057, 1504, 4000])
def test_windows_cover_a_length_and_overlap(length):
    """As few as can be: two reach 1056 pixels with an overlap of 96, three 1536."""
    at = starts(length)
    assert at[0] == 0
    assert at[-1] == max(length - WINDOW_PX, 0)
    assert len(at) == (1 if length <= 576 else 2 if length <= 1056 else 3 if length <= 1536 else len(at))
    assert np.all(np.diff(at) <= WINDOW_PX - 96)


def reading(score: float) -> np.ndarray:
    """A face of 100 px from nose root to chin as one look reads it."""
    points = [60.0, 50, 110, 50, 85, 75, 65, 103.4, 105, 103.4]
    return np.array([score, 25.0, 0.0, 118.6, 150.5, *points])


@pytest.mark.parametrize(
    ("scores", "is_face"),
    [((0.45, 0.45, 0.45), True), ((0.5, 0.4, 0.45), True), ((0.44, 0.45, 0.45), False),
     ((0.9, 0.9, None), False)],
)  # fmt: skip
def test_a_face_is_one_where_every_look_shows_it_and_their_mean_is_sure_enough(scores, is_face):
    found = _agreed([None if score is None else reading(score) for score in scores])
    assert (found is not None) == is_face
    if found is not None:
        assert found.score == pytest.approx(0.45)
        assert found.face_px == pytest.approx(100, rel=1e-3)
        assert (found.nose_x, found.nose_y) == pytest.approx((85, 46), abs=0.1)


def test_boxes_that_only_touch_do_not_overlap():
    one = Box(0, 0, 10, 20, 0.9)
    assert overlap(one, Box(10, 0, 10, 20, 0.5)) == overlap(one, Box(0, 20, 10, 20, 0.5)) == 0
    assert overlap(one, Box(15, 0, 10, 20, 0.5)) == overlap(one, Box(0, 25, 10, 20, 0.5)) == 0
    assert overlap(one, Box(9, 0, 10, 20, 0.5)) == pytest.approx(0.1)
    assert overlap(one, Box(-9, -18, 10, 20, 0.5)) == pytest.approx(2 / 200)


def test_three_tenths_in_another_box_are_the_same_face():
    first, same, other = Box(0, 0, 10, 10, 0.9), Box(7, 0, 10, 10, 0.8), Box(8, 0, 10, 10, 0.7)
    assert without_doubles([first, same]) == [first]
    assert without_doubles([other, first]) == [first, other]


def striped(size=(100, 80)) -> WholePicture:
    """A picture with edges in its left half."""
    tones = np.full(size[::-1], 120, np.uint8)
    tones[:, 10:50:20] = 220
    return WholePicture(Image.fromarray(tones).convert("RGB"), preview=False, resized=False)


@pytest.mark.parametrize(
    ("left", "top", "width", "height", "is_known"),
    [(0, 0, 60, 80, True), (-40, -30, 100, 90, True), (5, 40, 200, 300, True), (60, 0, 40, 80, False),
     (100, 0, 50, 80, False), (0, 80, 50, 30, False), (-60, 0, 50, 80, False), (0, 0, 0, 80, False)],
)  # fmt: skip
def test_the_blur_of_a_face_is_read_within_the_picture(left, top, width, height, is_known):
    face = Face(left, top, width, height, 0.9, 60.0, 0.0, 0, 0, 0, 60)
    assert np.isfinite(_blur_px(striped(), face)) == is_known


@needs_detector
@pytest.mark.parametrize(("sides_off", "is_found"), [(0.3, True), (0.6, False)])
def test_a_face_half_its_box_away_from_the_place_is_its_neighbours(sides_off, is_found):
    """The box of the portrait's face is some 89 by 117 pixels about (222, 119)."""
    place = Box(222 - 44 + sides_off * 117, 119 - 58, 89, 117, 0.9)
    (face,) = _second_look(portrait(), [place], 0.0)
    assert (face is not None) == is_found
