"""The detector, against a face of known size and pictures without any."""

from __future__ import annotations

import hashlib
import re
from importlib import resources

import numpy as np
import pytest
from PIL import Image

from auditor.errors import SettingError
from auditor.intake.people import facemodel
from auditor.intake.people.facedistance import place_faces
from auditor.intake.people.facemodel import can_find_faces, choose_detector
from auditor.intake.people.filling import faces_of
from auditor.intake.people.finding import find_faces, measured_face, without_doubles
from auditor.intake.people.measurements import Box
from auditor.intake.people.measuring_process import measure_picture
from auditor.intake.people.wholepicture import WholePicture
from tests.intake.people.scenes import OWN_FACE_PX, background, data, disc, photographed, portrait, with_face

WITHOUT_PEOPLE = (
    "coffee", "chelsea", "rocket", "moon", "coins", "page", "text", "hubble_deep_field", "retina", "horse",
    "grass", "brick", "gravel", "immunohistochemistry", "cell", "clock", "colorwheel", "logo",
)  # fmt: skip
needs_detector = pytest.mark.skipif(not can_find_faces(), reason="the extra people is not installed")


def packaged(name: str) -> Image.Image:
    array = getattr(data, name)()
    return Image.fromarray(array.astype(np.uint8) * 255 if array.dtype == bool else array).convert("RGB")


@pytest.mark.slow
@needs_detector
@pytest.mark.parametrize("face_px", [64, 100, 180, 300, 500])
def test_the_known_size_is_read_within_8_percent(face_px):
    (face,) = find_faces(with_face(face_px))
    assert face.face_px == pytest.approx(face_px, rel=0.08)


@pytest.mark.slow
@needs_detector
def test_the_ends_lie_on_nose_root_and_chin():
    """By eye in the portrait: nose root near (227, 100), chin near (222, 178)."""
    (face,) = find_faces(portrait())
    assert face.face_px == pytest.approx(OWN_FACE_PX, rel=0.05)
    assert (face.nose_x, face.nose_y) == pytest.approx((227, 100), abs=5)
    assert (face.chin_x, face.chin_y) == pytest.approx((222, 178), abs=6)
    assert np.hypot(face.chin_x - face.nose_x, face.chin_y - face.nose_y) == pytest.approx(face.face_px)


@pytest.mark.slow
@needs_detector
@pytest.mark.parametrize(("width", "names"), [(None, WITHOUT_PEOPLE), (3000, WITHOUT_PEOPLE[:3])])
def test_no_face_is_accepted_where_there_are_no_people(width, names):
    """At three sizes: ``tests/bench/bench_faces.py``."""
    for name in names:
        picture = packaged(name)
        if width:
            picture = picture.resize((width, round(width * picture.height / picture.width)))
        assert not find_faces(picture), name


@needs_detector
def test_a_network_is_used_at_one_shape_only():
    """Run at another size it returns false boxes by the thousand; here three shapes take turns."""
    shapes = [np.asarray(background("coffee", size)) for size in ((640, 416), (320, 224), (160, 160))]
    first = [len(facemodel.find(pixels, 0.3).score) for pixels in shapes]
    assert first == [len(facemodel.find(pixels, 0.3).score) for pixels in shapes] == [0, 0, 0]


@pytest.mark.slow
@needs_detector
def test_a_blurred_noisy_face_is_found_and_its_blur_read():
    """A disc of 30 px on a face of 120 px: 0.25 of its length."""
    frame = with_face(120, at=(500, 300), size=(2400, 1600))
    taken = photographed(frame, disc(30), noise=10, quality=82)
    seen = measure_picture(WholePicture(taken, preview=False, resized=False))
    assert len(seen.faces) == 1
    assert seen.faces[0].face_px == pytest.approx(120, rel=0.1)
    assert seen.blurs_px[0] == pytest.approx(30, rel=0.25)


@pytest.mark.slow
@needs_detector
def test_noise_and_black_and_white_hide_no_face():
    rng = np.random.default_rng(3)
    frame = np.asarray(with_face(100, at=(500, 300), size=(2400, 1600)).convert("L"), dtype=float)
    noisy = np.clip(frame + rng.normal(0, 25, frame.shape), 0, 255).astype(np.uint8)
    (face,) = find_faces(Image.fromarray(noisy).convert("RGB"))
    assert face.face_px == pytest.approx(100, rel=0.1)


