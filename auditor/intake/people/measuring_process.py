"""The measuring process: takes a frame's paths, gives back the measured picture.

It serves as the reading process does. Each process works on one core, so that several share a machine fairly;
a picture that brings a detector down takes only its own process along.
"""

import os

import numpy as np

from auditor.intake.library.reader_process import serve
from auditor.intake.people.blurwidth import blur_width
from auditor.intake.people.finding import find_faces
from auditor.intake.people.measurements import Face, MeasuredPicture, pack_picture
from auditor.intake.people.wholepicture import WholePicture, open_whole

_ONE_CORE = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def measure_packed(paths: list[str]) -> bytes:
    """Measure one frame's picture."""
    whole = open_whole(paths)
    return pack_picture(MeasuredPicture(error=whole) if isinstance(whole, str) else measure_picture(whole))


def measure_picture(whole: WholePicture) -> MeasuredPicture:
    """Find the faces of a picture and measure the blur of each."""
    picture = whole.picture
    faces = find_faces(picture)
    return MeasuredPicture(
        width=picture.width,
        height=picture.height,
        preview=whole.preview,
        resized=whole.resized,
        cut_short=whole.cut_short,
        faces=tuple(faces),
        blurs_px=tuple(_blur_px(whole, face) for face in faces),
    )


def _blur_px(whole: WholePicture, face: Face) -> float:
    left, right = (min(max(round(x), 0), whole.picture.width) for x in (face.left, face.left + face.width))
    top, bottom = (min(max(round(y), 0), whole.picture.height) for y in (face.top, face.top + face.height))
    if right <= left or bottom <= top:
        return float("nan")
    piece = whole.picture.crop((left, top, right, bottom))
    return blur_width(np.asarray(piece.convert("L")), face.face_px)


def main() -> None:
    """Serve until the input ends."""
    os.environ.update(dict.fromkeys(_ONE_CORE, "1"))  # before OpenCV is loaded
    serve(measure_packed)
