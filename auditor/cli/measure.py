"""``auditor measure``: subject distance and blur from the pictures themselves."""

from auditor.cli import options
from auditor.cli.run import echo
from auditor.cli.shared import end_with_problems, reads_sources
from auditor.settings import Request


@reads_sources()
def measure(
    request: Request,
    *,
    out: options.TableOut = None,
    force: options.Force = False,
    strict: options.Strict = False,
    json: options.Json = False,
) -> None:
    """Find faces in the pictures: how far they stand, how blurred they are. Nobody is recognised."""
    import sys
    from dataclasses import replace

    from auditor.intake.people.filling import faces_to_write
    from auditor.intake.tables import to_csv_text, to_json_rows, write_table
    from auditor.journey import run_scan
    from auditor.show.terminal import console, progress_on_stderr, show_ignored
    from auditor.show.words import pictures as words
    from auditor.text import json_text

    with progress_on_stderr("Measuring") as progress:
        result = run_scan(replace(request, measure=True), progress)
    show_ignored(result.problems, console(sys.stderr))
    facts = result.pictures
    assert facts is not None
    faces = faces_to_write(facts, result.archive.table)
    if out is not None:
        write_table(faces, out, force=force)
        echo(f"{len(faces)} rows written to {out}.", err=True)
    elif json:
        found = {"detector": facts.detector, "counts": facts.counts, "refused": facts.refused}
        echo(json_text(found | {"faces": to_json_rows(faces)}, indent=None))
    else:
        echo(to_csv_text(faces), end="")
    nearest = [words.to_look_at(facts.look_at, result.settings.units)] if facts.look_at else []
    for text in [*words.say_found(facts), *nearest, *words.SAID_ONCE]:
        echo(text, err=True)
    end_with_problems(result.problems, result.archive.unreadable, strict=strict)
