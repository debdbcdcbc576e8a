"""What ``auditor prepare`` does: lays out what is to be filled in, and takes in what was."""

import shlex
import sys
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import typer

from auditor.errors import SourceError
from auditor.evidence.judging import judge_guesses
from auditor.frames import was_drawn
from auditor.intake.beside import NOTES_FOLDER, SOURCE_NAME, source_text
from auditor.intake.filled_files import notes_as_csv, read_filled_notes, read_filled_session, write_keeping
from auditor.intake.library.folders import NOTES_NAME, SAMPLE_NAME
from auditor.intake.people.proposals import propose_faces
from auditor.intake.sampling import SHEET_COLUMNS, Sample, draw_sample, sample_as_csv
from auditor.intake.starter import (
    Run,
    find_runs,
    frame_labels,
    lines_of_runs,
    note_names,
    recorded_lines,
    session_as_toml,
)
from auditor.intake.statements.selects import probable_selects
from auditor.intake.statements.session_file import SESSION_NAME
from auditor.intake.statements.sheet_file import BY_EYE, TYPED, read_sheet
from auditor.intake.taking import Filled, from_sheet, merge_filled, without
from auditor.journey import run_scan
from auditor.settings import Request
from auditor.show.sheet import build_sheet
from auditor.show.sheet_data import SheetFacts, sheet_data
from auditor.show.terminal import console, progress_on_stderr, show_ignored, show_problems
from auditor.show.words.figures import counted
from auditor.text import collapse

SHEET_NAME, FILLED_NAME = "sheet.html", "sheet.json"


def take_in(taken: list[Path], sources: list[Path], folder: Path, keepers: Path | None) -> None:
    """Merge filled files into those of the folder, and say what came in and how to go on."""
    for source in sources:
        if not source.exists():
            raise SourceError(f"{source} does not exist.", "Name the folder that the sheet was made from.")
    filled = _filled_in(folder)
    sheet_texts: dict[str, str] = {}
    for path in taken:
        suffix = path.suffix.lower()
        if not path.is_file():
            raise SourceError(f"--take {path} is not there.", "Name the file where the browser saved it.")
        if suffix == ".json":
            filled = _with_sheet(filled, path, folder)
            sheet_texts[FILLED_NAME] = path.read_text(encoding="utf-8-sig")
        elif suffix == ".csv":
            rows = read_filled_notes(path)
            typer.echo(f"{path}: {sum(bool(cells) for cells in rows.values())} frames with notes.", err=True)
            filled = merge_filled(filled, Filled(notes=rows))
        elif suffix == ".toml":
            filled = merge_filled(filled, Filled(session=read_filled_session(path)))
            typer.echo(f"{path}: taken into {SESSION_NAME}.", err=True)
        else:
            raise SourceError(f"--take {path} is none of .json, .csv and .toml.", "Name a filled file.")
    former = folder / SESSION_NAME
    recorded = (
        recorded_lines(former.read_text(encoding="utf-8", errors="replace")) if former.is_file() else []
    )
    files = {
        SESSION_NAME: session_as_toml(filled.session, recorded),
        NOTES_NAME: notes_as_csv(filled.notes),
        SOURCE_NAME: source_text(sources, folder),
    }
    for written in write_keeping(folder, files | sheet_texts):
        typer.echo(str(written))
    typer.echo(_audit_command(_named(sources, keepers), folder))


def _filled_in(folder: Path) -> Filled:
    return Filled(read_filled_session(folder / SESSION_NAME), read_filled_notes(folder / NOTES_NAME))


def _with_sheet(filled: Filled, path: Path, folder: Path) -> Filled:
    """Take a filled sheet in, in place of what the same sheet said the last time."""
    sheet = read_sheet(path)
    before = folder / FILLED_NAME
    if before.is_file():
        former = read_sheet(before)
        if former.sample == sheet.sample:
            filled = without(filled, from_sheet(former))
    done = [frame for frame in sheet.frames if not frame.skipped]
    pairs = [
        (frame.guess, frame.distances[0], frame.sd)
        for frame in done
        if frame.guess and frame.distances and frame.sd and frame.measure not in (None, TYPED, BY_EYE)
    ]
    guesses, measured, sds = zip(*pairs, strict=True) if pairs else ((), (), ())
    judged = judge_guesses(guesses, measured, sds)
    sharp = {word: sum(f.sharp == word for f in done) for word in ("yes", "no", "unsure")}
    skipped = len(sheet.frames) - len(done)
    typer.echo(
        f"{path}: {len(sheet.stretches)} stretches, {len(sheet.markers)} markers, "
        f"{sum(f.share is not None or bool(f.distances) for f in done)} distances, {sharp['yes']} sharp, "
        f"{sharp['no']} not, {sharp['unsure']} unsure, {skipped} skipped.",
        err=True,
    )
    if judged.guess_sd is not None:
        lean, below, above = np.abs(100 * np.expm1([judged.bias, -judged.spread, judged.spread]))
        leaning = f"{lean:.0f} % {'short' if judged.bias < 0 else 'long'}" if lean >= 1.5 else "right"
        typer.echo(
            f"Your eye: {judged.guesses} guesses, {leaning} on the whole, two in three from {below:.0f} % "
            f"below to {above:.0f} % above that; guess_sd = {judged.guess_sd:.2f} stands for it now.",
            err=True,
        )
    return merge_filled(filled, from_sheet(sheet, judged.guess_sd))


