"""The journey in one function: sources in, an :class:`Audit` out. Nothing is written or shown here."""

from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from auditor.advice.decide import decide
from auditor.advice.lens_decision import Decisions
from auditor.advice.past import PastAdvice, read_past
from auditor.advice.this_walk import Diary, keep_diary
from auditor.errors import Problem, SettingError
from auditor.evidence.bursts import CountedFrames, count_frames
from auditor.evidence.causes import Causes, find_causes
from auditor.evidence.company import company_by_preset, count_company
from auditor.evidence.comparisons import compare_presets
from auditor.evidence.distances_met import DistancesMet, distances_met
from auditor.evidence.line_presses import LinePresses, line_presses
from auditor.evidence.presets import (
    count_distances,
    count_flash,
    count_presets,
    count_sessions,
    name_presets,
    number_bursts,
)
from auditor.evidence.proportions import wilson
from auditor.evidence.ring_shift import frame_shifts
from auditor.evidence.sharpness import JudgedFrames, judged_frames
from auditor.evidence.subjects import frames_met
from auditor.evidence.tolerance import Tolerance, describe_tolerance, fit_tolerance
from auditor.evidence.weights import add_weights, unheard
from auditor.evidence.zone_check import ZoneCheck, check_zone
from auditor.evidence.zones import add_zones, has_zone
from auditor.frames import KEEPER, LEFT_OUT, NOT_KEPT, equal_as_one, with_columns
from auditor.intake.assembling import Archive, read_archive
from auditor.intake.library.collector import give_back
from auditor.intake.library.reading import Progress
from auditor.intake.people.filling import PictureFacts, measure_bursts
from auditor.intake.resolve import with_measured
from auditor.intake.statements.lens_rule import is_lens
from auditor.intake.statements.session import Lens, declared_lenses
from auditor.optics.sensors import Criterion, measured, parse_criterion
from auditor.settings import Request, Settings
from auditor.text import collapse, without_home
from auditor.units import format_exposure_time


@dataclass(frozen=True, slots=True)
class Audit:
    """Everything that one audit has found."""

    table: pd.DataFrame  # the frame table, every column of the contract
    counted: CountedFrames  # what of it counts, and what of it was judged
    judged: JudgedFrames
    paths: list[str]  # full path of each frame's file, in the table's order
    settings: Settings
    counts: dict[str, int | None]  # what was found and what fell out at each step
    # presets, distances, sessions: see :mod:`auditor.evidence.presets`
    presets: pd.DataFrame
    distances: pd.DataFrame
    sessions: pd.DataFrame
    # keepers and counted frames if the choosing had gone to each session's end, `frame_rate` and its
    # interval `frame_low`, `frame_high`
    to_end: dict[str, float]
    comparisons: pd.DataFrame  # between presets of one lens, within sessions
    distances_met: DistancesMet
    zone_check: ZoneCheck
    unheard: pd.DataFrame  # presets and marks of which no frame has a distance
    tolerance: Tolerance
    causes: Causes
    diary: Diary | None  # walks over time, and one of them closely; None without a session
    past: PastAdvice  # what was advised before, as it was found
    decisions: Decisions  # what to set next, lens by lens, the most used first
    problems: list[Problem]
    flash: pd.DataFrame = field(default_factory=pd.DataFrame)  # rates without and with one, where both occur
    # frames with several subjects, by preset
    company: dict[str, dict[str, int]] = field(default_factory=dict)
    lines: tuple[LinePresses, ...] = ()  # of presets set in advance to a place where subjects pass
    pictures: PictureFacts | None = None  # what the pictures told; None where they were not measured
    lenses: tuple[Lens, ...] = ()  # what session files say of lenses
    # as they were named, and what was stated beside them with its options, for commands to be repeated
    sources: tuple[str, ...] = ()
    remarks: list[str] = field(default_factory=list)  # what needs no action, counted


@dataclass(frozen=True, slots=True)
class Scan:
    """The frame table with everything that is known of each frame, before anything is counted."""

    archive: Archive  # its `table` is complete
    settings: Settings
    problems: list[Problem]
    pictures: PictureFacts | None = None  # what they told; None where they were not measured


