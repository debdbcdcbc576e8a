"""Links to single photographs, and small pictures of them."""

from __future__ import annotations

import base64
import os
from pathlib import Path
from urllib.parse import quote

from auditor.intake.photofile import previews
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

    None where nothing of it can be shown. The file is opened for reading alone.
    """
    small = previews.small_picture(path, PICTURE_PIXELS)
    return None if small is None else "data:image/jpeg;base64," + base64.b64encode(small.jpeg).decode()
