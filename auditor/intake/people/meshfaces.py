"""Faces by a mesh of points laid over them, with mediapipe: heavy, about 8 % sure of a distance.

The picture is searched window by window; then the mesh is laid on each face, again and again on the bounds of
its own points, since the first one depends on the box. A box on which no mesh holds is dropped: most are
false. But no mesh holds on a face blurred by a fifth of its length either, so where the detector of boxes is
at hand too, what it finds besides is kept as boxes. The points never leave this module.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt
from PIL import Image

from auditor.intake.people.faces import MESH, Detector, Face, overlap, without_doubles

if TYPE_CHECKING:
    from PIL.Image import Image as Picture

LONG_SIDE_PX = 1500
WINDOW_PX = 384
LEAST_SCORE = 0.5
AROUND = 2.0  # side of the piece the mesh is laid on, in box sides
PIECE_PX = 512
PASSES = 5
SETTLED_PASSES = 3  # the last ones are averaged
MOST_FACES = 20

# Numbers of the mesh's points, as published with it.
_CHIN, _NOSE_ROOT, _CHEEKBONES = 152, 168, (234, 454)
_EYES: Final = ((33, 133), (263, 362))

Points = npt.NDArray[np.float64]


class MeshDetector:
    """Finds faces and lays a mesh over each.

    Parameters
    ----------
    boxes : Detector, optional
        Finds the faces on which no mesh holds.
    """

    name = MESH

    def __init__(self, boxes: Detector | None = None) -> None:
        self._boxes = boxes
        from mediapipe.python.solutions import face_detection, face_mesh

        self._finder: Any = face_detection.FaceDetection(
            model_selection=1, min_detection_confidence=LEAST_SCORE
        )
        self._mesh: Any = face_mesh.FaceMesh(
            static_image_mode=False, max_num_faces=1, min_detection_confidence=LEAST_SCORE
        )

    def faces(self, picture: Picture) -> list[Face]:
        """Find the faces of an upright RGB picture, in its full resolution."""
        scale = max(1.0, max(picture.size) / LONG_SIDE_PX)
        small = picture
        if scale > 1:
            size = round(picture.width / scale), round(picture.height / scale)
            small = picture.resize(size, Image.Resampling.BOX, reducing_gap=1.0)
        found = [face for window in windows(*small.size) for face in self._find(small, window, scale)]
        meshed = [self._laid(picture, face) for face in without_doubles(found)[:MOST_FACES]]
        kept = without_doubles([face for face in meshed if face is not None])
        besides = self._boxes.faces(picture) if self._boxes is not None else []
        return [*kept, *(face for face in besides if not any(overlap(face, other) for other in kept))]

    def _find(self, small: Picture, window: tuple[int, int, int, int], scale: float) -> Iterator[Face]:
        left, top, right, bottom = window
        piece = np.ascontiguousarray(np.asarray(small.crop(window)))
        for found in self._finder.process(piece).detections or ():
            box = found.location_data.relative_bounding_box
            width, height = (right - left) * scale, (bottom - top) * scale
            yield Face(
                left * scale + box.xmin * width,
                top * scale + box.ymin * height,
                box.width * width,
                box.height * height,
                float(found.score[0]),
                float("nan"),
            )

    def _laid(self, picture: Picture, face: Face) -> Face | None:
        side = AROUND * max(face.width, face.height)
        x, y = face.left + face.width / 2 - side / 2, face.top + face.height / 2 - side / 2
        piece = picture.crop((round(x), round(y), round(x + side), round(y + side)))
        pixels = min(PIECE_PX, piece.width)
        if pixels < piece.width:
            piece = piece.resize((pixels, pixels), Image.Resampling.BOX)
        array = np.ascontiguousarray(np.asarray(piece))
        self._mesh.reset()
        laid: list[Points] = []
        for _ in range(PASSES):
            result = self._mesh.process(array).multi_face_landmarks
            if not result:
                return None
            laid.append(np.array([(p.x, p.y, p.z) for p in result[0].landmark]) * side)
        faces = [_measured(points, face.score, (round(x), round(y))) for points in laid[-SETTLED_PASSES:]]
        names = Face.__slots__
        return Face(*(float(np.mean([getattr(one, name) for one in faces])) for name in names))


def windows(width: int, height: int) -> list[tuple[int, int, int, int]]:
    """Windows that cover a picture with half overlap, and the whole picture, as left, top, right, bottom.

    Examples
    --------
    >>> windows(384, 500)
    [(0, 0, 384, 500), (0, 0, 384, 384), (0, 116, 384, 500)]
    """
    return [
        (0, 0, width, height),
        *(
            (left, top, min(left + WINDOW_PX, width), min(top + WINDOW_PX, height))
            for top in _starts(height)
            for left in _starts(width)
        ),
    ]


def _starts(length: int) -> list[int]:
    last = max(length - WINDOW_PX, 0)
    steps = -(-last // (WINDOW_PX // 2))
    return [round(last * i / steps) for i in range(steps + 1)] if steps else [0]


def _measured(points: Points, score: float, corner: tuple[int, int]) -> Face:
    """Lengths between points, in all three dimensions of the mesh."""
    left, top = points[:, :2].min(axis=0)
    right, bottom = points[:, :2].max(axis=0)
    across = points[_CHEEKBONES[1]] - points[_CHEEKBONES[0]]
    eyes = [(points[a] + points[b]) / 2 for a, b in _EYES]
    return Face(
        left=corner[0] + float(left),
        top=corner[1] + float(top),
        width=float(right - left),
        height=float(bottom - top),
        score=score,
        face_px=float(np.linalg.norm(points[_CHIN] - points[_NOSE_ROOT])),
        breadth_px=float(np.linalg.norm(across)),
        eyes_px=float(np.linalg.norm(eyes[1] - eyes[0])),
        yaw_deg=float(np.degrees(np.arctan2(across[2], np.hypot(across[0], across[1])))),
    )
