"""Options that several commands share, described once."""

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
TableOut = Annotated[
    Path | None,
    typer.Option("--out", help="File to write, .csv, .json or .parquet.", show_default="CSV on the screen"),
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

# Of the commands with typed settings.
FocalLength = Annotated[
    str, typer.Option("--focal-length", help="Focal length of the lens, such as 28mm.", show_default=False)
]
FocalLengths = Annotated[
    list[str],
    typer.Option(
        "--focal-length",
        help="Focal length of the lens, such as 28mm. May be repeated, a card for each.",
        show_default=False,
    ),
]
SensorSize = Annotated[
    str,
    typer.Option(
        "--sensor", help="Sensor: 36x24 (mm), a crop factor such as 1.5x, or a size such as 1 inch."
    ),
]
DistanceFrom = Annotated[
    str, typer.Option("--distance-from", help="What distances count from: sensor (as engraved) or lens.")
]
UnitsTyped = Annotated[
    str | None, typer.Option("--units", help="Show distances in m or ft.", show_default="as you type them")
]
PixelsWide = Annotated[
    int | None, typer.Option("--pixels-wide", min=1, help="Pixels along the long side; --coc pixel needs it.")
]
Ring = Annotated[
    str | None,
    typer.Option(
        "--ring", help="Engravings of the ring, such as 0.7m,1m,2m,inf.", show_default="the usual ones"
    ),
]
ScaleCoc = Annotated[
    str | None,
    typer.Option(
        "--scale-coc",
        help="Circle of confusion that the engraved depth-of-field scale was made for.",
        show_default="0.030mm, assumed",
    ),
]
Scale = Annotated[
    list[str] | None,
    typer.Option(
        "--scale",
        help="A reading off that scale: f-number, ring, near and far mark, such as 'f/8 8ft 3.5ft inf'. "
        "May be repeated.",
    ),
]
RingCheck = Annotated[
    list[str] | None,
    typer.Option(
        "--ring-check",
        help="Where a mark of the ring focuses by tape, such as 2m=2.2m or 10m=inf. May be repeated.",
    ),
]
FStops = Annotated[
    str | None,
    typer.Option(
        "--f-stops",
        help="f-numbers of the lens: full, half or third stops, or a list such as 2.8,4,5.6,8,11,16.",
    ),
]
Crossing = Annotated[
    float | None,
    typer.Option(
        "--crossing",
        min=0,
        max=180,
        help="Direction of the subject in degrees: 90 straight across, 0 towards you.",
        show_default="unknown",
    ),
]
GuideNumber = Annotated[
    str | None, typer.Option("--guide-number", help="Guide number of a flash at ISO 100: 32m or 105ft.")
]
FlashIso = Annotated[
    float | None, typer.Option("--iso", min=1, help="ISO that is set, for the flash.", show_default="100")
]
Speed = Annotated[
    str | None,
    typer.Option(
        "--speed", help="Speed of the subject: 1.3m/s, 5km/h, walking, jogging, running or cycling."
    ),
]
