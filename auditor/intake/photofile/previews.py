"""Small pictures of photographs, for a person to look at: upright, and without anything but pixels.

What Pillow opens is decoded at a reduced size. Of a raw file the camera's own preview is taken: a JPEG inside
the file whose shape is the photograph's. Files come from strangers: formats, sizes and reading are bounded.
"""

import io
import os
import warnings
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import IO, Any, cast

from PIL import Image, ImageOps

from auditor.intake.photofile.metadata import read_file
from auditor.intake.photofile.opening import OpenError, opened
from auditor.intake.photofile.records import FileRecord

BOX_PX = 420  # the longer side: a face of 5 % of the height still has 14 pixels
QUALITY = 55
MAX_PIXELS = 120_000_000  # of a JPEG, which is decoded at an eighth; Pillow itself refuses 179 million
MAX_PIXELS_WHOLE = 64_000_000  # of other formats, which are decoded whole
MAX_RAW_BYTES = 128 << 20
MAX_FILE_BYTES = 512 << 20  # of what Pillow may read whole
MAX_READS = 20_000  # before a picture's size is known: Pillow looks for markers byte by byte
MAX_READS_DECODING = 400_000
MAX_SCANNED_PIXELS = 10_000_000_000  # pixels times scans of a progressive JPEG: about a second
MAX_PREVIEWS = 64
SMALLEST_PREVIEW_PX = 300
SHAPE_TOLERANCE = 0.03
THUMBNAIL_PX, THUMBNAIL_QUALITY = 160, 50
THUMBNAIL_WITHIN = 256 << 10  # where a camera puts it

_FORMATS = ("JPEG", "MPO", "TIFF", "PNG", "WEBP", "AVIF")
JPEG = frozenset((".jpg", ".jpeg", ".jpe", ".mpo"))
OPENED = JPEG | frozenset((".tif", ".tiff", ".png", ".webp", ".avif"))


@dataclass(frozen=True, slots=True)
class SmallPicture:
    """A small upright picture: the bytes of a JPEG, and its size in pixels."""

    jpeg: bytes
    width: int
    height: int


def small_picture(
    path: str | os.PathLike[str], box_px: int = BOX_PX, quality: int = QUALITY
) -> SmallPicture | None:
    """Return a small picture of one photograph; None where nothing in the file can be shown."""
    suffix = os.path.splitext(os.fspath(path))[1].lower()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow warns of what is odd in a file
        try:
            picture = _opened(path, box_px) if suffix in OPENED else _preview(path, box_px)
            return None if picture is None else as_jpeg(picture, quality)
        except Exception:  # whatever a stranger's file does, the others are still shown
            return None


def frame_files(path: str, file: str, files: str) -> list[str]:
    """List the full paths to try for one frame's picture: those easy to decode first.

    Only files of the same folder and stem: an export beside them may be cropped.
    """
    stem, stem_path = os.path.splitext(file)[0], os.path.splitext(path)[0]
    parts = [os.path.splitext(other) for other in files.split("|") if other != file]
    others = [stem_path + suffix for other, suffix in parts if other == stem and suffix.lower() != ".xmp"]
    return sorted([path, *others], key=lambda name: os.path.splitext(name)[1].lower() not in OPENED)


def open_picture(source: IO[bytes]) -> Image.Image:
    """Open a picture of a known format, with bounds on all that it may ask for; OSError if it is none."""
    Image.init()
    known = [name for name in _FORMATS if name in Image.OPEN]
    bounded = _Bounded(source)
    picture = Image.open(cast(IO[bytes], bounded), formats=known)
    if picture.info.get("progressive"):
        _refuse_endless(picture, source)
    bounded.reads_left = MAX_READS_DECODING
    return picture


class _Bounded:
    """A file that answers only so many reads, and none of more than so many bytes."""

    def __init__(self, source: IO[bytes]) -> None:
        self._source = source
        self.reads_left = MAX_READS

    def read(self, count: int = -1) -> bytes:
        self.reads_left -= 1
        if self.reads_left < 0:
            raise OSError("the file asks for too much reading")
        if 0 <= count <= MAX_FILE_BYTES:
            return self._source.read(count)
        data = self._source.read(MAX_FILE_BYTES + 1)
        if len(data) > MAX_FILE_BYTES:
            raise OSError("the file is too large")
        return data

    def __getattr__(self, name: str) -> Any:
        return getattr(self._source, name)


