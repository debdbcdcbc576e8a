"""Options that several commands share, described once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

Sources = Annotated[
    list[Path],
    typer.Argument(help="Folders of photographs, or a frame table written by scan.", show_default=False),
]
Session = Annotated[
    Path | None, typer.Option("--session", help="Session file to use in place of every session.toml found.")
]
Notes = Annotated[
    Path | None, typer.Option("--notes", help="Frame notes to use in place of every notes.csv found.")
]
Keepers = Annotated[
    Path | None, typer.Option("--keepers", help="Folder of selects: a frame found there is a keeper.")
]
Unmarked = Annotated[
    str | None,
    typer.Option("--unmarked", help="What unmarked frames are: auto, not-kept, keeper or leave-out."),
]
Coc = Annotated[
    str,
    typer.Option(
        "--coc",
        help="Circle of confusion: handbook (the sensor's diagonal/1442), diagonal/K (any divisor), a value "
        "such as 0.025mm, the size of the result (print=60cm,1m: long side, seen from; web=2048: pixels "
        "shown; ,crop=50% behind either: the part of the long side that is kept), pixel (one pixel), or "
        "measured (from what you call sharp, or keep).",
    ),
]
Confidence = Annotated[float, typer.Option("--confidence", help="Level of every interval.")]
Units = Annotated[str, typer.Option("--units", help="Show distances in m or ft.")]
Cache = Annotated[
    str | None,
    typer.Option("--cache", help="Cache file to use, or off.", show_default="in the user's cache folder"),
]
Workers = Annotated[
    int | None, typer.Option("--workers", min=1, help="Processes that read files.", show_default="one a core")
]
Strict = Annotated[bool, typer.Option("--strict", help="Exit with 3 if anything was left out.")]
Full = Annotated[bool, typer.Option("--full", help="Print the tables too, not the answer alone.")]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON.")]
Force = Annotated[
    bool,
    typer.Option("--force", help="Replace results that are there; never photographs or what you filled in."),
]
IsoMax = Annotated[float | None, typer.Option("--iso-max", help="Highest ISO you accept.")]
WantedShutter = Annotated[
    str | None, typer.Option("--wanted-shutter", help="Exposure time you want, such as 1/500.")
]
SlowestShutter = Annotated[
    str | None, typer.Option("--slowest-shutter", help="Slowest exposure time you accept.")
]
LensName = Annotated[
    str | None,
    typer.Option(
        "--lens", help="A lens by its name, or its focal length: 28mm.", show_default="the most used one"
    ),
]
