"""``auditor card``: a pocket card of zones, to print and tape under a camera."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from auditor.cli import options, typed
from auditor.errors import UnitError

if TYPE_CHECKING:
    from auditor.show.cards import Card

METRE_RING = "0.7m,1m,1.2m,1.5m,2m,2.5m,3m,4m,5m,10m,inf"
FOOT_RING = "2.5ft,3ft,4ft,5ft,6ft,7ft,8ft,10ft,15ft,30ft,inf"


def card(
    focal_length: typed.FocalLength,
    f_stops: typed.FStops = "4,5.6,8,11,16",
    ring: Annotated[
        str | None,
        typer.Option(
            "--ring", help="Engravings of the ring, such as 0.7m,1m,2m,inf.", show_default="the usual ones"
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="File to write, .pdf, .png or .txt.", show_default="text on the screen"),
    ] = None,
    pixels_wide: typed.PixelsWide = None,
    sensor: typed.SensorSize = "36x24",
    coc: options.Coc = "handbook",
    distance_from: typed.DistanceFrom = "sensor",
    units: options.Units = "m",
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Make a pocket card: near and far limits for every engraving and f-number."""
    import numpy as np

    from auditor.optics.lens import sharp_zone
    from auditor.show.cards import Card, card_json, card_text
    from auditor.text import json_text

    bench = typed.read_bench(focal_length, sensor, coc, distance_from, units, pixels_wide)
    engravings = read_ring(ring or (METRE_RING if units == "m" else FOOT_RING), bench, typed_ring=bool(ring))
    stops = np.asarray(typed.read_f_stops(f_stops))
    focus = np.asarray(engravings)[:, None]
    coc_mm = np.asarray(bench.coc_mm(stops, focus))
    made = Card(
        focal_length_mm=bench.focal_length_mm,
        f_numbers=stops,
        ring_m=np.asarray(engravings),
        zone=sharp_zone(bench.focal_length_mm, stops, focus, coc_mm, bench.distance_from),
        coc_mm=bench.tolerance_mm,
        coc_criterion=bench.criterion.name,
        distance_from=bench.distance_from,
        units=units,
    )
    if out is not None:
        write_card(made, out, force=force)
        typer.echo(f"Card written to {out}.", err=True)
    elif not json:
        typer.echo(card_text(made))
    if json:
        typer.echo(json_text(card_json(made)))


def read_ring(text: str, bench: typed.Bench, *, typed_ring: bool) -> list[float]:
    """Read the ring's engravings [m], in ascending order; usual ones out of the lens's reach are dropped.

    Raises
    ------
    UnitError, SettingError
        If a typed one cannot be read or focused, or there is none.
    """
    from auditor.units import parse_distance_m, split_quantities

    parts = split_quantities(text)
    if not parts:
        raise UnitError(f"--ring {text!r} holds no engraving.", "Write them like 0.7m,1m,2m,inf.")
    if typed_ring:
        return sorted({bench.distance(part, "--ring") for part in parts})
    reach_m = 8 * bench.focal_length_mm / 1000  # few lenses focus nearer than eight focal lengths
    return sorted({metres for part in parts if (metres := parse_distance_m(part)) >= reach_m})


def write_card(made: Card, out: Path, *, force: bool = False) -> None:
    """Write a card in the format that the file's name asks for; a file that is there only with ``force``.

    Raises
    ------
    OutputError
        If the format is unknown or the file cannot be written.
    """
    from auditor.errors import OutputError
    from auditor.writing import write_file

    suffix = out.suffix.lower()
    if suffix == ".txt":
        from auditor.show.cards import card_text

        content = f"{card_text(made)}\n".encode()
    elif suffix in (".pdf", ".png"):
        from auditor.show.card_drawing import card_bytes

        content = card_bytes(made, suffix)
    else:
        raise OutputError(f"{out} is no kind of card.", "Name a file ending in .pdf, .png or .txt.")
    write_file(out, content, force=force)