def run_scan(request: Request, progress: Progress | None = None) -> Scan:
    """Read the sources and work out each frame's preset, burst, zone and blur.

    Raises AuditorError if what was asked for cannot be done.
    """
    archive = read_archive(request, progress)
    give_back()
    settings, problems = gather_settings(request, archive)
    lenses = rows_of_lenses(archive)
    shift_mm, doubtful = frame_shifts(archive.table, lenses)
    speeds = np.full(len(archive.table), settings.speed_m_s)
    for session, rows in archive.by_session_file():
        if "speed_m_s" not in request.overrides:
            speeds[rows] = session.settings.get("speed_m_s", settings.speed_m_s)
    rings = [(rows, lens.ring_m) for rows, lens in lenses if lens.ring_m]
    archive.table = number_bursts(name_presets(archive.table, rings))
    pictures: PictureFacts | None = None
    if request.measure:
        measured_table, pictures = measure_bursts(archive.table, archive.paths, request, progress)
        archive.table = with_measured(measured_table, pictures.claims)
    archive.table = add_weights(archive.table)
    criterion, refused = _criterion(archive.table, settings, speeds, shift_mm)
    archive.table = with_columns(add_zones(archive.table, criterion, speeds, shift_mm))
    seen = pictures.problems if pictures else []
    found = [*archive.problems, *seen, *problems, *doubtful, *refused]
    give_back()
    return Scan(archive, settings, gathered(found), pictures)


def rows_of_lenses(archive: Archive) -> list[tuple[np.ndarray, Lens]]:
    """Rows taken with each lens that a session file declares, where there are any."""
    names = equal_as_one(archive.table["lens"])
    focal = archive.table["focal_length_mm"].to_numpy("float64")
    return [
        (rows[own], lens)
        for session, rows in archive.by_session_file()
        for lens in session.lenses
        for own in [is_lens(lens, session.lenses, names[rows], focal[rows])]
        if own.any()
    ]


def _criterion(
    table: pd.DataFrame, settings: Settings, speed_m_s: np.ndarray, shift_mm: np.ndarray
) -> tuple[Criterion, list[Problem]]:
    """Criterion as typed; ``measured`` without a file is fitted on this archive, where that carries."""
    if settings.coc != "measured":
        return parse_criterion(settings.coc), []
    handbook = parse_criterion("handbook")
    tolerance = fit_tolerance(add_zones(table, handbook, speed_m_s, shift_mm), settings)
    if tolerance.carries:
        return measured(tolerance.eye.blur_mm), []
    what = f"Your tolerance cannot be measured from this archive yet ({', '.join(tolerance.flags)})."
    return handbook, [Problem(None, what, "The handbook criterion was used.")]


def run_audit(
    request: Request, progress: Progress | None = None, stage: Callable[[str], None] = lambda _: None
) -> Audit:
    """Audit the sources of a request.

    Raises AuditorError if what was asked for cannot be done.
    """
    scanned = run_scan(request, progress)
    archive, settings, table = scanned.archive, scanned.settings, scanned.archive.table
    past, lenses = read_past(request.advice_file), declared_lenses(archive.session_files)
    stage("Fitting")
    frames = frames_met(table)
    decisions, judged = decide(frames, lenses, settings), judged_frames(frames)
    del frames  # half as large as the table
    give_back()
    counted, confidence = count_frames(table), settings.confidence
    fits = {one.lens: (one.tolerances, one.measured) for one in decisions.lenses}
    tolerance = describe_tolerance(counted, judged, fits, confidence)
    causes = find_causes(counted, settings, tolerance)
    stage("Weighing")
    sessions, met = count_sessions(counted, confidence), distances_met(counted, confidence)
    comparisons, checked = compare_presets(counted, settings), check_zone(counted, tolerance)
    give_back()
    diary = keep_diary(counted, judged, sessions, settings, tolerance, causes, past, request.walk)
    give_back()
    named = {"session": request.session_file, "notes": request.notes_file, "keepers": request.keepers_folder}
    stated = [word for name, path in named.items() if path for word in (f"--{name}", str(path))]
    at_lines = {one.name for file in archive.session_files for one in file.presets if one.kind == "line"}
    return Audit(
        table=table, counted=counted, judged=judged, paths=archive.paths, settings=settings,
        counts=count_steps(archive), presets=count_presets(counted, judged, confidence),
        distances=count_distances(counted, judged, confidence, settings.units), sessions=sessions,
        to_end=count_to_end(archive.counted_to_end, confidence), comparisons=comparisons, distances_met=met,
        zone_check=checked, unheard=unheard(counted), tolerance=tolerance, causes=causes, diary=diary,
        past=past, decisions=decisions, problems=gathered([*scanned.problems, *past.problems]),
        flash=count_flash(counted, confidence), company=company_by_preset(table),
        lines=line_presses(counted, met, at_lines, settings.speed_m_s, confidence), pictures=scanned.pictures,
        lenses=lenses, sources=(*map(str, request.sources), *stated), remarks=archive.remarks,
    )  # fmt: skip


