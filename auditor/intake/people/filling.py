"""From measured pictures to frames: the subject's distance and blur in each, and why there is none.

Of each burst only the first frame is measured: the others show the same people again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import astuple, dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from auditor.errors import Problem
from auditor.frames import MEASURED_COLUMNS, captured_s, unknown
from auditor.intake.library.reading import Progress
from auditor.intake.people.facedistance import FACE_COLUMNS, RESIZED, place_faces
from auditor.intake.people.installed import DETECTOR, choose_detector
from auditor.intake.people.measuring import Measuring, measure_pictures
from auditor.intake.people.records import MeasuredPicture
from auditor.intake.people.subject import AMBIGUOUS, choose_subjects
from auditor.intake.photofile.previews import frame_files
from auditor.intake.sources import Archive
from auditor.intake.statements.shares import picture_heights_mm
from auditor.settings import Request

Rows = npt.NDArray[np.intp]

SOURCE = "picture"
NO_FACE = "no face found"
SAME_BURST = "another frame of its burst was measured"
LOOKED_AT = 3  # nearest and largest subjects, named so that somebody looks at them
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
        ``frames`` (in all), ``tried`` (one of each burst), ``opened``, ``previews``, ``with_face``,
        ``chosen`` (whose subject has a distance), ``ambiguous``, ``filled`` (whose distance was put into the
        table).
    refused : dict of str to int
        Frames with a face but no distance, by reason.
    problems : list of Problem
    detector : str
        What found the faces.
    only_who_faced_the_camera : bool
        Whether distances in the table come from faces alone, so that whoever turned away is missing.
    look_at : tuple of (str, float)
        Files and distances [m] of the nearest subjects and of those largest in the picture: faces on posters
        and screens are among these.
    """

    faces: pd.DataFrame
    counts: dict[str, int]
    refused: dict[str, int]
    problems: list[Problem]
    detector: str = ""
    only_who_faced_the_camera: bool = False
    look_at: tuple[tuple[str, float], ...] = ()


def measure_archive(archive: Archive, request: Request, progress: Progress | None = None) -> PictureFacts:
    """Measure the picture of one frame of each burst and fill the archive's table in.

    Raises
    ------
    SettingError
        If no detector is installed.
    """
    rows = one_of_each_burst(archive.table)
    measured = measure_frames(archive, rows.tolist(), request, progress)
    facts = fill_in(archive.table, measured.pictures, rows)
    return replace(facts, detector=DETECTOR, problems=[*measured.problems, *facts.problems])


def measure_frames(
    archive: Archive, rows: Sequence[int], request: Request, progress: Progress | None = None
) -> Measuring:
    """Measure the pictures of some frames, and leave the archive as it is.

    Raises
    ------
    SettingError
        If no detector is installed.
    """
    choose_detector()
    file, files = (archive.table[name].to_numpy(object) for name in ("file", "files"))
    tried = [frame_files(archive.paths[row], str(file[row]), str(files[row])) for row in rows]
    return measure_pictures(tried, request.cache, request.workers, progress)


def one_of_each_burst(table: pd.DataFrame) -> npt.NDArray[np.intp]:
    """Rows of the first frame of each burst, by time; every row where bursts are not numbered."""
    if "burst" not in table or table["burst"].isna().any():
        return np.arange(len(table))
    order = np.lexsort((np.arange(len(table)), captured_s(table)))
    first = ~table["burst"].iloc[order].duplicated().to_numpy()
    return np.sort(order[first])


def faces_of(pictures: list[MeasuredPicture]) -> pd.DataFrame:
    """List every face of every picture."""
    rows = [
        (number, picture.width, picture.height, picture.resized, *astuple(face), blur_px)
        for number, picture in enumerate(pictures)
        for face, blur_px in zip(picture.faces, picture.blurs_px, strict=True)
    ]
    faces = pd.DataFrame(rows, columns=list(FACE_COLUMNS))
    numbers = [name for name in FACE_COLUMNS if name not in ("frame", "resized")]
    kinds = dict.fromkeys(numbers, "float64") | {"frame": "int64", "resized": "bool"}
    return faces.astype(kinds)


def placed_faces(table: pd.DataFrame, pictures: list[MeasuredPicture], rows: Rows) -> pd.DataFrame:
    """List the faces of measured frames with their distances; ``frame`` is the row in the table."""
    faces = faces_of(pictures)
    frame = rows[faces["frame"].to_numpy()]
    heights, _ = picture_heights_mm(table)
    faces = faces.assign(frame=frame, resized=faces["resized"] | _of_odd_size(table)[frame])
    return place_faces(faces, table["focal_length_mm"].to_numpy("float64")[frame], heights[frame])