def lay_out(request: Request, folder: Path, n: int, seed: int, *, measure: bool) -> None:
    """Read the archive with what was filled before, and write the sheet and the files beside it."""
    filled = _filled_in(folder)
    with progress_on_stderr("Reading") as progress:
        scan = run_scan(request, progress)
    show_ignored(scan.problems, console(sys.stderr))
    table, runs = scan.archive.table, find_runs(scan.archive.table)
    sources = list(request.sources)
    cameras = [str(camera) for camera in table["camera"].dropna().unique()]
    rolls = [run.first for run in runs if run.is_roll and not run.complete]
    files = {SESSION_NAME: session_as_toml(filled.session, lines_of_runs(runs), cameras, rolls)}
    sample = draw_sample(table, n, seed, _waiting(table, filled, folder)) if n else None
    rows = sample.rows if sample is not None else table.index.to_numpy()[:0]
    files[NOTES_NAME] = _notes(table, filled, sample)
    if sample is not None and len(rows):
        files[SAMPLE_NAME] = sample_as_csv(table, sample)
    if n and (len(rows) or any(not run.complete for run in runs)):
        proposals = {}
        if measure:
            with progress_on_stderr("Measuring") as progress:
                proposals = propose_faces(table, scan.archive.paths, rows.tolist(), request, progress)
        facts = SheetFacts(
            archive=scan.archive,
            settings=scan.settings,
            rows=rows,
            runs=runs,
            proposals=proposals,
            command=_take_command(_named(sources, request.keepers_folder), folder),
        )
        with progress_on_stderr("Pictures") as progress:
            files[SHEET_NAME] = build_sheet(sheet_data(facts, folder, progress))
    files[SOURCE_NAME] = source_text(sources, folder)
    for path in write_keeping(folder, files):
        typer.echo(str(path))
    for said in (*_sensors_missing(table), *_folders_of_copies(table, sources)):
        typer.echo(said, err=True)
    show_problems(scan.problems, console(sys.stderr))
    _say_what_was_found(runs, sample, seed)
    if SHEET_NAME in files:
        typer.echo(f"Open {folder / SHEET_NAME} in a browser and fill it in; it says how to go on.", err=True)


def _notes(table: pd.DataFrame, filled: Filled, sample: Sample | None) -> str:
    """Notes with a row for each frame to fill: the drawn ones in their order, else all."""
    if sample is not None and len(sample.rows):
        asked, columns = note_names(table).iloc[sample.rows], list(SHEET_COLUMNS)
    else:
        asked, columns = frame_labels(table), ["keeper", "subject_distance", "reason"]
    kept = Filled(notes={frame: cells for frame, cells in filled.notes.items() if cells})
    rows = merge_filled(kept, Filled(notes={str(frame): {} for frame in asked})).notes
    return notes_as_csv(rows, columns)


def _waiting(table: pd.DataFrame, filled: Filled, folder: Path) -> npt.NDArray[Any]:
    """Frames drawn before that have neither a distance nor any answer, not even that they were skipped."""
    answered = {frame for frame, cells in filled.notes.items() if cells}
    if (folder / FILLED_NAME).is_file():
        answered |= {frame.file for frame in read_sheet(folder / FILLED_NAME).frames}
    waits = was_drawn(table) & table["subject_distance_m"].isna() & ~note_names(table).isin(answered)
    return np.asarray(waits, dtype=bool)


def _say_what_was_found(runs: list[Run], sample: Sample | None, seed: int) -> None:
    for run in runs[:20]:
        typer.echo(f"{run}.", err=True)
    if len(runs) > 20:
        typer.echo(f"And {len(runs) - 20} more, listed in the session file.", err=True)
    if sample is not None and len(sample.rows):
        drawn, population = len(sample.rows), sample.population
        more = f", and {sample.drawn_before} were drawn before and answered without one"
        again = f" Of the {drawn} drawn, {sample.again} were drawn before and wait for an answer."
        typer.echo(
            f"{drawn} frames drawn by chance (seed {seed}) from {population}. Of the {population}, "
            f"{sample.with_distance} had a distance already{more * bool(sample.drawn_before)}."
            f"{again * bool(sample.again)}",
            err=True,
        )
    elif sample is not None:
        typer.echo("Nothing is left to draw: every frame has a distance or was drawn before.", err=True)


def _sensors_missing(table: pd.DataFrame) -> list[str]:
    """What to ask where the sensor's size is only assumed; read of ``sensor_source``."""
    assumed = table["camera"][table["sensor_source"].eq("assumed")].fillna("files without a camera (scans)")
    found = [f"{camera} ({counted(n, 'frame')})" for camera, n in assumed.value_counts(sort=False).items()]
    what = f"No sensor size is recorded of {collapse(found)}, so 36×24 mm is assumed and no distance can be "
    step = "measured in them. State it once, as sensor in a [[camera]] or on the sheet."
    return [what + step] if found else []


def _folders_of_copies(table: pd.DataFrame, sources: list[Path]) -> list[str]:
    above = sources[0] if len(sources) == 1 and sources[0].is_dir() else Path()
    return [
        f"{above / folder} holds only copies, of {n} of the frames: probably your selects. If they are, add "
        f"--keepers {shlex.quote(str(above / folder))} or name it as keepers in the session file."
        for folder, n in probable_selects(table["files"]).items()
    ]


def _named(sources: list[Path], keepers: Path | None) -> list[str]:
    return [*map(str, sources), *(["--keepers", str(keepers)] if keepers else [])]


def _take_command(named: list[str], folder: Path) -> str:
    out = [] if folder == Path(NOTES_FOLDER) else ["--out", str(folder)]
    return f"auditor prepare {shlex.join([*named, *out])} --take ~/Downloads/sheet.json"


def _audit_command(named: list[str], folder: Path) -> str:
    """The command that audits with what was taken; the default folder is found without being named."""
    if folder != Path(NOTES_FOLDER):
        named = [*named, "--session", str(folder / SESSION_NAME), "--notes", str(folder / NOTES_NAME)]
    return f"auditor audit {shlex.join(named)}"
