"""The sheet: one page to say what was set, how sharp pictures are, and how far people stood."""

import json
from importlib.resources import files
from typing import Any

from auditor.show.report import hash_of, page_environment
from auditor.text import printable

# Joined in this order: each uses what stands before it.
SCRIPTS = ("optics", "state", "settings", "stage", "frames", "over", "start")


def build_sheet(data: dict[str, Any]) -> str:
    """Build the page of :func:`auditor.show.sheet_data.sheet_data`; it sends nothing anywhere."""
    script, style = "\n".join(_part(f"{name}.js") for name in SCRIPTS), _part("sheet.css")
    readable = [frame | {"name": printable(frame["name"])} for frame in data["frames"]]
    in_script = [{key: value for key, value in frame.items() if key != "small"} for frame in readable]
    return (
        page_environment()
        .get_template("sheet.html")
        .render(
            frames=readable,
            data=_in_page(data | {"frames": in_script}),
            script=script,
            style=style,
            script_hash=hash_of(script),
            style_hash=hash_of(style),
        )
    )


def _part(name: str) -> str:
    return (files("auditor.show") / "templates" / "sheet" / name).read_text(encoding="utf-8")


def _in_page(data: dict[str, Any]) -> str:
    """JSON that cannot end the element it stands in; bytes of names that are no text stand as codes."""
    return json.dumps(data, allow_nan=False).replace("<", "\\u003c").replace("&", "\\u0026")
