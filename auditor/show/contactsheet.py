"""The contact sheet: small pictures with a ruled scale each, from which a person reads body shares."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from jinja2 import Environment, PackageLoader, StrictUndefined

from auditor.intake.photofile.previews import SmallPicture
from auditor.intake.sampling import SHEET_COLUMNS
from auditor.intake.tables import neutralised
from auditor.text import printable


@dataclass(frozen=True, slots=True)
class Picture:
    """One frame on the sheet.

    Attributes
    ----------
    file : str
        Its name in the frame table.
    small : SmallPicture or None
        None where none can be shown.
    suggestion : str
        Distance measured from the picture, in words; empty for none.
    """

    file: str
    small: SmallPicture | None
    suggestion: str = ""


def build_contact_sheet(pictures: Sequence[Picture], notes_name: str = "notes.csv") -> str:
    """Build the page.

    Parameters
    ----------
    pictures : sequence of Picture
        In the order to be shown; nothing of the page depends on their marks.
    notes_name : str
        The notes file that was written with the sheet.

    Returns
    -------
    str
        HTML that needs no other file and asks for none; it prints on A4 and Letter.
    """
    environment = Environment(
        loader=PackageLoader("auditor.show"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    environment.filters |= {"shown": printable, "cell": neutralised, "base64": _base64}
    script = environment.get_template("contact-sheet.js").render()
    return environment.get_template("contact-sheet.html").render(
        pictures=pictures,
        columns=SHEET_COLUMNS,
        notes_name=notes_name,
        script=script,
        script_hash=base64.b64encode(hashlib.sha256(script.encode()).digest()).decode(),
    )


def _base64(data: bytes) -> str:
    return base64.b64encode(data).decode()
