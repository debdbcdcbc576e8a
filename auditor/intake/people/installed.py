"""Whether faces can be found on this machine, and by which version."""

from __future__ import annotations

from importlib import metadata, util
from typing import Final

from auditor.errors import SettingError
from auditor.intake.people.facemodel import load_model

DETECTOR: Final = "CenterFace"
_PACKAGES: Final = tuple(
    f"opencv-{kind}" for kind in ("python-headless", "python", "contrib-python-headless", "contrib-python")
)


def can_find_faces() -> bool:
    """Whether the package that runs the detector is installed."""
    return util.find_spec("cv2") is not None


def choose_detector() -> str:
    """Name of the detector at hand.

    Raises SettingError if the package that runs it is not installed, or its model file is damaged.
    """
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
