"""The frames most worth a look: those that went against what their sharp zone says."""

from __future__ import annotations

import base64
import io
import os
import warnings
from pathlib import Path
from urllib.parse import quote

import numpy as np
import pandas as pd
from PIL import Image, ImageOps

from auditor.audit import Audit
from auditor.evidence.bursts import is_keeper
from auditor.frames import LEFT_OUT

OF_EACH_KIND = 4
IN_ALL = 10
PICTURE_PIXELS = 360  # the longer side


def telling_frames(table: pd.DataFrame) -> pd.DataFrame:
    """Choose up to ten frames, at most one of each burst.

    Parameters
    ----------
    table : pandas.DataFrame
        The frame table, fresh index.

    Returns
    -------
    pandas.DataFrame
        Rows of the table with their position as index and ``why``: ``kept outside`` (kept though outside
        the sharp zone, most out of focus first), ``not kept inside`` (least blur first), ``kept in motion``
        (kept though the subject moved more than the circle of confusion).
    """
    counts = (table["counted_as"].notna() & (table["counted_as"] != LEFT_OUT)).to_numpy()
    kept = is_keeper(table)
    inside = table["in_zone"].fillna(False).to_numpy(bool)
    outside = ~table["in_zone"].fillna(True).to_numpy(bool)
    moved = table["motion_mm"].to_numpy() > table["coc_mm"].to_numpy()
    kinds = (
        ("kept outside", counts & kept & outside, -table["defocus_mm"].to_numpy()),
        ("not kept inside", counts & ~kept & inside, table["blur_mm"].to_numpy()),
        ("kept in motion", counts & kept & moved, -table["motion_mm"].to_numpy()),
    )
    chosen = []
    for why, wanted, order in kinds:
        rows = np.flatnonzero(wanted)
        ranked = table.iloc[rows[np.argsort(order[rows], kind="stable")]].assign(why=why)
        chosen.append(ranked.drop_duplicates("burst").head(OF_EACH_KIND))
    found = pd.concat(chosen)
    return found[~found.index.duplicated() & ~found["burst"].duplicated()].head(IN_ALL)


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
