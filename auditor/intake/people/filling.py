"""Puts what was measured into the frame table: the subject's distance and blur, and why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.frames import MEASURED_COLUMNS, unknown
from auditor.intake.library.reading import Progress
from auditor.intake.people.blurwidth import FLOOR_PX, BlurWidth, cause_of_blur
from auditor.intake.people.facedistance import FACE_COLUMNS, RESIZED, place_faces
from auditor.intake.people.faces import Face, choose_detector
from auditor.intake.people.measuring import measure_pictures
from auditor.intake.people.records import MeasuredPicture
from auditor.intake.people.subject import AMBIGUOUS, choose_subjects
from auditor.intake.photofile.previews import frame_files
from auditor.intake.sources import Archive
from auditor.intake.statements.shares import picture_heights_mm
from auditor.settings import Request

SOURCE = "picture"
NO_FACE = "no face found"
ODD_SIZE_SHARE = 0.2  # a size that fewer of a camera's pictures have, and is smaller than the usual one
SAME_SIZE = 0.02


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
    detector : str
        What found the faces.
    preview_floor_mm, whole_floor_mm : float
        The least blur that shows, in the middle: in raw files' previews and in other files; NaN without any.
    """

    faces: pd.DataFrame
    counts: dict[str, int]
    refused: dict[str, int]
    problems: list[Problem]
    detector: str = ""
    preview_floor_mm: float = float("nan")
    whole_floor_mm: float = float("nan")


def measure_archive(archive: Archive, request: Request, progress: Progress | None = None) -> PictureFacts:
    """Measure the picture of every frame and fill its table in.

    Raises
    ------
    SettingError
        If no detector is installed.
    """
    detector = choose_detector()
    table = archive.table
    files = zip(archive.paths, table["file"], table["files"], strict=True)
    tried = [frame_files(path, str(file), str(others)) for path, file, others in files]
    measured = measure_pictures(tried, detector, request.cache, request.workers, progress)
    facts = fill_in(table, measured.pictures)
    return replace(facts, detector=detector, problems=[*measured.problems, *facts.problems])


def measured_distances(
    archive: Archive, rows: Sequence[int], request: Request, progress: Progress | None = None
) -> list[float]:
    """Measure the pictures of some frames only, and leave the archive as it is.

    Returns
    -------
    list of float
        Distance of the subject in each of them [m]; NaN where none is told.

    Raises
    ------
    SettingError
        If no detector is installed.
    """
    part = replace(
        archive,
        table=archive.table.iloc[list(rows)].reset_index(drop=True),
        paths=[archive.paths[row] for row in rows],
    )
    measure_archive(part, request, progress)
    return [float(distance) for distance in part.table["measured_distance_m"]]


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


def fill_in(table: pd.DataFrame, pictures: list[MeasuredPicture]) -> PictureFacts:
    """Fill subject distances that nobody stated, in place, and add the columns of what was measured.

    Parameters
    ----------
    table : pandas.DataFrame
        Frame table, its focal lengths complete. A distance of the notes, or of the file, stays.
    pictures : list of MeasuredPicture
        One for each row.

    Returns
    -------
    PictureFacts
    """
    faces = faces_of(pictures)
    frame = faces["frame"].to_numpy()
    focal = table["focal_length_mm"].to_numpy("float64")
    heights, _ = picture_heights_mm(table)
    faces["resized"] |= _of_odd_size(table)[frame]
    placed = place_faces(faces, focal[frame], heights[frame])
    subjects = choose_subjects(placed)
    rows = subjects["frame"].to_numpy()
    missing = np.flatnonzero(table["subject_distance_m"].isna().to_numpy())
    has_distance = subjects["distance_m"].notna().to_numpy()
    filled = has_distance & np.isin(rows, missing)
    labels = table.index[rows[filled]]
    table.loc[labels, "subject_distance_m"] = subjects["distance_m"].to_numpy()[filled]
    table.loc[labels, "subject_distance_rel_sd"] = subjects["distance_rel_sd"].to_numpy()[filled]
    table.loc[labels, "subject_distance_source"] = SOURCE
    opened = np.array([picture.error is None for picture in pictures], dtype=bool)
    _add_columns(table, subjects, opened, [picture.error for picture in pictures])
    refused = subjects["refused"].dropna().value_counts()
    return PictureFacts(
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
        problems=_problems(table, pictures, rows[filled]),
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


def _add_columns(
    table: pd.DataFrame, subjects: pd.DataFrame, opened: np.ndarray, errors: list[str | None]
) -> None:
    """What is known of the subject in each frame; unknown where no face was found."""
    rows = subjects["frame"].to_numpy()
    labels = table.index[rows]
    for name, dtype in MEASURED_COLUMNS.items():  # a picture that is gone leaves what is known of it
        before = table[name] if name in table else pd.Series(unknown(dtype), index=table.index)
        table[name] = before.mask(opened, unknown(dtype)).astype(dtype)
    found = np.zeros(len(table), dtype="int64")
    found[rows] = subjects["faces"].to_numpy("int64")
    table.loc[opened, "faces_found"] = found[opened]
    for column, of_face in (
        ("measured_distance_m", "distance_m"),
        ("measured_distance_rel_sd", "distance_rel_sd"),
        ("measured_blur_mm", "blur_mm"),
        ("measured_blur_px", "blur_px"),
        ("measured_blur_floor_mm", "blur_floor_mm"),
    ):
        table.loc[labels, column] = subjects[of_face].to_numpy("float64")
    for column, of_face in (("measured_cause", "cause"), ("face_choice", "choice"), ("face_turn", "turn")):
        table.loc[labels, column] = subjects[of_face].to_numpy(object)
    why = pd.Series([error or NO_FACE for error in errors], index=table.index, dtype="str")
    why.loc[labels] = subjects["refused"].to_numpy(object)
    table["not_measured"] = why


def _of_odd_size(table: pd.DataFrame) -> np.ndarray:
    """Pictures smaller than their camera's usual ones, and few: most likely cut, their shape kept."""
    pixels = table["pixel_width"].to_numpy("float64", na_value=np.nan) * table["pixel_height"].to_numpy(
        "float64", na_value=np.nan
    )
    size = pd.Series(pixels).round(-4)
    camera = pd.Series(table["camera"].fillna("").to_numpy(object))
    share = size.groupby([camera, size]).transform("size") / size.groupby(camera).transform("count")
    usual = size.where(share >= ODD_SIZE_SHARE).groupby(camera).transform("max")
    return np.asarray((share < ODD_SIZE_SHARE) & (size < usual * (1 - 2 * SAME_SIZE)), dtype=bool)


def _problems(table: pd.DataFrame, pictures: list[MeasuredPicture], filled: np.ndarray) -> list[Problem]:
    files = table["file"].to_numpy(object)
    problems = [
        Problem(str(files[number]), f"Its picture was not measured: {picture.error}.", "")
        for number, picture in enumerate(pictures)
        if picture.error is not None
    ]
    assumed = table["sensor_source"].eq("assumed").fillna(False).to_numpy(bool)
    problems += [
        Problem(
            str(files[row]),
            "The distance measured from its picture rests on an assumed sensor of 36×24 mm.",
            "State the sensor in a [[camera]] entry of the session file.",
        )
        for row in filled
        if assumed[row]
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
