"""Dark frames made from noise and light leaks, among scikit-image's packaged pictures, plain and darkened."""

import io
import warnings

import numpy as np
import pytest
from PIL import Image

from auditor.intake.markers import _left_by_surface, is_dark_frame, runs_of, structure

data = pytest.importorskip("skimage.data", reason="scikit-image is not installed")
# Those packaged with scikit-image itself; nothing is fetched.
PICTURES = [
    "astronaut", "binary_blobs", "brick", "camera", "cat", "cell", "checkerboard", "chelsea", "clock",
    "coffee", "coins", "colorwheel", "grass", "gravel", "horse", "hubble_deep_field", "immunohistochemistry",
    "logo", "microaneurysms", "moon", "page", "retina", "rocket", "shepp_logan_phantom", "text",
]  # fmt: skip
# Level and noise at ISO 100 to 25,600, of 255, and how bright light leaks in past the palm.
SENSORS = [(1, 0.5), (3, 3), (8, 10), (15, 25), (25, 25), (20, 40)]
LEAKS = [0, 15, 60, 120]
SIZES = [(1600, 1067), (1200, 800), (400, 267)]


def packaged(name):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        light = np.asarray(getattr(data, name)())
    if light.dtype != np.uint8:
        light = light.astype(float)
        light = (255 * (light - light.min()) / np.ptp(light)).astype("uint8")
    return Image.fromarray(light[..., :3] if light.ndim == 3 else light).convert("RGB")


def darkened(picture, stops):
    """Darker by whole stops of light: through the sRGB curve (IEC 61966-2-1) and back."""
    shown = np.asarray(picture) / 255
    light = np.where(shown <= 0.04045, shown / 12.92, ((shown + 0.055) / 1.055) ** 2.4) / 2**stops
    shown = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    return Image.fromarray(np.round(255 * shown).astype("uint8"))


def covered(rng, size, level, noise, leak):
    """A frame with a palm over the lens: noise, faint bands, and red light from an edge or a corner."""
    width, height = size
    y, x = np.mgrid[0 : 1 : height * 1j, 0 : 1 : width * 1j]
    side = rng.integers(5)
    if side < 4:
        fades = np.exp(-[x, 1 - x, y, 1 - y][side] / rng.uniform(0.05, 0.3))
    else:
        across, down = rng.uniform(-0.2, 1.2, 2)
        fades = np.exp(-((x - across) ** 2 + (y - down) ** 2) / 2 / rng.uniform(0.1, 0.4) ** 2)
    light = level + (leak * fades)[..., None] * np.array([1, 0.6, 0.4])
    light = light + rng.normal(0, noise, (height, width, 3)) + rng.normal(0, noise, (height, width, 1))
    light += rng.normal(0, 1, (height, 1, 1))
    return Image.fromarray(np.clip(light, 0, 255).astype("uint8"))


def thumbnail(picture, box=160):
    small = picture.copy()
    small.thumbnail((box, box), reducing_gap=2.0)
    written = io.BytesIO()
    small.save(written, "JPEG", quality=75)
    return Image.open(written)


@pytest.mark.slow
@pytest.mark.parametrize("stops", [0, 3, 5])
@pytest.mark.parametrize("name", PICTURES)
def test_no_photograph_is_taken_for_a_dark_frame(name, stops):
    assert not is_dark_frame(thumbnail(darkened(packaged(name), stops)))


@pytest.mark.slow
@pytest.mark.parametrize("leak", LEAKS)
@pytest.mark.parametrize(("level", "noise"), SENSORS)
def test_every_dark_frame_is_found(level, noise, leak):
    rng = np.random.default_rng([leak, round(10 * noise)])
    missed = [
        size
        for size in SIZES
        for _ in range(4)
        if not is_dark_frame(thumbnail(covered(rng, size, level, noise, leak)))
    ]
    assert missed == []


def test_noise_is_accounted_for_and_what_stands_out_of_it_is_not():
    """Noise of 6 steps has block means that vary by less than one; patches of 15 and 5 steps do not."""
    noise = np.random.default_rng(1).normal(0, 6, (240, 320))
    patches = np.kron(np.indices((15, 20)).sum(axis=0) % 2, np.ones((16, 16)))
    assert structure(20 + noise) < 1
    assert 5 < structure(15 + 10 * patches + noise) < structure(15 + 10 * patches + noise / 2)


