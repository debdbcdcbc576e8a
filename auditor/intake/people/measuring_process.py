"""The measuring process: takes a detector's name and a frame's paths, gives back the measured picture.

It serves as the reading process does. Each process works on one core, so that several share a machine fairly;
a picture that brings a detector down takes only its own process along.
"""

from __future__ import annotations

import os
from functools import cache

import numpy as np

from auditor.intake.library.reader_process import serve
from auditor.intake.people.blurwidth import UNKNOWN_BLUR, BlurWidth, blur_width
from auditor.intake.people.faces import Detector, Face, open_detector
from auditor.intake.people.records import MeasuredPicture, pack
from auditor.intake.people.wholepicture import WholePicture, open_whole

SEPARATOR = "\0"  # the one character that no path can hold
_ONE_CORE = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def request(detector: str, paths: list[str]) -> str:
    """Put what a process needs into one text."""
    return SEPARATOR.join((detector, *paths))


def measure_packed(text: str) -> bytes:
    """Measure one frame's picture."""
    name, *paths = text.split(SEPARATOR)
    whole = open_whole(paths)
    return pack(MeasuredPicture(error=whole) if isinstance(whole, str) else measure(whole, _detector(name)))


def measure(whole: WholePicture, detector: Detector) -> MeasuredPicture:
    """Find the faces of a picture and measure the blur of each."""
    picture = whole.picture
    faces = detector.faces(picture)
    blurs = tuple(_blur(whole, face) for face in faces)
    return MeasuredPicture(
        None, picture.width, picture.height, whole.preview, whole.resized, tuple(faces), blurs
    )


def _blur(whole: WholePicture, face: Face) -> BlurWidth:
    box = (
        max(round(face.left), 0),
        max(round(face.top), 0),
        min(round(face.left + face.width), whole.picture.width),
        min(round(face.top + face.height), whole.picture.height),
    )
    if box[2] <= box[0] or box[3] <= box[1]:
        return UNKNOWN_BLUR
    return blur_width(np.asarray(whole.picture.crop(box).convert("L")), face.face_px)


@cache
def _detector(name: str) -> Detector:
    return open_detector(name)


def main() -> None:
    """Serve until the input ends."""
    os.environ.update(dict.fromkeys(_ONE_CORE, "1"))  # before a detector's package is loaded
    serve(measure_packed)
