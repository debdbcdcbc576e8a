"""``auditor prepare``: a starter session file and notes, or a drawn sample with its contact sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from auditor.cli import options

if TYPE_CHECKING:
    from auditor.intake.archive import Archive
    from auditor.intake.sampling import Sample
    from auditor.settings import Request
    from auditor.show.contactsheet import Picture


def prepare(
    sources: options.Sources,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the files.", show_default="audit-notes")
    ] = None,
    distances: Annotated[
        int | None,
        typer.Option(
            "--distances",
            min=1,
            metavar="N",
            help="Draw N frames by chance, marks hidden; write notes and a contact sheet for distances.",
        ),
    ] = None,
    measure: Annotated[
        bool, typer.Option("--measure", help="With --distances: measure faces too, as a suggestion.")
    ] = False,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Another number draws other frames.")] = 0,
    session: options.Session = None,
    notes: options.Notes = None,
    keepers: options.Keepers = None,
    unmarked: options.Unmarked = None,
    cache: options.Cache = None,
    workers: options.Workers = None,
) -> None:
    """Write a session file with the blocks of time found, and notes, to fill in. Nothing is overwritten."""
    from auditor.cli.requests import make_request, output_folder

    request = make_request(
        sources,
        session=session,
        notes=notes,
        keepers=keepers,
        unmarked=unmarked,
        cache=cache,
        workers=workers,
    )
    wanted = "prepare" if distances is None else f"prepare --distances {distances}"
    folder = output_folder(out, "audit-notes", sources, wanted)
    if distances is None:
        _write_starter(request, folder)
    else:
        _write_sample(request, folder, distances, seed, measure=measure)


def _write_starter(request: Request, folder: Path) -> None:
    from auditor.intake.archive import read_archive
    from auditor.intake.library.walk import NOTES_NAME
    from auditor.intake.starter import find_blocks, starter_notes, starter_session
    from auditor.intake.statements.session_file import SESSION_NAME
    from auditor.show.terminal import progress_on_stderr

    with progress_on_stderr("Reading") as progress:
        table = read_archive(request, progress).table
    blocks = find_blocks(table)
    written = [
        write_new(new_paths(folder, [SESSION_NAME]), [starter_session(blocks)])[0],
        write_new(new_paths(folder, [NOTES_NAME]), [starter_notes(table)])[0],
    ]
    for path in written:
        typer.echo(str(path))
    silent = sum(not block.complete for block in blocks)
    typer.echo(
        f"{len(blocks)} blocks of time, {silent} without settings in their files. Fill in the presets, "
        f"then run auditor audit with --session {written[0]} --notes {written[1]}.",
        err=True,
    )


def _write_sample(request: Request, folder: Path, n: int, seed: int, *, measure: bool) -> None:
    from auditor.errors import SourceError
    from auditor.intake.library.walk import NOTES_NAME, SAMPLE_NAME
    from auditor.intake.photofile.previews import frame_files, small_picture
    from auditor.intake.sampling import draw_sample, notes_to_fill, sample_text
    from auditor.journey import run_scan
    from auditor.show.contactsheet import Picture, build_contact_sheet
    from auditor.show.terminal import progress_on_stderr

    with progress_on_stderr("Reading") as progress:
        archive = run_scan(request, progress).archive
    table = archive.table
    sample = draw_sample(table, n, seed)
    if not len(sample.rows):
        raise SourceError(
            f"Nothing is left to draw: of {sample.population} frames {sample.with_distance} have a distance "
            f"and {sample.drawn_before} were drawn before.",
            "Fill in the notes of the earlier sample.",
        )
    pictures: list[Picture] = []
    with progress_on_stderr("Pictures") as progress:
        for row in sample.rows.tolist():
            file, files = table["file"].iloc[row], table["files"].iloc[row]
            tried = map(small_picture, frame_files(archive.paths[row], file, files))
            pictures.append(Picture(file, next(filter(None, tried), None)))
            progress(len(pictures), len(sample.rows))
    if measure:
        pictures = _with_suggestions(pictures, archive, sample.rows.tolist(), request)
    written = new_paths(folder, [NOTES_NAME, SAMPLE_NAME, "contact-sheet.html"])
    sheet = build_contact_sheet(pictures, written[0].name)
    write_new(written, [notes_to_fill(table, sample), sample_text(table, sample), sheet])
    for path in written:
        typer.echo(str(path))
    blank = sum(picture.small is None for picture in pictures)
    typer.echo(
        f"{len(sample.rows)} frames drawn by chance (seed {seed}) from {sample.population}; "
        f"{sample.with_distance} of these had a distance already, {sample.drawn_before} were drawn before."
        f"{f' {blank} of the drawn have no preview.' if blank else ''} Read the shares off {written[2].name} "
        f"and fill in {written[0].name}; keep {written[1].name} beside it. {_next_step(sample, written[0])}",
        err=True,
    )


def _with_suggestions(
    pictures: list[Picture], archive: Archive, rows: list[int], request: Request
) -> list[Picture]:
    from dataclasses import replace

    from auditor.intake.people.filling import measured_distances
    from auditor.show.terminal import progress_on_stderr
    from auditor.units import format_distance

    with progress_on_stderr("Measuring") as progress:
        distances = measured_distances(archive.table, archive.paths, rows, request, progress)
    return [
        replace(picture, suggestion="" if distance != distance else f"about {format_distance(distance)}")
        for picture, distance in zip(pictures, distances, strict=True)
    ]


def _next_step(sample: Sample, notes: Path) -> str:
    if sample.with_distance or sample.drawn_before:
        return (
            "Then add the rows of both to the notes.csv and sample.csv that you have: --notes replaces them."
        )
    return f"Then run auditor audit with --notes {notes}, or move both among the photographs."


def new_paths(folder: Path, names: list[str]) -> list[Path]:
    """Paths that do not exist yet; where one of them does, all become ``name.new.ext``, then ``new2``."""
    number = 0
    while any((folder / _numbered(name, number)).exists() for name in names):
        number += 1
    return [folder / _numbered(name, number) for name in names]


def write_new(paths: list[Path], texts: list[str]) -> list[Path]:
    """Write files that do not exist yet, all into one folder.

    Raises
    ------
    OutputError
        If the folder or a file in it cannot be written.
    """
    from auditor.errors import OutputError

    folder = paths[0].parent
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path, text in zip(paths, texts, strict=True):
            with path.open("x", encoding="utf-8", newline="") as file:
                file.write(text)
    except OSError as error:
        raise OutputError(
            f"{folder} cannot be written: {error.strerror}.", "Name another folder with --out."
        ) from None
    return paths


def _numbered(name: str, number: int) -> str:
    stem, suffix = Path(name).stem, Path(name).suffix
    return name if not number else f"{stem}.new{number if number > 1 else ''}{suffix}"
