"""Links to single photographs, and small pictures of them."""

from __future__ import annotations

import base64
import io
import os
import warnings
from pathlib import Path
from urllib.parse import quote

from PIL import Image, ImageOps

from auditor.journey import Audit

PICTURE_PIXELS = 360  # the longer side


def link_to(audit: Audit, position: int, folder: Path | None) -> str | None:
    """Write the address of a frame's file, relative to the page's folder; None where it is not there."""
    path = os.path.abspath(audit.paths[position])
    if folder is None or not os.path.exists(path):
        return None
    try:
        relative = os.path.relpath(path, os.path.abspath(folder))
    except ValueError:  # on another drive
        return None
    return quote(os.fsencode(relative.replace(os.sep, "/")))


def small_picture(path: str | Path) -> str | None:
    """Read a photograph and return it small, upright and without metadata, as a data address.

    None where it cannot be read, as with raw files. The file is opened for reading alone.
    """
    try:
        with warnings.catch_warnings(), Image.open(path) as picture:
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # large sensors are no attack
            picture.draft("RGB", (2 * PICTURE_PIXELS, 2 * PICTURE_PIXELS))
            upright = ImageOps.exif_transpose(picture).convert("RGB")
            upright.thumbnail((PICTURE_PIXELS, PICTURE_PIXELS))
            pixels = Image.frombytes("RGB", upright.size, upright.tobytes())  # nothing but the pixels
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return None
    out = io.BytesIO()
    pixels.save(out, "JPEG", quality=72, optimize=True)
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode()
