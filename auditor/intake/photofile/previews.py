"""Small pictures of photographs, for a person to look at: upright, and without anything but pixels.

What Pillow opens is decoded at a reduced size. Of a raw file the camera's own preview is taken: a JPEG inside
the file whose shape is the photograph's. Files come from strangers: formats, sizes and reading are bounded.
"""

from __future__ import annotations

import io
import os
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO

from PIL import Image, ImageOps

from auditor.intake.photofile.metadata import read_file
from auditor.intake.photofile.opening import OpenError, opened
from auditor.intake.photofile.records import FileRecord

BOX_PX = 420  # the longer side: a face of 5 % of the height still has 14 pixels
QUALITY = 55
MAX_PIXELS = 120_000_000  # of a JPEG, which is decoded at an eighth; Pillow itself refuses 179 million
MAX_PIXELS_WHOLE = 64_000_000  # of other formats, which are decoded whole
MAX_RAW_BYTES = 128 << 20
MAX_PREVIEWS = 64
SMALLEST_PREVIEW_PX = 300
THUMBNAIL_PX = 220  # the longer side of a thumbnail
SMALLEST_THUMBNAIL_PX = 100  # the shorter side of one that the camera made: 160x120 by the standard
SHAPE_TOLERANCE = 0.03

_ORIENTATION = 0x0112
_FORMATS = ("JPEG", "MPO", "TIFF", "PNG", "WEBP", "AVIF")
OPENED = frozenset((".jpg", ".jpeg", ".jpe", ".mpo", ".tif", ".tiff", ".png", ".webp", ".avif"))
TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}


@dataclass(frozen=True, slots=True)
class SmallPicture:
    """A small upright picture: the bytes of a JPEG, and its size in pixels."""

    jpeg: bytes
    width: int
    height: int


def small_picture(path: str | os.PathLike[str]) -> SmallPicture | None:
    """Return a small picture of one photograph; None where nothing in the file can be shown.

    Parameters
    ----------
    path : str or os.PathLike
        The file; it is only read.
    """
    suffix = os.path.splitext(os.fspath(path))[1].lower()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow warns of what is odd in a file
        try:
            picture = _opened(path) if suffix in OPENED else _preview(path)
            return None if picture is None else _as_jpeg(picture)
        except (OpenError, MemoryError):
            return None
        except Exception:  # whatever a stranger's file does, the others are still shown
            return None


def thumbnail(path: str | os.PathLike[str]) -> bytes | None:
    """Return the JPEG of a thumbnail of one photograph; None where nothing in the file can be shown.

    The camera's own thumbnail is taken where it shows the whole picture (Exif 2.32, 4.5.8: the first IFD),
    else the picture is decoded small.

    Parameters
    ----------
    path : str or os.PathLike
        The file; it is only read.
    """
    suffix = os.path.splitext(os.fspath(path))[1].lower()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            picture = _opened(path, THUMBNAIL_PX, embedded=True) if suffix in OPENED else _preview(path)
            if picture is None:
                return None
            picture.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX))
            return _as_jpeg(picture).jpeg
        except Exception:  # whatever a stranger's file does, the others are still shown
            return None


def frame_files(path: str, file: str, files: str) -> list[str]:
    """List the full paths to try for one frame's picture: those easy to decode first.

    Parameters
    ----------
    path : str
        Full path of the file that speaks for the frame.
    file, files : str
        The frame's cells of that name.

    Returns
    -------
    list of str
        Files of the same folder and stem only: an export beside them may be cropped.
    """
    stem, stem_path = os.path.splitext(file)[0], os.path.splitext(path)[0]
    parts = [os.path.splitext(other) for other in files.split("|") if other != file]
    others = [stem_path + suffix for other, suffix in parts if other == stem and suffix.lower() != ".xmp"]
    return sorted([path, *others], key=lambda name: os.path.splitext(name)[1].lower() not in OPENED)


def open_picture(source: IO[bytes]) -> Image.Image:
    """Open a picture of a known format; nothing is decoded yet."""
    Image.init()
    known = [name for name in _FORMATS if name in Image.OPEN]
    return Image.open(source, formats=known)


def _opened(
    path: str | os.PathLike[str], box_px: int = BOX_PX, *, embedded: bool = False
) -> Image.Image | None:
    with opened(path) as (fd, _size), os.fdopen(fd, "rb", closefd=False) as file:
        picture = open_picture(file)
        if embedded and (own := _cameras_thumbnail(picture)) is not None:
            return own
        largest = MAX_PIXELS if picture.format in ("JPEG", "MPO") else MAX_PIXELS_WHOLE
        if picture.width * picture.height > largest:
            return None
        picture.thumbnail((box_px, box_px), reducing_gap=2.0)
        return ImageOps.exif_transpose(picture)


def _cameras_thumbnail(picture: Image.Image) -> Image.Image | None:
    """Take the thumbnail in a picture's Exif, upright, where it shows the whole and is large enough."""
    exif = picture.info.get("exif")
    if not isinstance(exif, bytes):
        return None
    shape = picture.width / picture.height
    for own in embedded_jpegs(exif):
        if (
            min(own.size) >= SMALLEST_THUMBNAIL_PX
            and abs(own.width / own.height / shape - 1) <= SHAPE_TOLERANCE
        ):
            turn = TURNS.get(picture.getexif().get(_ORIENTATION, 1))
            return own.transpose(turn) if turn is not None else own.copy()
    return None


def _preview(path: str | os.PathLike[str]) -> Image.Image | None:
    """Take the smallest sufficient preview of a raw file, else its largest; None without one."""
    record = read_file(path)
    with opened(path) as (fd, size):
        if size > MAX_RAW_BYTES:
            return None
        with os.fdopen(fd, "rb", closefd=False) as file:
            data = file.read(MAX_RAW_BYTES)
    sound = [picture for picture in embedded_jpegs(data) if shows_whole(picture, record)]
    sound.sort(key=lambda picture: picture.width * picture.height)
    enough = [picture for picture in sound if min(picture.size) >= SMALLEST_PREVIEW_PX]
    for picture in [*enough, *reversed(sound)]:
        try:
            picture.thumbnail((BOX_PX, BOX_PX), reducing_gap=2.0)
        except (OSError, ValueError, SyntaxError):
            continue
        turn = TURNS.get(record.orientation)
        return picture.transpose(turn) if turn is not None else picture
    return None


def embedded_jpegs(data: bytes) -> Iterator[Image.Image]:
    """Find the JPEGs within a file, wherever its format keeps them; the raw data itself may look like one."""
    at = -1
    for _ in range(MAX_PREVIEWS):
        at = data.find(b"\xff\xd8\xff", at + 1)
        if at < 0:
            return
        try:
            picture = open_picture(io.BytesIO(data[at:]))
        except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
            continue
        if picture.width * picture.height <= MAX_PIXELS:
            yield picture


def shows_whole(picture: Image.Image, record: FileRecord) -> bool:
    """Whether a preview has the photograph's shape: many are bars and all, or cut to another shape."""
    if not record.stored_width_px or not record.stored_height_px:
        return True
    stored = record.stored_width_px / record.stored_height_px
    return abs(picture.width / picture.height / stored - 1) <= SHAPE_TOLERANCE


def _as_jpeg(picture: Image.Image) -> SmallPicture:
    if picture.mode.startswith("I"):  # 16 bits a channel
        picture = picture.point(lambda value: value / 256).convert("L")
    plain = Image.new("RGB", picture.size)
    plain.paste(picture.convert("RGB"))
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=QUALITY, optimize=True)
    return SmallPicture(out.getvalue(), *plain.size)
