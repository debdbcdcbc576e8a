"""``auditor advise``: what to set next."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from auditor.cli import options
from auditor.cli.lens_answer import answer_for_lens
from auditor.cli.run import echo
from auditor.cli.shared import end_with_problems, reads_sources
from auditor.settings import Request

if TYPE_CHECKING:
    from auditor.journey import Audit


@reads_sources(light=True)
def advise(
    request: Request,
    *,
    lens: options.LensName = None,
    experiment: Annotated[
        Path | None, typer.Option("--experiment", help="Write the next walk as a session file of this name.")
    ] = None,
    card: Annotated[
        Path | None, typer.Option("--card", help="Write a wallet card of the advised settings, .pdf or .png.")
    ] = None,
    full: options.Full = False,
    force: options.Force = False,
    strict: options.Strict = False,
    json: options.Json = False,
) -> None:
    """Say what to set next with one lens, what it should bring, and whether that is sure."""
    from auditor.advice.as_json import advice_json
    from auditor.errors import AuditorError

    audit, name = answer_for_lens(request, lens, advice_json, json=json, full=full)
    refused: list[AuditorError] = []
    for out, write in ((experiment, write_next_walk), (card, write_advised_card)):
        try:
            if out is not None:
                write(audit, name, out, force=force)
        except AuditorError as error:  # what can be written of the two, is
            refused.append(error)
    end_with_problems(audit.problems, audit.counts["unreadable"], strict=strict and not refused)
    if refused:
        raise refused[0]


def write_next_walk(audit: Audit, lens: str, out: Path, *, force: bool = False) -> None:
    """Write the next walk with a lens as a session file."""
    from auditor.advice.experiment_file import experiment_session
    from auditor.advice.next_walk import plan_walk
    from auditor.errors import OutputError
    from auditor.intake.statements.lens_rule import find_lens
    from auditor.writing import write_file

    decided = audit.decisions.of(lens)
    walk = None if decided is None else plan_walk(decided, audit.table)
    if decided is None or walk is None:
        raise OutputError(
            f"There is no walk to lay out, so {out} was not written.",
            "The answer above says what to do instead.",
        )
    stated = find_lens(audit.lenses, lens, decided.focal_length_mm)
    write_file(out, experiment_session(walk, decided.focal_length_mm, stated, audit.settings), force=force)
    echo(f"Session file: {out}", err=True)


def write_advised_card(audit: Audit, lens: str, out: Path, *, force: bool = False) -> None:
    """Write the wallet card of what was decided on a lens."""
    from auditor.errors import OutputError
    from auditor.show.card_faces import advised_card
    from auditor.show.wallet import wallet_bytes
    from auditor.writing import write_file

    made = advised_card(audit, lens)
    if made is None:
        raise OutputError(
            "Nothing can be said of what to set, so there is no card to write.", "See the answer above."
        )
    write_file(out, wallet_bytes([made], out), force=force)
    echo(f"Card written to {out}.", err=True)
