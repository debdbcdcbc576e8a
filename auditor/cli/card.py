"""``auditor card``: cards of zones, to print and keep beside the camera."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from auditor.cli import options
from auditor.cli.shared import reads_lens

if TYPE_CHECKING:
    from auditor.optics.bench import Bench


@reads_lens("guide_number", several=True)
def card(
    benches: list[Bench],
    *,
    f_stops: options.FStops = "4,5.6,8,11,16",
    guide_number: options.GuideNumber = None,
    iso: options.FlashIso = None,
    paper: Annotated[
        Literal["wallet", "a4", "letter"],
        typer.Option("--paper", help="Paper of a .pdf or .png: a wallet card a page, or sheets."),
    ] = "wallet",
    out: Annotated[
        Path | None,
        typer.Option("--out", help="File to write, .pdf, .png or .txt.", show_default="text on the screen"),
    ] = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Make wallet cards: near and far limits for every engraving and f-number, a card for each lens."""
    import numpy as np

    from auditor.cli import typed
    from auditor.optics.flash import flash_at
    from auditor.show.cards import make_table, table_json, table_text
    from auditor.text import json_text
    from auditor.writing import write_file

    typed.check_flash(guide_number, iso)
    stops = np.asarray(typed.read_f_stops(f_stops))
    flash = flash_at(typed.read_guide_number_m(guide_number), iso or 100.0, stops) if guide_number else None
    tables = [
        make_table(
            bench,
            stops,
            bench.ring_m,
            bench.coc_mm(stops, np.asarray(bench.ring_m)[:, None]),
            (bench.tolerance_mm, bench.criterion.name),
            flash,
        )
        for bench in benches
    ]
    text = "\n\n".join(map(table_text, tables))
    if out is not None and out.suffix.lower() == ".txt":
        write_file(out, f"{text}\n", force=force)
    elif out is not None:
        from auditor.show.card_faces import typed_cards
        from auditor.show.wallet import wallet_bytes

        cards = [one for table in tables for one in typed_cards(table)]
        write_file(out, wallet_bytes(cards, out, paper), force=force)
    elif not json:
        typer.echo(text)
    if out is not None:
        typer.echo(f"Card written to {out}.", err=True)
    if json:
        found = [table_json(table) for table in tables]
        typer.echo(json_text(found[0] if len(found) == 1 else {"cards": found}))
