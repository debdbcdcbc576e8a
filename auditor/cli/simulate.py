"""``auditor simulate``: an invented archive whose truth is known."""

from pathlib import Path
from typing import Annotated

import typer

from auditor.cli.run import echo

DEMO_SEED = 2034
DEMO_FRAMES = 600


def simulate(
    out: Annotated[Path, typer.Option("--out", help="New or empty folder for the archive.")],
    seed: Annotated[
        int, typer.Option("--seed", min=0, help="The same seed gives the same bytes.")
    ] = DEMO_SEED,
    frames: Annotated[int, typer.Option("--frames", min=30, help="Frames to take.")] = DEMO_FRAMES,
    table: Annotated[
        bool,
        typer.Option("--table", help="Write the frame table only, with the truth of each frame beside it."),
    ] = False,
) -> None:
    """Write an invented archive, drawn pictures and all, with its truth in truth.toml."""
    from auditor.simulate import simulate_archive, write_simulated_table

    truth = (write_simulated_table if table else simulate_archive)(out, seed, frames)
    sought = sum(preset.frames for preset in truth.presets)
    echo(f"{sought} invented frames written to {out}; their truth is in {out / 'truth.toml'}.", err=True)
