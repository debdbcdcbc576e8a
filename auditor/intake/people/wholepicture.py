"""A photograph's picture in its full resolution, upright; of a raw file the largest preview within it."""

import os
import warnings
from contextlib import suppress
from dataclasses import dataclass

from PIL import Image, ImageFile, ImageOps

from auditor.intake.photofile.metadata import read_file
from auditor.intake.photofile.opening import OpenError, opened
from auditor.intake.photofile.previews import OPENED, as_rgb, open_picture, previews_within, turned
from auditor.intake.photofile.records import FileRecord

MAX_PIXELS = 64_000_000  # decoded whole; a larger JPEG is decoded at a half or less
SAME_SIZE = 0.02  # cameras trim a few rows
DIGITAL_ZOOM = 1.01
MOST_MISSING = 0.1  # of the rows of a JPEG whose last bytes are gone


@dataclass(frozen=True, slots=True)
class WholePicture:
    """A decoded picture."""

    picture: Image.Image  # RGB, upright
    preview: bool  # whether it is a raw file's preview
    resized: bool  # whether the file says that it was cut or resized, or zoomed in by the camera's arithmetic
    cut_short: bool = False  # whether the file lacks its last bytes, so that the lowest rows are made up


def open_whole(paths: list[str]) -> WholePicture | str:
    """Decode the first of a frame's files that can be; else say why not."""
    why = "no file of it can be shown"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow warns of what is odd in a file
        for path, forgiving in [*((path, False) for path in paths), *((path, True) for path in paths)]:
            try:
                found = _open(path, forgiving=forgiving)
            except OpenError as error:
                why = str(error)
            except MemoryError:
                why = "the picture is too large for this machine's memory"
            except Exception as error:  # whatever a stranger's file does, the run goes on
                why = f"the picture cannot be decoded ({type(error).__name__})"
            else:
                if found is not None:
                    return found
    return why


def _open(path: str, *, forgiving: bool) -> WholePicture | None:
    """Open one file; ``forgiving`` takes a JPEG that lacks its last bytes."""
    record = read_file(path)
    if os.path.splitext(path)[1].lower() not in OPENED:
        preview = None if forgiving else _largest_preview(path, record)
        return None if preview is None else WholePicture(preview, True, record.digital_zoom > DIGITAL_ZOOM)
    with opened(path) as (fd, _size), os.fdopen(fd, "rb", closefd=False) as file:
        picture = open_picture(file)
        if forgiving and picture.format not in ("JPEG", "MPO"):
            return None
        resized = was_resized(record, picture.width, picture.height)
        decoded = _decoded_in_part(picture) if forgiving else _decoded(picture)
        ImageOps.exif_transpose(decoded, in_place=True)  # copies nothing where it lies upright
        return WholePicture(decoded, False, resized, forgiving)


def _decoded(picture: Image.Image) -> Image.Image:
    """Decode as RGB within the bound on pixels."""
    by = 1
    while picture.width * picture.height / by**2 > MAX_PIXELS:
        by *= 2
    if by > 1:
        picture.draft("RGB", (picture.width // by, picture.height // by))
        if picture.width * picture.height > MAX_PIXELS:
            raise MemoryError
    if picture.mode == "RGB":
        picture.load()
        return picture
    return as_rgb(picture)


def _decoded_in_part(picture: Image.Image) -> Image.Image:
    """Decode a JPEG whose end is missing, where the missing part is small."""
    before = ImageFile.LOAD_TRUNCATED_IMAGES
    ImageFile.LOAD_TRUNCATED_IMAGES = True
    try:
        decoded = _decoded(picture)
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = before
    at = round(decoded.height * (1 - MOST_MISSING))
    tones = decoded.crop((0, at, decoded.width, min(at + 8, decoded.height))).convert("L").getextrema()
    if tones[0] == tones[1]:  # what is missing is filled with one tone
        raise OpenError("the file ends too early")
    return decoded


def _largest_preview(path: str, record: FileRecord) -> Image.Image:
    for picture in reversed(previews_within(path, record)):
        with suppress(OSError, ValueError, SyntaxError, MemoryError):  # raw data that only looked like one
            return turned(_decoded(picture), record.orientation)
    raise OpenError("no preview in the raw file")


def was_resized(record: FileRecord, width: int, height: int) -> bool:
    """Whether Exif records another size than the picture has, or a digital zoom.

    >>> camera = FileRecord(exif_width_px=6000, exif_height_px=4000)
    >>> was_resized(camera, 6000, 4000), was_resized(camera, 4000, 6000), was_resized(camera, 3000, 2000)
    (False, False, True)
    """
    if record.digital_zoom > DIGITAL_ZOOM:
        return True
    recorded = sorted((record.exif_width_px, record.exif_height_px))
    if not recorded[0]:
        return False
    return any(abs(a / b - 1) > SAME_SIZE for a, b in zip(sorted((width, height)), recorded, strict=True))
