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
SHAPE_TOLERANCE = 0.03
THUMBNAIL_PX, THUMBNAIL_QUALITY = 160, 50
THUMBNAIL_WITHIN = 256 << 10  # where a camera puts it

_FORMATS = ("JPEG", "MPO", "TIFF", "PNG", "WEBP", "AVIF")
JPEG = frozenset((".jpg", ".jpeg", ".jpe", ".mpo"))
OPENED = JPEG | frozenset((".tif", ".tiff", ".png", ".webp", ".avif"))
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


def small_picture(
    path: str | os.PathLike[str], box_px: int = BOX_PX, quality: int = QUALITY
) -> SmallPicture | None:
    """Return a small picture of one photograph; None where nothing in the file can be shown.

    Parameters
    ----------
    path : str or os.PathLike
        The file; it is only read.
    box_px : int
        The longer side at most [px].
    quality : int
        Of the JPEG.
    """
    suffix = os.path.splitext(os.fspath(path))[1].lower()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow warns of what is odd in a file
        try:
            picture = _opened(path, box_px) if suffix in OPENED else _preview(path, box_px)
            return None if picture is None else as_jpeg(picture, quality)
        except (OpenError, MemoryError):
            return None
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


def _opened(path: str | os.PathLike[str], box_px: int) -> Image.Image | None:
    with opened(path) as (fd, _size), os.fdopen(fd, "rb", closefd=False) as file:
        picture = open_picture(file)
        largest = MAX_PIXELS if picture.format in ("JPEG", "MPO") else MAX_PIXELS_WHOLE
        if picture.width * picture.height > largest:
            return None
        picture.thumbnail((box_px, box_px), reducing_gap=2.0)
        return ImageOps.exif_transpose(picture)


def _preview(path: str | os.PathLike[str], box_px: int) -> Image.Image | None:
    """Take the smallest sufficient preview of a raw file, else its largest; None without one."""
    record = read_file(path)
    with opened(path) as (fd, size):
        if size > MAX_RAW_BYTES:
            return None
        with os.fdopen(fd, "rb", closefd=False) as file:
            data = file.read(MAX_RAW_BYTES)
    sound = [picture for picture in embedded_jpegs(data) if shows_whole(picture, record)]
    sound.sort(key=lambda picture: picture.width * picture.height)
    enough = [picture for picture in sound if min(picture.size) >= max(SMALLEST_PREVIEW_PX, 0.6 * box_px)]
    for picture in [*enough, *reversed(sound)]:
        try:
            picture.thumbnail((box_px, box_px), reducing_gap=2.0)
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


def thumbnail(path: str | os.PathLike[str]) -> SmallPicture | None:
    """Return a tiny picture of one photograph, the camera's own thumbnail where the file holds one.

    Its longer side has some 160 pixels. None where nothing in the file can be shown.
    """
    if os.path.splitext(os.fspath(path))[1].lower() in JPEG:
        try:
            with (
                warnings.catch_warnings(),
                opened(path) as (fd, _size),
                os.fdopen(fd, "rb", closefd=False) as file,
            ):
                warnings.simplefilter("ignore")
                head = file.read(THUMBNAIL_WITHIN)
                whole = open_picture(io.BytesIO(head))
                turn = TURNS.get(whole.getexif().get(0x0112, 1))
                for picture in embedded_jpegs(head[3:]):
                    alike = abs(picture.width / picture.height / (whole.width / whole.height) - 1)
                    if alike <= SHAPE_TOLERANCE and THUMBNAIL_PX <= max(picture.size) < max(whole.size):
                        picture.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX), reducing_gap=2.0)
                        return as_jpeg(
                            picture if turn is None else picture.transpose(turn), THUMBNAIL_QUALITY
                        )
        except (OpenError, OSError, ValueError, SyntaxError, MemoryError, Image.DecompressionBombError):
            pass
    return small_picture(path, THUMBNAIL_PX, THUMBNAIL_QUALITY)


def as_jpeg(picture: Image.Image, quality: int) -> SmallPicture:
    """Write a picture as a plain JPEG, without anything but its pixels."""
    if picture.mode.startswith("I"):  # 16 bits a channel
        picture = picture.point(lambda value: value / 256).convert("L")
    plain = Image.new("RGB", picture.size)
    plain.paste(picture.convert("RGB"))
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=quality, optimize=True)
    return SmallPicture(out.getvalue(), *plain.size)
