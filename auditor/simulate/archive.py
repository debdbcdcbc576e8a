"""Writes an invented archive to disk: JPEG files with Exif, and what a photographer keeps beside them."""

from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from auditor.errors import OutputError
from auditor.simulate.pictures import SIZE_PX, View, draw_palm, draw_picture
from auditor.simulate.plan import outing_of
from auditor.simulate.statements import SELECTS, notes_text, session_text, stem, truth_text
from auditor.simulate.truth import LensTruth, Outing, Truth
from auditor.simulate.walk import walk, with_rates
from auditor.writing import make_folder, write_file

SELECT_PX = (SIZE_PX[0] // 3, SIZE_PX[1] // 3)
_STARS = ((1, 2, 3), (0.5, 0.35, 0.15))
MARKED_S = 20.0  # from the palm over the lens to the first press with the new preset
_REJECTED, _RATED_ZERO = 0.05, 0.10  # shares of the frames that were looked at and not kept
_QUALITY = 25
_EXIF_IFD = 0x8769
_HEAD = b'<?xpacket begin="\xef\xbb\xbf" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'  # fixed by ISO 16684-1
_RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
_XMP = "http://ns.adobe.com/xap/1.0/"


def open_new_folder(out: Path) -> None:
    """Make the folder, or take an empty one; raises OutputError if something is in it."""
    make_folder(out)
    try:
        taken = any(out.iterdir())
    except OSError as error:
        raise OutputError(f"{out} cannot be used: {error.strerror}.", "Name another folder.") from None
    if taken:
        raise OutputError(
            f"{out} is not empty, and nothing is ever written over.", "Name a new folder, or an empty one."
        )


def simulate_archive(out: Path, seed: int, frames: int, truth: Truth | None = None) -> Truth:
    """Write an invented archive into a new or empty folder; the same seed and frames give the same bytes."""
    walking, choosing = np.random.default_rng(seed).spawn(2)
    presses = walk(truth or Truth(), frames, walking)
    truth = with_rates(truth or Truth(), presses)
    presses["rating"] = _ratings(presses, choosing)
    open_new_folder(out)
    for session, own in presses.groupby("session", sort=True):
        outing = outing_of(truth, int(session))
        folder = out / folder_name(outing, own)
        make_folder(folder)
        _write_session(folder, outing, truth, own, seed)
    write_truth(out, truth, seed, frames)
    return truth


def write_truth(out: Path, truth: Truth, seed: int, frames: int) -> None:
    """Write the truth beside an archive."""
    write_file(out / "truth.toml", truth_text(truth, seed, frames))


def folder_name(outing: Outing, presses: pd.DataFrame) -> str:
    """Name of a session's folder: its day and the kind of walk."""
    return f"{presses['captured_at'].iloc[0]:%Y-%m-%d}-{outing.name}"


def _ratings(presses: pd.DataFrame, rng: np.random.Generator) -> np.ndarray:
    """Ratings as photographers give them, shape (n,): NaN where nothing was written."""
    stars, shares = _STARS
    chosen = rng.choice(stars, len(presses), p=shares)
    mood = rng.random(len(presses))
    passed = np.select([mood < _REJECTED, mood < _REJECTED + _RATED_ZERO], [-1.0, 0.0], np.nan)
    return np.where(presses["looked_at"], np.where(presses["kept"], chosen, passed), np.nan)


def _write_session(folder: Path, outing: Outing, truth: Truth, presses: pd.DataFrame, seed: int) -> None:
    kept = 0
    if outing.marks == "selects":
        make_folder(folder / SELECTS)
    for press in presses.itertuples():
        name = stem(outing, press.number)
        if press.marked:
            _write_marker(folder, outing, press, seed)
        view = View(*(getattr(press, value) for value in View.__slots__))
        # The frames of a burst are drawn from one seed: they show one place and one person.
        picture = draw_picture(view, np.random.default_rng([seed, press.burst]))
        exif = exif_block(press, outing, truth.presets[press.preset].lens)
        rating = None if np.isnan(press.rating) else int(press.rating)
        embedded = rating if outing.marks == "embedded" else None
        write_file(folder / f"{name}.jpg", jpeg_bytes(picture, exif, embedded))
        if outing.marks == "sidecar" and rating is not None:
            _write_sidecar(folder, name, rating, press.number)
        if outing.marks == "selects" and press.kept and press.looked_at:
            kept += 1
            small = picture.resize(SELECT_PX, Image.Resampling.BOX)
            write_file(folder / SELECTS / select_name(name, kept), jpeg_bytes(small, exif))
    if not all(truth.presets[i].lens.reports for i in presses["preset"].unique()):
        write_file(folder / "session.toml", session_text(outing, truth, presses))
    write_file(folder / "notes.csv", notes_text(outing, presses, truth))


def _write_marker(folder: Path, outing: Outing, press: Any, seed: int) -> None:
    """Write the dark frame before a change: the palm over the lens, by a camera that still exposes."""
    before = press._replace(captured_at=press.captured_at - pd.Timedelta(seconds=MARKED_S))
    picture = draw_palm(np.random.default_rng([seed, press.number]))
    name = f"{stem(outing, press.number - 1)}.jpg"
    write_file(folder / name, jpeg_bytes(picture, exif_block(before, outing, None)))


def _write_sidecar(folder: Path, name: str, rating: int, number: int) -> None:
    """Write both usual names and both forms of a sidecar, in turn."""
    ending = ".jpg.xmp" if number % 3 == 0 else ".xmp"
    write_file(folder / f"{name}{ending}", rating_xmp(rating, as_element=number % 2 == 0))


def select_name(name: str, kept: int) -> str:
    """Name of a select: most keep the frame's, some carry more, some are renamed altogether.

    >>> [select_name("WALK0203", kept) for kept in (1, 4, 5)]
    ['WALK0203.jpg', 'WALK0203-small.jpg', 'market-05.jpg']
    """
    if kept % 5 == 0:
        return f"market-{kept:02d}.jpg"
    return f"{name}-small.jpg" if kept % 4 == 0 else f"{name}.jpg"


def exif_block(press: Any, outing: Outing, lens: LensTruth | None) -> Image.Exif:
    """Build the Exif block of a frame (tag numbers: Exif 2.32); the lens's tags only where it reports."""
    exif = Image.Exif()
    exif[0x0110] = outing.camera
    tags = exif.get_ifd(_EXIF_IFD)
    tags[0x829A] = IFDRational(1, round(1 / press.exposure_time_s))
    tags[0x8827] = round(press.iso)
    tags[0x9000] = b"0232"
    tags[0x9003] = f"{press.captured_at:%Y:%m:%d %H:%M:%S}"
    if outing.subseconds:
        tags[0x9291] = f"{press.captured_at.microsecond // 10_000:02d}"
    if lens is not None and lens.reports:
        tags[0x829D] = IFDRational(round(press.f_number * 10), 10)
        tags[0x9206] = IFDRational(round(press.focus_m * 100), 100)
        tags[0x920A] = IFDRational(round(lens.focal_length_mm), 1)
        tags[0xA405] = round(lens.focal_length_mm)
        tags[0xA434] = lens.name
    return exif


def jpeg_bytes(picture: Image.Image, exif: Image.Exif, rating: int | None = None) -> bytes:
    """Encode a picture; the rating, if any, in an embedded XMP packet."""
    buffer = BytesIO()
    packet = {} if rating is None else {"xmp": _HEAD + rating_xmp(rating) + b'<?xpacket end="w"?>'}
    picture.save(
        buffer, "JPEG", quality=_QUALITY, subsampling=2, optimize=True, exif=exif.tobytes(), **packet
    )
    return buffer.getvalue()


def rating_xmp(rating: int, *, as_element: bool = False) -> bytes:
    """Return an XMP document that holds a rating, as attribute or as element (ISO 16684-1, 7.4 and 7.9)."""
    attribute = "" if as_element else f' xmp:Rating="{rating}"'
    element = f">\n  <xmp:Rating>{rating}</xmp:Rating>\n </rdf:Description>" if as_element else "/>"
    return (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/">\n'
        f'<rdf:RDF xmlns:rdf="{_RDF}">\n'
        f' <rdf:Description rdf:about="" xmlns:xmp="{_XMP}"{attribute}{element}\n'
        "</rdf:RDF>\n</x:xmpmeta>\n"
    ).encode()
