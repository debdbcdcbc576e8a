"""What was measured of each frame: the subject's distance as claims, its blur, and why there is none.

Of each burst only the first frame is measured: the others show the same people again.
"""

from collections.abc import Sequence
from dataclasses import astuple, dataclass, field, replace

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.frames import MEASURED_COLUMNS, captured_s, unknown
from auditor.intake.frame_index import Rows
from auditor.intake.library.camera_pixels import find_copies
from auditor.intake.library.reading import Progress
from auditor.intake.people.facedistance import FACE_COLUMNS, RESIZED, place_faces
from auditor.intake.people.facemodel import DETECTOR, choose_detector
from auditor.intake.people.measurements import MeasuredPicture
from auditor.intake.people.measuring import measure_pictures
from auditor.intake.people.subject import AMBIGUOUS, choose_subjects
from auditor.intake.photofile.previews import frame_files
from auditor.intake.statements.claims import Claim, Claims
from auditor.intake.statements.shares import picture_heights_mm
from auditor.settings import Request

SOURCE = "picture"
NO_FACE = "no face found"
SAME_BURST = "another frame of its burst was measured"
LOOKED_AT = 3  # nearest and largest subjects, named so that somebody looks at them

# Boxes stay in the cache: where somebody's face was is nobody else's business.
_WRITTEN = (
    "is_subject", "score", "distance_m", "distance_rel_sd", "refused", "blur_mm", "blur_low_mm",
    "blur_high_mm",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class PictureFacts:
    """What the pictures of an archive say."""

    faces: pd.DataFrame  # see place_faces; `frame` is the row in the frame table, `is_subject` who was chosen
    # `frames` (in all), `tried` (one of each burst), `opened`, `previews`, `with_face`, `chosen` (whose
    # subject has a distance), `ambiguous`, `filled` (whose distance was put into the table)
    counts: dict[str, int]
    refused: dict[str, int]  # frames with a face but no distance, by reason
    problems: list[Problem]
    detector: str = ""  # what found the faces
    # whether distances in the table come from faces alone, so that whoever turned away is missing
    only_who_faced_the_camera: bool = False
    # files and distances [m] of the nearest subjects and of those largest in the picture: faces on
    # posters and screens are among these
    look_at: tuple[tuple[str, float], ...] = ()
    claims: Claims = field(default_factory=Claims)  # distances of the subjects, for with_measured


def measure_bursts(
    table: pd.DataFrame, paths: Sequence[str], request: Request, progress: Progress | None = None
) -> tuple[pd.DataFrame, PictureFacts]:
    """Measure the picture of one frame of each burst."""
    rows = one_of_each_burst(table)
    pictures, problems = measure_frames(table, paths, rows.tolist(), request, progress)
    table, facts = fill_in(table, pictures, rows)
    return table, replace(facts, detector=DETECTOR, problems=[*problems, *facts.problems])


def measure_frames(
    table: pd.DataFrame,
    paths: Sequence[str],
    rows: Sequence[int],
    request: Request,
    progress: Progress | None = None,
) -> tuple[list[MeasuredPicture], list[Problem]]:
    """Measure the pictures of some frames."""
    choose_detector()
    file, files = (table[name].to_numpy(object) for name in ("file", "files"))
    tried = [frame_files(paths[row], str(file[row]), str(files[row])) for row in rows]
    return measure_pictures(tried, request.cache, request.workers, progress)


def one_of_each_burst(table: pd.DataFrame) -> Rows:
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
    pixels = (table[f"pixel_{side}"].to_numpy("float64", na_value=np.nan) for side in ("width", "height"))
    copies = find_copies(table["camera"].to_numpy(object), *pixels)
    faces = faces.assign(frame=frame, resized=faces["resized"] | copies[frame])
    return place_faces(faces, table["focal_length_mm"].to_numpy("float64")[frame], heights[frame])


def fill_in(
    table: pd.DataFrame, pictures: list[MeasuredPicture], rows: Rows
) -> tuple[pd.DataFrame, PictureFacts]:
    """Add the columns of what was measured, and claim the subjects' distances."""
    placed = placed_faces(table, pictures, rows)
    subjects = choose_subjects(placed)
    with_distance = subjects[subjects["distance_m"].notna()]
    frame = with_distance["frame"].to_numpy(dtype=np.intp)
    distance, rel_sd = (with_distance[name].to_numpy("float64") for name in ("distance_m", "distance_rel_sd"))
    claim = Claim("subject_distance", SOURCE, frame, distance, rel_sd=rel_sd)
    stated = table["subject_distance_m"].notna().to_numpy()
    filled = frame[~stated[frame]]
    sources = {*table["subject_distance_source"][stated], *([SOURCE] if len(filled) else [])}
    refused = subjects["refused"].dropna().value_counts()
    return _with_columns(table, subjects, rows, pictures), PictureFacts(
        faces=placed.assign(is_subject=placed.index.isin(subjects.index)),
        counts={
            "frames": len(table),
            "tried": len(pictures),
            "opened": sum(picture.error is None for picture in pictures),
            "previews": sum(picture.preview for picture in pictures),
            "with_face": len(subjects),
            "chosen": len(with_distance),
            "ambiguous": int(with_distance["choice"].eq(AMBIGUOUS).sum()),
            "filled": len(filled),
        },
        refused={str(reason): int(count) for reason, count in refused.items()},
        problems=_problems(table, pictures, rows),
        claims=Claims((claim,)),
        only_who_faced_the_camera=sources == {SOURCE},
        look_at=_to_look_at(table, with_distance),
    )


def _to_look_at(table: pd.DataFrame, with_distance: pd.DataFrame) -> tuple[tuple[str, float], ...]:
    share = with_distance["face_px"] / with_distance["picture_height"]
    first = [*with_distance["distance_m"].nsmallest(LOOKED_AT).index, *share.nlargest(LOOKED_AT).index]
    chosen = with_distance.loc[list(dict.fromkeys(first))].sort_values("distance_m")
    files = table["file"].to_numpy(object)[chosen["frame"]]
    return tuple(zip(files.tolist(), chosen["distance_m"].tolist(), strict=True))


def _with_columns(
    table: pd.DataFrame, subjects: pd.DataFrame, rows: Rows, pictures: list[MeasuredPicture]
) -> pd.DataFrame:
    """The table with what is known of the subject in each frame; unknown where no face was found."""
    opened = np.zeros(len(table), dtype=bool)
    opened[rows] = [picture.error is None for picture in pictures]
    of_frame = subjects.set_index(table.index[subjects["frame"].to_numpy()]).reindex(table.index)
    met = of_frame["frame"].notna()
    columns: dict[str, pd.Series] = {}
    for name, dtype in MEASURED_COLUMNS.items():  # a picture that is gone leaves what is known of it
        before = table[name] if name in table else pd.Series(unknown(dtype), index=table.index)
        columns[name] = before.mask(opened, unknown(dtype)).astype(dtype)
    columns["faces_found"] = columns["faces_found"].mask(opened, of_frame["faces"].fillna(0).astype("Int64"))
    for name, of_face in _OF_FACE.items():
        columns[name] = columns[name].mask(met, of_frame[of_face].astype(MEASURED_COLUMNS[name]))
    why = pd.Series(SAME_BURST, index=table.index, dtype="str")
    why.iloc[rows] = [picture.error or NO_FACE for picture in pictures]
    columns["not_measured"] = why.mask(met, of_frame["refused"].astype("str"))
    return table.assign(**columns)


_OF_FACE = {
    "measured_distance_m": "distance_m",
    "measured_distance_rel_sd": "distance_rel_sd",
    "measured_blur_mm": "blur_mm",
    "measured_blur_low_mm": "blur_low_mm",
    "measured_blur_high_mm": "blur_high_mm",
    "face_choice": "choice",
}


def _problems(table: pd.DataFrame, pictures: list[MeasuredPicture], rows: Rows) -> list[Problem]:
    files = table["file"].to_numpy(object)
    of_file = [(str(files[row]), picture) for row, picture in zip(rows, pictures, strict=True)]
    unopened = [(file, picture.error) for file, picture in of_file if picture.error is not None]
    cut_short = [file for file, picture in of_file if picture.cut_short]
    resized = [file for file, picture in of_file if picture.resized and picture.faces]
    missing = "Its file lacks the last bytes; the rest of the picture was measured."
    step = "Measure the camera's own files; exports tell distances only when nothing was cut off."
    return [
        *(Problem(file, f"Its picture was not measured: {error}.") for file, error in unopened),
        *(Problem(file, missing) for file in cut_short),
        *(Problem(file, f"Its faces tell no distance: {RESIZED}.", step) for file in resized),
    ]


def faces_to_write(facts: PictureFacts, table: pd.DataFrame) -> pd.DataFrame:
    """Lay out one row for each face, and one for each frame without."""
    faces = facts.faces
    listed = faces[list(_WRITTEN)].assign(
        file=table["file"].to_numpy(object)[faces["frame"]],
        choice=table["face_choice"].to_numpy(object)[faces["frame"]],
    )
    listed.loc[~listed["is_subject"], "choice"] = None
    without = table["faces_found"].fillna(0).eq(0).to_numpy(bool)
    empty = pd.DataFrame({"file": table["file"][without], "refused": table["not_measured"][without]})
    order = np.concatenate([faces["frame"].to_numpy(), np.flatnonzero(without)])
    together = pd.concat([listed, empty], ignore_index=True).iloc[np.argsort(order, kind="stable")]
    together["is_subject"] = together["is_subject"].astype("boolean")
    return together[
        ["file", "is_subject", "choice", *(n for n in _WRITTEN if n != "is_subject")]
    ].reset_index(drop=True)
