"""The face detector's network, run by OpenCV, if that is installed: pixels in, boxes and five points out.

The network answers with maps at a quarter of the picture's size: how sure it is that a face has its middle
there, the logarithm of the box's sides, where exactly the middle lies, and five points within the box.
"""

import hashlib
from dataclasses import dataclass
from functools import lru_cache
from importlib import metadata, resources, util
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from auditor.errors import SettingError

DETECTOR: Final = "CenterFace"
_PACKAGES: Final = tuple(
    f"opencv-{kind}" for kind in ("python-headless", "python", "contrib-python-headless", "contrib-python")
)
MODEL_SHA256: Final = "09189deaaf8646c5c51a68447e3c744ea1e211798155d4728c20507b9f5aefbc"
MOST_SHAPES = 2  # networks kept at a time
_STRIDE = 4
_HEAT, _SIZE, _OFFSET, _POINTS = "537", "538", "539", "540"  # names of its outputs

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Seen:
    """Faces in one array of pixels, the surest first."""

    score: Floats
    box: Floats  # left, top, width, height
    points: Floats  # eyes, nose tip and corners of the mouth, x and y


def find(pixels: npt.NDArray[np.uint8], least_score: float) -> Seen:
    """Find faces; boxes may overlap."""
    rows, columns = pixels.shape[:2]
    network = _network(rows, columns)
    network.setInput(np.ascontiguousarray(pixels.transpose(2, 0, 1)[None], dtype=np.float32))
    heat, size, offset, points = network.forward([_HEAT, _SIZE, _OFFSET, _POINTS])
    at = _peaks(heat[0, 0], least_score)
    score = heat[0, 0][at]
    order = np.argsort(-score)
    at = at[0][order], at[1][order]
    sides = np.exp(size[0][:, *at].astype("float64")) * _STRIDE
    middle = (np.array(at) + offset[0][:, *at] + 0.5) * _STRIDE
    corner = middle - sides / 2
    within = points[0][:, *at].reshape(5, 2, -1)  # down, then along, in sides of the box
    return Seen(
        score=score[order].astype("float64"),
        box=np.stack([corner[1], corner[0], sides[1], sides[0]], axis=1),
        points=np.stack([within[:, 1] * sides[1] + corner[1], within[:, 0] * sides[0] + corner[0]], axis=-1)
        .transpose(1, 0, 2)
        .astype("float64"),
    )


def _peaks(heat: npt.NDArray[np.float32], least_score: float) -> tuple[npt.NDArray[np.intp], ...]:
    """Places that are sure enough and no less sure than those beside them."""
    padded = np.pad(heat, 1)
    rows, columns = heat.shape
    beside = [padded[i : i + rows, j : j + columns] for i in range(3) for j in range(3)]
    return np.nonzero((heat > least_score) & (heat >= np.max(beside, axis=0)))


@lru_cache(maxsize=MOST_SHAPES)
def _network(_rows: int, _columns: int) -> Any:
    """One network for each input shape: one that has run at another size gives false boxes."""
    import cv2

    cv2.setNumThreads(1)  # several processes share the machine, one core each
    return cv2.dnn.readNetFromONNX(load_model())


def load_model() -> npt.NDArray[np.uint8]:
    """Read the model file and check its sum; SettingError if it is missing or damaged."""
    path = resources.files("auditor.intake.people").joinpath("model", "centerface.onnx")
    data = path.read_bytes() if path.is_file() else b""
    if hashlib.sha256(data).hexdigest() != MODEL_SHA256:
        raise SettingError(
            "The face detector's model file is missing or damaged.", "Install focus-zone-auditor again."
        )
    return np.frombuffer(data, np.uint8)


def can_find_faces() -> bool:
    """Whether the package that runs the detector is installed."""
    return util.find_spec("cv2") is not None


def choose_detector() -> str:
    """Name of the detector at hand; SettingError if it cannot run."""
    if not can_find_faces():
        raise SettingError(
            "Measuring from pictures needs a face detector, and what runs it is not installed.",
            'Install it: pip install "focus-zone-auditor[people]" (some 160 MB; Linux, macOS, Windows).',
        )
    load_model()
    return DETECTOR


def detector_version() -> str:
    """The version of what runs the detector; a measure counts only for it."""
    for package in _PACKAGES:
        try:
            return f"{package} {metadata.version(package)}"
        except metadata.PackageNotFoundError:
            continue
    return "unknown"