@pytest.mark.slow
@needs_detector
def test_a_known_distance_comes_back():
    """A woman's face of 113.1 mm (ANSUR II) at 3 m before a 35 mm lens, 6 um pixels.

    It is 35 x 113.1/(2964.6 - 35) mm on the sensor, 225.2 px. The distance is read as of either sex, 4 %
    farther; 10 % is one standard deviation.
    """
    frame = WholePicture(with_face(225.2), preview=False, resized=False)
    row = place_faces(faces_of([measure_picture(frame)]), np.array([35.0]), np.array([24.0])).iloc[0]
    assert row.distance_m == pytest.approx(3.0 * 117.85 / 113.1, rel=0.1)
    assert 0.08 < row.distance_rel_sd < 0.12


@needs_detector
@pytest.mark.parametrize("size", [(1, 1), (40, 3), (333, 2000)])
def test_odd_pictures_hold_no_face(size):
    assert find_faces(Image.new("RGB", size, (90, 80, 70))) == []


def test_length_and_ends_by_hand():
    """A box of 1.19 F by 1.51 F and a mouth 0.53 F below the eyes, on a face tilted by 90 degrees."""
    length = 100.0
    points = np.array([[0, 25], [0, -25], [20, 0], [53.4, 20], [53.4, -20]], dtype=float)
    face = measured_face(0.9, np.array([-10.0, -60.0, 1.186 * length, 1.505 * length]), points)
    assert face.face_px == pytest.approx(length)
    assert face.spread == pytest.approx(0, abs=1e-9)
    assert (face.nose_x, face.nose_y, face.chin_x, face.chin_y) == pytest.approx((-4, 0, 96, 0), abs=1e-6)
    hat = measured_face(0.9, np.array([-10.0, -60.0, 1.186 * length, 1.22 * length]), points)
    assert hat.face_px == pytest.approx(94.89, abs=0.01)  # 100 (1.22/1.505)^(1/4)
    assert hat.spread == pytest.approx(np.log(1.505 / 1.22))


def test_overlapping_boxes_are_one_face():
    first = Box(0, 0, 100, 100, 0.9)
    again, other = Box(20, 20, 90, 90, 0.8), Box(300, 0, 80, 80, 0.5)
    assert without_doubles([again, first, other]) == [first, other]


def test_the_overlap_is_that_part_of_the_smaller_box():
    from auditor.intake.people.finding import overlap

    tall, flat, apart = Box(0, 0, 10, 20, 0.9), Box(5, 2, 10, 4, 0.9), Box(10, 0, 5, 5, 0.9)
    assert overlap(tall, flat) == overlap(flat, tall) == 5 * 4 / 40
    assert overlap(tall, apart) == overlap(apart, tall) == 0
    assert overlap(tall, Box(2, 15, 20, 40, 0.9)) == 8 * 5 / 200


def test_the_model_file_is_the_published_one_and_its_licence_lies_beside_it():
    folder = resources.files("auditor.intake.people").joinpath("model")
    told = folder.joinpath("LICENSE.txt").read_text("utf-8")
    assert (
        hashlib.sha256(folder.joinpath("centerface.onnx").read_bytes()).hexdigest() == facemodel.MODEL_SHA256
    )
    assert facemodel.MODEL_SHA256 in told
    assert "MIT" in told
    assert re.search(r"THE SOFTWARE IS PROVIDED", told)


def test_a_damaged_model_is_refused(monkeypatch):
    monkeypatch.setattr(facemodel, "MODEL_SHA256", "0" * 64)
    with pytest.raises(SettingError, match="damaged"):
        facemodel.load_model()


def test_without_a_detector_one_sentence_says_how_to_get_one(monkeypatch):
    monkeypatch.setattr(facemodel.util, "find_spec", lambda name: None)
    with pytest.raises(SettingError) as caught:
        choose_detector()
    assert "focus-zone-auditor[people]" in caught.value.next_step


def test_the_room_imports_in_one_direction():
    """No module of the room reaches itself through others."""
    room = resources.files("auditor.intake.people")
    names = [path.name[:-3] for path in room.iterdir() if path.name.endswith(".py")]
    imports = {
        name: set(
            re.findall(r"from auditor\.intake\.people\.(\w+) import", room.joinpath(f"{name}.py").read_text())
        )
        for name in names
    }
    left = dict(imports)
    while free := [name for name, needs in left.items() if not needs & set(left)]:
        for name in free:
            del left[name]
    assert not left