def _refuse_endless(picture: Image.Image, source: IO[bytes]) -> None:
    """Refuse a progressive JPEG that is large in memory, or has thousands of scans in a few bytes."""
    at, scans, pixels = source.tell(), 0, picture.width * picture.height
    while pixels <= MAX_PIXELS_WHOLE and (piece := source.read(1 << 20)):
        scans += piece.count(b"\xff\xda")
        if scans * pixels > MAX_SCANNED_PIXELS:
            break
    source.seek(at)
    if pixels > MAX_PIXELS_WHOLE or scans * pixels > MAX_SCANNED_PIXELS:
        raise OSError("the picture would take too long")


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
    sound = previews_within(path, record)
    enough = [picture for picture in sound if min(picture.size) >= max(SMALLEST_PREVIEW_PX, 0.6 * box_px)]
    for picture in [*enough, *reversed(sound)]:
        with suppress(Exception):  # the next may be sound
            picture.thumbnail((box_px, box_px), reducing_gap=2.0)
            return turned(picture, record.orientation)
    return None


def previews_within(path: str | os.PathLike[str], record: FileRecord) -> list[Image.Image]:
    """Find the JPEGs within a raw file that have the photograph's shape, the smallest first; or OpenError."""
    with opened(path) as (fd, size), os.fdopen(fd, "rb", closefd=False) as file:
        if size > MAX_RAW_BYTES:
            raise OpenError("the raw file is too large")
        data = file.read(MAX_RAW_BYTES)
    sound = [picture for picture in embedded_jpegs(data) if shows_whole(picture, record)]
    return sorted(sound, key=lambda picture: picture.width * picture.height)


def turned(picture: Image.Image, orientation: int) -> Image.Image:
    """Set a picture upright, by the orientation of the file that it lies in."""
    picture.info.clear()  # whatever it says of itself
    picture.getexif()[0x0112] = orientation
    ImageOps.exif_transpose(picture, in_place=True)
    return picture


def embedded_jpegs(data: bytes) -> Iterator[Image.Image]:
    """Find the JPEGs within a file, wherever its format keeps them; the raw data itself may look like one."""
    at = -1
    for _ in range(MAX_PREVIEWS):
        at = data.find(b"\xff\xd8\xff", at + 1)
        if at < 0:
            return
        picture = None
        with suppress(Exception):  # raw data that only looked like a picture
            picture = open_picture(io.BytesIO(data[at:]))
        if picture is not None and picture.width * picture.height <= MAX_PIXELS:
            yield picture


def shows_whole(picture: Image.Image, record: FileRecord) -> bool:
    """Whether a preview has the photograph's shape: many are bars and all, or cut to another shape."""
    if not record.stored_width_px or not record.stored_height_px:
        return True
    stored = record.stored_width_px / record.stored_height_px
    return abs(picture.width / picture.height / stored - 1) <= SHAPE_TOLERANCE


def thumbnail(path: str | os.PathLike[str]) -> SmallPicture | None:
    """Return a picture of 160 pixels or less, the camera's own where there is one; None without any."""
    if os.path.splitext(os.fspath(path))[1].lower() in JPEG:
        with suppress(Exception), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            if own := _own_thumbnail(path):
                return own
    return small_picture(path, THUMBNAIL_PX, THUMBNAIL_QUALITY)


def _own_thumbnail(path: str | os.PathLike[str]) -> SmallPicture | None:
    """Take the camera's thumbnail of a JPEG, where it shows the whole."""
    with opened(path) as (fd, _size), os.fdopen(fd, "rb", closefd=False) as file:
        head = file.read(THUMBNAIL_WITHIN)
    whole = open_picture(io.BytesIO(head))
    orientation = whole.getexif().get(0x0112, 1)
    for picture in embedded_jpegs(head[3:]):
        alike = abs(picture.width / picture.height / (whole.width / whole.height) - 1)
        if alike <= SHAPE_TOLERANCE and THUMBNAIL_PX <= max(picture.size) < max(whole.size):
            picture.thumbnail((THUMBNAIL_PX, THUMBNAIL_PX), reducing_gap=2.0)
            return as_jpeg(turned(picture, orientation), THUMBNAIL_QUALITY)
    return None


def as_rgb(picture: Image.Image) -> Image.Image:
    """Make a picture one of three channels of 8 bits."""
    if picture.mode.startswith("I"):  # 16 bits a channel
        picture = picture.point(lambda value: value / 256).convert("L")
    return picture.convert("RGB")


def as_jpeg(picture: Image.Image, quality: int) -> SmallPicture:
    """Write a picture as a plain JPEG, without anything but its pixels."""
    plain = Image.new("RGB", picture.size)
    plain.paste(as_rgb(picture))
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=quality, optimize=True)
    return SmallPicture(out.getvalue(), *plain.size)
