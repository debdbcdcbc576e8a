"""``auditor scan``: the frame table only."""

from auditor.cli import options
from auditor.cli.run import echo
from auditor.cli.shared import end_with_problems, reads_sources
from auditor.settings import Request


@reads_sources()
def scan(
    request: Request,
    *,
    out: options.TableOut = None,
    force: options.Force = False,
    strict: options.Strict = False,
    json: options.Json = False,
) -> None:
    """Write one row for each frame: settings, sharp zone, blur and mark."""
    import sys

    from auditor.intake.tables import to_csv_text, to_json_rows, write_table
    from auditor.journey import run_scan
    from auditor.show.terminal import console, progress_on_stderr, show_ignored
    from auditor.text import json_text

    with progress_on_stderr("Reading") as progress:
        result = run_scan(request, progress)
    show_ignored(result.problems, console(sys.stderr))
    table = result.archive.table
    if out is not None:
        write_table(table, out, force=force)
        echo(f"{len(table)} frames written to {out}.", err=True)
    elif json:
        echo(json_text(to_json_rows(table), indent=None))
    else:
        echo(to_csv_text(table), end="")
    end_with_problems(result.problems, result.archive.unreadable, strict=strict)