def fill_in(table: pd.DataFrame, pictures: list[MeasuredPicture], rows: Rows) -> PictureFacts:
    """Fill subject distances that nobody stated, in place, and add the columns of what was measured.

    Parameters
    ----------
    table : pandas.DataFrame
        Frame table, its focal lengths complete. A distance of the notes, or of the file, stays.
    pictures : list of MeasuredPicture
    rows : numpy.ndarray of int
        The row of each picture's frame.

    Returns
    -------
    PictureFacts
    """
    placed = placed_faces(table, pictures, rows)
    subjects = choose_subjects(placed)
    told = subjects[subjects["distance_m"].notna()]
    filled = hand_over(table, told)
    _add_columns(table, subjects, rows, pictures)
    refused = subjects["refused"].dropna().value_counts()
    sources = set(table["subject_distance_source"][table["subject_distance_m"].notna()])
    return PictureFacts(
        faces=placed.assign(is_subject=placed.index.isin(subjects.index)),
        counts={
            "frames": len(table),
            "tried": len(pictures),
            "opened": sum(picture.error is None for picture in pictures),
            "previews": sum(picture.preview for picture in pictures),
            "with_face": len(subjects),
            "chosen": len(told),
            "ambiguous": int(told["choice"].eq(AMBIGUOUS).sum()),
            "filled": len(filled),
        },
        refused={str(reason): int(count) for reason, count in refused.items()},
        problems=_problems(table, pictures, rows, filled),
        only_who_faced_the_camera=sources == {SOURCE},
        look_at=_to_look_at(table, told),
    )


def hand_over(table: pd.DataFrame, told: pd.DataFrame) -> Rows:
    """Put subjects' distances into the table where it has none; return the rows that took one.

    Parameters
    ----------
    table : pandas.DataFrame
    told : pandas.DataFrame
        ``frame`` (the row in the table), ``distance_m`` and ``distance_rel_sd``.
    """
    told = told[table["subject_distance_m"].isna().to_numpy()[told["frame"]]]
    labels = table.index[told["frame"]]
    table.loc[labels, "subject_distance_m"] = told["distance_m"].to_numpy()
    table.loc[labels, "subject_distance_rel_sd"] = told["distance_rel_sd"].to_numpy()
    table.loc[labels, "subject_distance_source"] = SOURCE
    return np.asarray(told["frame"], dtype="intp")


def _to_look_at(table: pd.DataFrame, told: pd.DataFrame) -> tuple[tuple[str, float], ...]:
    share = told["face_px"] / told["picture_height"]
    first = [*told["distance_m"].nsmallest(LOOKED_AT).index, *share.nlargest(LOOKED_AT).index]
    chosen = told.loc[list(dict.fromkeys(first))].sort_values("distance_m")
    files = table["file"].to_numpy(object)[chosen["frame"]]
    return tuple(zip(files.tolist(), chosen["distance_m"].tolist(), strict=True))


def _add_columns(
    table: pd.DataFrame, subjects: pd.DataFrame, rows: Rows, pictures: list[MeasuredPicture]
) -> None:
    """What is known of the subject in each frame; unknown where no face was found."""
    opened = np.zeros(len(table), dtype=bool)
    opened[rows] = [picture.error is None for picture in pictures]
    for name, dtype in MEASURED_COLUMNS.items():  # a picture that is gone leaves what is known of it
        before = table[name] if name in table else pd.Series(unknown(dtype), index=table.index)
        table[name] = before.mask(opened, unknown(dtype)).astype(dtype)
    chosen = subjects["frame"].to_numpy()
    labels = table.index[chosen]
    found = np.zeros(len(table), dtype="int64")
    found[chosen] = subjects["faces"].to_numpy("int64")
    table.loc[opened, "faces_found"] = found[opened]
    for column in ("distance_m", "distance_rel_sd", "blur_mm", "blur_low_mm", "blur_high_mm"):
        table.loc[labels, f"measured_{column}"] = subjects[column].to_numpy("float64")
    table.loc[labels, "face_choice"] = subjects["choice"].to_numpy(object)
    why = pd.Series(SAME_BURST, index=table.index, dtype="str")
    why.iloc[rows] = [picture.error or NO_FACE for picture in pictures]
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


def _problems(
    table: pd.DataFrame, pictures: list[MeasuredPicture], rows: Rows, filled: Rows
) -> list[Problem]:
    files = table["file"].to_numpy(object)
    of_file = [(str(files[row]), picture) for row, picture in zip(rows, pictures, strict=True)]
    problems = [
        Problem(file, f"Its picture was not measured: {picture.error}.", "")
        for file, picture in of_file
        if picture.error is not None
    ]
    problems += [
        Problem(file, "Its file lacks the last bytes; the rest of the picture was measured.", "")
        for file, picture in of_file
        if picture.cut_short
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
            file,
            f"Its faces tell no distance: {RESIZED}.",
            "Measure the camera's own files; exports tell distances only when nothing was cut off.",
        )
        for file, picture in of_file
        if picture.resized and picture.faces
    ]
    return problems