def count_to_end(counted_as: np.ndarray, confidence: float) -> dict[str, float]:
    """Count keepers and frames, and their share with Wilson's interval; unknown where nothing counts."""
    keepers, frames = int((counted_as == KEEPER).sum()), int((counted_as != LEFT_OUT).sum())
    low, high = wilson(keepers, frames, confidence)
    rate = keepers / frames if frames else float("nan")
    return {"keepers": keepers, "frames": frames, "frame_rate": rate, "frame_low": low, "frame_high": high}


def gather_settings(request: Request, archive: Archive) -> tuple[Settings, list[Problem]]:
    """Put the session files' values under the command line's; where files differ, the most used one rules."""
    frames_of: dict[str, Counter[Any]] = defaultdict(Counter)
    for session, rows in archive.by_session_file():
        for name in session.settings.keys() - request.overrides.keys():
            frames_of[name][session.settings[name]] += len(rows)
    values = {name: by_value.most_common(1)[0][0] for name, by_value in frames_of.items()}
    problems = [
        Problem(
            None,
            f"Session files differ in {name}: {', '.join(f'{v:g}' for v in by_value)}.",
            f"{values[name]:g} was used for the whole, since it governs most frames.",
        )
        for name, by_value in sorted(frames_of.items())
        if len(by_value) > 1
    ]
    settings = Settings().changed(**values).changed(**request.overrides, unmarked=request.unmarked)
    wanted, slowest = settings.wanted_shutter_s, settings.slowest_shutter_s
    if wanted is not None and slowest is not None and slowest < wanted * 0.99:
        raise SettingError(
            f"The slowest shutter, {format_exposure_time(slowest)}, is faster than the wanted one, "
            f"{format_exposure_time(wanted)}.",
            "The wanted time is kept while the ISO allows it, and may then grow to the slowest.",
        )
    return settings, problems


def count_steps(archive: Archive) -> dict[str, int | None]:
    """Count what fell out at each step; the sums of the contract hold by construction of the columns."""
    table, zone = archive.table, has_zone(archive.table)
    counted_as = table["counted_as"]
    complete = table[["focal_length_mm", "f_number", "focus_distance_m"]].notna().all(axis=1)
    stated = int((table["keeper"].notna() & counted_as.ne(LEFT_OUT)).sum())
    keepers, not_kept, left_out = (int(counted_as.eq(mark).sum()) for mark in (KEEPER, NOT_KEPT, LEFT_OUT))
    verdicts = {"sharp": "yes", "soft": "no", "unsure": "unsure"}
    return {
        "found": archive.found,
        "read": archive.read,
        "unreadable": archive.unreadable,
        "merged": archive.merged,
        "frames": len(table),
        "with_zone": int(zone.sum()),
        "without_zone": int((~zone).sum()),
        "not_zone_focused": int((complete & ~table["in_preset"].fillna(False).astype(bool)).sum()),
        "with_subject_distance": int(table["subject_distance_m"].notna().sum()),
        "stated": stated,
        "by_rule": keepers + not_kept - stated,
        "marked": keepers + not_kept,
        "keepers": keepers,
        "not_kept": not_kept,
        "left_out": left_out,
        "missing_numbers": archive.missing_numbers,
        **{name: int(table["sharp"].eq(word).sum()) for name, word in verdicts.items()},
        "markers": archive.markers,
        **count_company(table),
    }


def gathered(problems: list[Problem]) -> list[Problem]:
    """Put problems that say the same of several files into one; statements not used come first."""
    same: dict[tuple[str, str, bool, bool], list[Problem]] = defaultdict(list)
    for problem in problems:
        said = without_home(problem.what), without_home(problem.next), problem.unread, problem.ignored
        same[said].append(problem)
    found = []
    for (what, step, unread, ignored), equal in same.items():
        names = list(dict.fromkeys(without_home(name) for problem in equal for name in problem.all_files))
        shown = collapse(names, limit=3) or None
        frames = sum(problem.frames for problem in equal)
        found.append(Problem(shown, what, step, tuple(names), unread, ignored, frames))
    return sorted(found, key=lambda problem: (not problem.ignored, -problem.frames))
