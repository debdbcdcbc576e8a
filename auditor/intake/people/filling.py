"""What was measured of each frame: the subject's distance as claims, its blur, and why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.frames import MEASURED_COLUMNS, unknown
from auditor.intake.library.camera_pixels import find_copies
from auditor.intake.library.reading import Progress
from auditor.intake.people.blurwidth import FLOOR_PX, BlurWidth, cause_of_blur
from auditor.intake.people.facedistance import FACE_COLUMNS, RESIZED, place_faces
from auditor.intake.people.faces import Face, choose_detector
from auditor.intake.people.measuring import measure_pictures
from auditor.intake.people.records import MeasuredPicture
from auditor.intake.people.subject import AMBIGUOUS, choose_subjects
from auditor.intake.photofile.previews import frame_files
from auditor.intake.statements.claims import Claim, Claims
from auditor.intake.statements.shares import picture_heights_mm
from auditor.settings import Request

SOURCE = "picture"
NO_FACE = "no face found"


@dataclass(frozen=True, slots=True)
class PictureFacts:
    """What the pictures of an archive have told.

    Attributes
    ----------
    faces : pandas.DataFrame
        Every accepted face: see :func:`auditor.intake.people.facedistance.place_faces`; ``frame`` is the
        row number in the frame table, ``is_subject`` whether it was chosen.
    counts : dict of str to int
        ``frames``, ``opened``, ``previews``, ``with_face``, ``chosen`` (whose subject has a distance),
        ``ambiguous``, ``filled`` (whose distance was put into the table).
    refused : dict of str to int
        Frames with a face but no distance, by reason.
    problems : list of Problem
    claims : Claims
        Distances of the subjects, for :func:`auditor.intake.resolve.with_measured`.
    detector : str
        What found the faces.
    preview_floor_mm, whole_floor_mm : float
        The least blur that shows, in the middle: in raw files' previews and in other files; NaN without any.
    """

    faces: pd.DataFrame
    counts: dict[str, int]
    refused: dict[str, int]
    problems: list[Problem]
    claims: Claims = field(default_factory=Claims)
    detector: str = ""
    preview_floor_mm: float = float("nan")
    whole_floor_mm: float = float("nan")


def measure_frames(
    table: pd.DataFrame, paths: Sequence[str], request: Request, progress: Progress | None = None
) -> tuple[pd.DataFrame, PictureFacts]:
    """Measure the picture of every frame.

    Returns
    -------
    table : pandas.DataFrame
        With the columns of what was measured; subject distances are in the facts' claims.
    facts : PictureFacts

    Raises
    ------
    SettingError
        If no detector is installed.
    """
    detector = choose_detector()
    files = zip(paths, table["file"], table["files"], strict=True)
    tried = [frame_files(path, str(file), str(others)) for path, file, others in files]
    measured = measure_pictures(tried, detector, request.cache, request.workers, progress)
    table, facts = fill_in(table, measured.pictures)
    return table, replace(facts, detector=detector, problems=[*measured.problems, *facts.problems])


def measured_distances(
    table: pd.DataFrame,
    paths: Sequence[str],
    rows: Sequence[int],
    request: Request,
    progress: Progress | None = None,
) -> list[float]:
    """Measure the pictures of some frames only.

    Returns
    -------
    list of float
        Distance of the subject in each of them [m]; NaN where none is told.

    Raises
    ------
    SettingError
        If no detector is installed.
    """
    part = table.iloc[list(rows)].reset_index(drop=True)
    measured, _ = measure_frames(part, [paths[row] for row in rows], request, progress)
    return [float(distance) for distance in measured["measured_distance_m"]]


def faces_of(pictures: list[MeasuredPicture]) -> pd.DataFrame:
    """List every face of every picture."""
    rows = [
        _row(number, picture, face, blur)
        for number, picture in enumerate(pictures)
        for face, blur in zip(picture.faces, picture.blurs, strict=True)
    ]
    faces = pd.DataFrame(rows, columns=list(FACE_COLUMNS))
    numbers = [name for name in FACE_COLUMNS if name not in ("frame", "resized", "cause")]
    kinds = dict.fromkeys(numbers, "float64") | {"frame": "int64", "resized": "bool", "cause": "str"}
    return faces.astype(kinds)


def _row(number: int, picture: MeasuredPicture, face: Face, blur: BlurWidth) -> tuple[object, ...]:
    return (
        number, picture.width, picture.height, picture.resized,
        face.left, face.top, face.width, face.height, face.score,
        face.face_px, face.breadth_px, face.eyes_px, face.yaw_deg,
        blur.diameter_px, blur.anisotropy, blur.direction_deg, cause_of_blur(blur, face.face_px),
    )  # fmt: skip


def fill_in(table: pd.DataFrame, pictures: list[MeasuredPicture]) -> tuple[pd.DataFrame, PictureFacts]:
    """Add the columns of what was measured, and claim the subjects' distances.

    Parameters
    ----------
    table : pandas.DataFrame
        Frame table, its focal lengths complete.
    pictures : list of MeasuredPicture
        One for each row.

    Returns
    -------
    table : pandas.DataFrame
    facts : PictureFacts
    """
    faces = faces_of(pictures)
    frame = faces["frame"].to_numpy()
    focal = table["focal_length_mm"].to_numpy("float64")
    heights, _ = picture_heights_mm(table)
    pixels = (table[f"pixel_{side}"].to_numpy("float64", na_value=np.nan) for side in ("width", "height"))
    faces["resized"] |= find_copies(table["camera"].to_numpy(object), *pixels)[frame]
    placed = place_faces(faces, focal[frame], heights[frame])
    subjects = choose_subjects(placed)
    rows = subjects["frame"].to_numpy()
    missing = np.flatnonzero(table["subject_distance_m"].isna().to_numpy())
    has_distance = subjects["distance_m"].notna().to_numpy()
    filled = has_distance & np.isin(rows, missing)
    told = subjects[has_distance]
    claim = Claim(
        "subject_distance",
        SOURCE,
        rows[has_distance],
        told["distance_m"].to_numpy("float64"),
        rel_sd=told["distance_rel_sd"].to_numpy("float64"),
    )
    opened = np.array([picture.error is None for picture in pictures], dtype=bool)
    measured = _with_columns(table, subjects, opened, [picture.error for picture in pictures])
    refused = subjects["refused"].dropna().value_counts()
    return measured, PictureFacts(
        faces=placed.assign(is_subject=placed.index.isin(subjects.index)),
        counts={
            "frames": len(pictures),
            "opened": int(opened.sum()),
            "previews": sum(picture.preview for picture in pictures),
            "with_face": len(subjects),
            "chosen": int(has_distance.sum()),
            "ambiguous": int((subjects["choice"].eq(AMBIGUOUS) & has_distance).sum()),
            "filled": int(filled.sum()),
        },
        refused={str(reason): int(count) for reason, count in refused.items()},
        problems=_problems(table, pictures),
        claims=Claims((claim,)),
        preview_floor_mm=_middle_floor(pictures, heights, preview=True),
        whole_floor_mm=_middle_floor(pictures, heights, preview=False),
    )


def _middle_floor(pictures: list[MeasuredPicture], heights_mm: np.ndarray, *, preview: bool) -> float:
    floors = [
        FLOOR_PX * height / picture.height
        for picture, height in zip(pictures, heights_mm.tolist(), strict=True)
        if picture.height and picture.preview == preview and height == height
    ]
    return float(np.median(floors)) if floors else float("nan")


def _with_columns(
    table: pd.DataFrame, subjects: pd.DataFrame, opened: np.ndarray, errors: list[str | None]
) -> pd.DataFrame:
    """The table with what is known of the subject in each frame; unknown where no face was found."""
    of_frame = subjects.set_index(table.index[subjects["frame"].to_numpy()]).reindex(table.index)
    met = of_frame["frame"].notna()
    columns: dict[str, pd.Series] = {}
    for name, dtype in MEASURED_COLUMNS.items():  # a picture that is gone leaves what is known of it
        before = table[name] if name in table else pd.Series(unknown(dtype), index=table.index)
        columns[name] = before.mask(opened, unknown(dtype)).astype(dtype)
    columns["faces_found"] = columns["faces_found"].mask(opened, of_frame["faces"].fillna(0).astype("Int64"))
    for name, of_face in _OF_FACE.items():
        columns[name] = columns[name].mask(met, of_frame[of_face].astype(MEASURED_COLUMNS[name]))
    why = pd.Series([error or NO_FACE for error in errors], index=table.index, dtype="str")
    columns["not_measured"] = why.mask(met, of_frame["refused"].astype("str"))
    return table.assign(**columns)


_OF_FACE = {
    "measured_distance_m": "distance_m",
    "measured_distance_rel_sd": "distance_rel_sd",
    "measured_blur_mm": "blur_mm",
    "measured_blur_px": "blur_px",
    "measured_blur_floor_mm": "blur_floor_mm",
    "measured_cause": "cause",
    "face_choice": "choice",
    "face_turn": "turn",
}


def _problems(table: pd.DataFrame, pictures: list[MeasuredPicture]) -> list[Problem]:
    files = table["file"].to_numpy(object)
    problems = [
        Problem(str(files[number]), f"Its picture was not measured: {picture.error}.", "")
        for number, picture in enumerate(pictures)
        if picture.error is not None
    ]
    problems += [
        Problem(
            str(files[number]),
            f"Its faces tell no distance: {RESIZED}.",
            "Measure the camera's own files; exports tell distances only when nothing was cut off.",
        )
        for number, picture in enumerate(pictures)
        if picture.resized and picture.faces
    ]
    return problems
