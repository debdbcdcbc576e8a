"""``auditor forget``: clears what the cache keeps of the photographs."""

from typing import Annotated

import typer

from auditor.cli.run import echo


def forget(yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False) -> None:
    """Clear the cache folder: what was read of files, thumbnails, faces measured. Photographs stay."""
    from auditor.errors import OutputError
    from auditor.intake.library.cache import cache_folder, cached_bytes, forget_all
    from auditor.text import shown_path

    folder = cache_folder()
    size = cached_bytes(folder)
    if not size:
        echo(f"Nothing is kept in {shown_path(folder)}.")
        return
    if not yes and not typer.confirm(f"Clear {size / 1e6:.1f} MB in {shown_path(folder)}?", err=True):
        echo("Nothing was cleared.", err=True)
        return
    problems = forget_all(folder)
    if problems:
        where = shown_path(problems[0].file or "")
        raise OutputError(f"{where}: {problems[0].what}", "Close other runs, then try again.")
    echo(f"Cleared {size / 1e6:.1f} MB.")
