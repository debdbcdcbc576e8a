"""``auditor card``: a pocket card of zones, to print and tape under a camera."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from auditor.cli import options
from auditor.cli.shared import reads_lens

if TYPE_CHECKING:
    from auditor.optics.bench import Bench
    from auditor.show.cards import Card


@reads_lens("guide_number")
def card(
    bench: Bench,
    *,
    f_stops: options.FStops = "4,5.6,8,11,16",
    guide_number: options.GuideNumber = None,
    iso: options.FlashIso = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", help="File to write, .pdf, .png or .txt.", show_default="text on the screen"),
    ] = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Make a pocket card: near and far limits for every engraving and f-number."""
    import numpy as np

    from auditor.cli import typed
    from auditor.optics.flash import flash_at
    from auditor.show.cards import card_json, card_text, make_card
    from auditor.text import json_text

    typed.check_flash(guide_number, iso)
    stops = np.asarray(typed.read_f_stops(f_stops))
    made = make_card(
        bench,
        stops,
        bench.ring_m,
        bench.coc_mm(stops, np.asarray(bench.ring_m)[:, None]),
        (bench.tolerance_mm, bench.criterion.name),
        flash_at(typed.read_guide_number_m(guide_number), iso or 100.0, stops) if guide_number else None,
    )
    if out is not None:
        write_card(made, out, force=force)
        typer.echo(f"Card written to {out}.", err=True)
    elif not json:
        typer.echo(card_text(made))
    if json:
        typer.echo(json_text(card_json(made)))


def write_card(made: Card, out: Path, *, force: bool = False) -> None:
    """Write a card in the format that the file's name asks for; a file that is there only with ``force``."""
    from auditor.errors import OutputError
    from auditor.show.cards import card_text
    from auditor.writing import write_file

    suffix = out.suffix.lower()
    if suffix == ".txt":
        content = f"{card_text(made)}\n".encode()
    elif suffix in (".pdf", ".png"):
        from auditor.show.card_drawing import card_bytes

        content = card_bytes(made, suffix)
    else:
        raise OutputError(f"{out} is no kind of card.", "Name a file ending in .pdf, .png or .txt.")
    write_file(out, content, force=force)