@pytest.mark.parametrize("axis", [0, 1])
def test_a_leak_of_the_fifth_degree_leaves_nothing_either_way(axis):
    """What is fitted is a polynomial; one of its own degree is itself, one of the next is not."""
    along = np.linspace(-1, 1, 20)

    def left(degree: int) -> float:
        light = np.exp(3 + along**degree) - 4
        return _left_by_surface(np.broadcast_to(light[:, None] if axis == 0 else light, (20, 20)), 0.0)

    assert left(5) < 1e-9
    assert left(6) > 0.01


def test_a_picture_too_small_to_judge_is_none():
    assert not is_dark_frame(Image.new("RGB", (24, 16)))
    assert is_dark_frame(Image.new("RGB", (160, 107)))
    assert runs_of([]) == []


@pytest.mark.parametrize(
    ("dark", "runs"),
    [([0, 1, 1, 1, 0, 1], [(1, 3), (5, 1)]), ([1, 1], [(0, 2)]), ([1, 0, 1], [(0, 1), (2, 1)]), ([0], [])],
)
def test_dark_frames_in_a_row_are_one_run(dark, runs):
    assert runs_of(map(bool, dark)) == runs


@pytest.mark.parametrize(
    ("size", "level", "is_dark"),
    [((160, 32), 0, True), ((160, 31), 0, False), ((32, 40), 0, True), ((31, 40), 0, False),
     ((80, 60), 70, True), ((80, 60), 71, False)],
)  # fmt: skip
def test_an_even_frame_is_dark_up_to_a_level_and_down_to_a_size(size, level, is_dark):
    """Four blocks of eight pixels on each side, and 70 of 255 in the middle."""
    assert is_dark_frame(Image.new("L", size, level)) == is_dark


@pytest.mark.parametrize("stripes", [0.0, 1.0])
def test_the_structure_of_one_brighter_block_by_hand(stripes):
    """12 by 12 blocks of level 20, one of them 10 brighter, under stripes of so much for noise.

    Second differences of stripes +a, -a are 4 a: noise 4 a 1.4826/sqrt(6), and 0.5 + 1.1 noise/8 is accounted
    for. The four blocks beside the brighter one bend by 10/4; of 100 inner blocks the 97th percentile is
    theirs. What polynomials of the fifth degree leave comes from numpy's Chebyshev basis.
    """
    light = np.full((96, 96), 20.0)
    light[40:48, 48:56] += 10
    light += stripes * (-1.0) ** np.arange(96)
    accounted = 0.5 + 1.1 * 4 * stripes * 1.4826 / 6**0.5 / 8
    blocks = np.full((12, 12), 20.0)
    blocks[5, 6] = 30
    y, x = np.meshgrid(np.linspace(-1, 1, 12), np.linspace(-1, 1, 12), indexing="ij")
    basis = np.polynomial.chebyshev.chebvander2d(x.ravel(), y.ravel(), [5, 5])
    basis = basis[:, [i * 6 + j for i in range(6) for j in range(6) if i + j <= 5]]
    left = []
    for floor in (0.0, 20.0):
        log = np.log(blocks.ravel() - floor + 4)
        residual = log - basis @ np.linalg.lstsq(basis, log, rcond=None)[0]
        left.append(residual.std() * (20 - floor + 4))
    assert structure(light) == pytest.approx(2.5 / accounted * min(left) / accounted, rel=1e-6)


def test_dark_frames_beside_each_other_are_one_run():
    assert runs_of([True, True, True, False, False, True, False, True, True]) == [(0, 3), (5, 1), (7, 2)]
    assert runs_of([False, False]) == []


@pytest.mark.parametrize(("size", "is_judged"), [((32, 32), True), ((32, 31), False), ((31, 32), False)])
def test_a_picture_is_judged_from_four_blocks_a_side_on(size, is_judged):
    assert is_dark_frame(Image.new("RGB", size)) is is_judged


@pytest.mark.parametrize(("level", "dark"), [(69, True), (70, True), (71, False)])
def test_what_is_brighter_than_a_leak_is_a_picture(level, dark):
    assert is_dark_frame(Image.new("RGB", (160, 107), (level, level, level))) is dark
