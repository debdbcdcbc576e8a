"""``auditor card``: a pocket card of zones, to print and tape under a camera."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from auditor.cli import engraved, options, typed

if TYPE_CHECKING:
    from auditor.show.cards import Card


def card(
    focal_length: typed.FocalLength,
    f_stops: typed.FStops = "4,5.6,8,11,16",
    ring: typed.Ring = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="File to write, .pdf, .png or .txt.", show_default="text on the screen"),
    ] = None,
    pixels_wide: typed.PixelsWide = None,
    sensor: typed.SensorSize = "36x24",
    coc: options.Coc = "handbook",
    scale_coc: engraved.ScaleCoc = None,
    scale: engraved.Scale = None,
    ring_check: engraved.RingCheck = None,
    guide_number: Annotated[
        str | None, typer.Option("--guide-number", help="Guide number of a flash at ISO 100: 32m or 105ft.")
    ] = None,
    iso: Annotated[float, typer.Option("--iso", min=1, help="ISO that is set, for the flash.")] = 100.0,
    distance_from: typed.DistanceFrom = "sensor",
    units: typed.Units = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Make a pocket card: near and far limits for every engraving and f-number."""
    import numpy as np

    from auditor.optics.lens import sharp_zone
    from auditor.optics.scales import read_scale_for
    from auditor.show.cards import Card, card_json, card_text
    from auditor.text import json_text

    shown_in = typed.units_in_use(units, ring, guide_number)
    bench = typed.read_bench(focal_length, sensor, coc, distance_from, shown_in, pixels_wide)
    engravings = typed.read_ring(ring, bench)
    shift, made_for = (
        engraved.read_ring_checks(ring_check, bench),
        engraved.read_scale(scale_coc, scale, bench),
    )
    stops = np.asarray(typed.read_f_stops(f_stops))
    focus = np.asarray(engravings)[:, None]
    coc_mm = np.asarray(bench.coc_mm(stops, focus))
    made = Card(
        focal_length_mm=bench.focal_length_mm,
        f_numbers=stops,
        ring_m=np.asarray(engravings),
        zone=sharp_zone(
            bench.focal_length_mm, stops, focus, coc_mm, bench.distance_from, shift.shift_mm if shift else 0.0
        ),
        coc_mm=bench.tolerance_mm,
        coc_criterion=bench.criterion.name,
        distance_from=bench.distance_from,
        units=shown_in,
        read_scale_for=np.broadcast_to(
            read_scale_for(stops, np.broadcast_to(coc_mm, (len(focus), len(stops)))[0], made_for.coc_mm),
            stops.shape,
        ),
        scale_coc_mm=made_for.coc_mm,
        flash=engraved.read_flash(guide_number, iso, stops),
        shift_mm=shift.shift_mm if shift else 0.0,
    )
    if out is not None:
        write_card(made, out, force=force)
        typer.echo(f"Card written to {out}.", err=True)
    elif not json:
        typer.echo(card_text(made))
    if json:
        typer.echo(json_text(card_json(made)))


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
