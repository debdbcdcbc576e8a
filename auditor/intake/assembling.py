"""The whole of intake in order: sources, then what people state, then the frame table that both make."""

from collections import defaultdict
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from auditor.errors import FileFormatError, Problem, SourceError
from auditor.frames import LEFT_OUT, captured_s, equal_as_one
from auditor.intake.frame_index import FrameIndex, Rows
from auditor.intake.library.folders import find_files
from auditor.intake.library.numbering import missing_numbers
from auditor.intake.library.reading import Progress, read_found
from auditor.intake.precedence import settle
from auditor.intake.resolve import claim_facts, resolve, right_clocks
from auditor.intake.sampling import sample_beside
from auditor.intake.sources import SessionFiles, Sources, from_folders, from_table, ignored_file, joined
from auditor.intake.statements.cameras import claim_cameras, claim_flash
from auditor.intake.statements.claims import Claims, together
from auditor.intake.statements.counting import count_marks
from auditor.intake.statements.marks import claim_marks, verdicts_of_words
from auditor.intake.statements.notes import NOTE_READERS, SAMPLE_READERS, Readers, claim_notes, read_notes
from auditor.intake.statements.selects import claim_selects
from auditor.intake.statements.session import SessionFile
from auditor.intake.statements.session_file import read_session
from auditor.intake.statements.stretches import claim_stretches
from auditor.intake.tables import is_table
from auditor.settings import Request, Settings

OUTERMOST = 0  # depth of notes that lie among no photographs


@dataclass(slots=True)
class Archive:
    """Frames with every fact that was stated of them."""

    table: pd.DataFrame  # columns that follow from optics and presets are still unknown
    paths: list[str]  # of each frame's speaking file
    session_files: list[SessionFile]  # those that govern any frame, each once
    governed_by: np.ndarray  # which of them governs each frame, shape (n,)
    found: int  # candidate picture files
    read: int
    unreadable: int
    merged: int  # those that joined another file's frame
    missing_numbers: int | None  # gaps in the cameras' numbering; None where files were renamed
    markers: int  # frames that only mark a change of setting, which are none of the walk
    counted_to_end: np.ndarray  # what frames would count as if the choosing had gone to each session's end
    problems: list[Problem]
    remarks: list[str]  # what needs no action, counted; and how many notes found their frames

    def by_session_file(self) -> list[tuple[SessionFile, Rows]]:
        """Return each session file with the rows that it governs."""
        return rows_of_each(self.session_files, self.governed_by)


def rows_of_each(files: list[SessionFile], governed_by: np.ndarray) -> list[tuple[SessionFile, Rows]]:
    """Each session file with the rows that it governs."""
    order = np.argsort(governed_by, kind="stable")
    ends = np.searchsorted(governed_by[order], np.arange(len(files)), side="right")
    return list(zip(files, np.split(order, ends[:-1]), strict=True))


def read_archive(request: Request, progress: Progress | None = None) -> Archive:
    """Read the sources of a request into one table; AuditorError where one cannot be used."""
    fixed = read_session(request.session_file) if request.session_file else None
    outer = read_session(request.outer_session) if request.outer_session and fixed is None else None
    sessions = SessionFiles(fixed, outer)
    keepers = request.keepers_folder
    if keepers is not None and not keepers.is_dir():
        raise SourceError(f"--keepers {keepers} is not a folder.", "Name the folder that holds your selects.")
    parts = [from_table(source, sessions) for source in request.sources if is_table(source)]
    folders = [source for source in request.sources if not is_table(source)]
    if folders:
        parts.append(from_folders(folders, sessions, keepers, request, progress))
    return _Reading(request, joined(parts), sessions.problems).archive()


class _Reading:
    """Everything that people state of the facts, read in turn."""

    def __init__(self, request: Request, sources: Sources, problems: list[Problem]) -> None:
        self.request, self.sources = request, sources
        self.facts = sources.facts
        self.problems = [*problems, *sources.problems]
        self.governed = rows_of_each(sources.session_files, sources.governed_by)
        cameras = together(claim_cameras(session, rows, self.facts) for session, rows in self.governed)
        self.offset_s = np.nan_to_num(settle("clock_offset", cameras.stated, len(self.facts)).typed)
        self.captured_at = right_clocks(self.facts, self.offset_s)
        times = captured_s(pd.DataFrame({"captured_at": self.captured_at}))
        self.index = FrameIndex(self.facts["files"], sources.paths, equal_as_one(self.facts["body"]), times)
        self.cameras = cameras

    def session_of(self, row: int) -> SessionFile:
        return self.sources.session_files[int(self.sources.governed_by[row])]

    def archive(self) -> Archive:
        stretches = [claim_stretches(session, rows, self.index) for session, rows in self.governed]
        marks = [claim_marks(self.facts, rows, session.marks) for session, rows in self.governed]
        lit = [claim_flash(session, rows, self.facts) for session, rows in self.governed]
        said = together(
            [self.sources.stated, self.cameras, *stretches, self._notes(), self._selects(), *marks, *lit]
        )
        is_subject = np.array([file.in_files == "subject" for file in self.sources.session_files], dtype=bool)
        files = claim_facts(self.facts, is_subject[self.sources.governed_by])
        default = Settings().guess_sd
        guess_sd = np.array([f.settings.get("guess_sd", default) for f in self.sources.session_files])
        claims, guess_sd = together([files, said]), guess_sd[self.sources.governed_by]
        resolved = resolve(self.facts, self.captured_at, self.index, claims, guess_sd)
        is_marker, unknown = self._markers()
        counted, to_end, problems = self._count(resolved.table, said, is_marker)
        table = resolved.table.assign(counted_as=pd.Series(counted, resolved.table.index, dtype="str"))
        sources, walk = self.sources, np.flatnonzero(~is_marker)
        matched = [f"{said.rows_read} notes read, {said.rows_matched} matched."] if said.rows_read else []
        return Archive(
            table=table.iloc[walk].reset_index(drop=True),
            paths=[sources.paths[row] for row in walk.tolist()],
            session_files=sources.session_files,
            governed_by=sources.governed_by[walk],
            found=sources.found,
            read=sources.found - sources.unreadable,
            unreadable=sources.unreadable,
            merged=sources.merged,
            missing_numbers=missing_numbers(
                self.facts, self.index.cameras, self.index.session, self.index.time_s
            ),
            markers=int(is_marker.sum()),
            counted_to_end=to_end[walk],
            problems=[*self.problems, *said.problems, *unknown, *resolved.problems, *problems],
            remarks=[*matched, *resolved.remarks],
        )

    def _markers(self) -> tuple[np.ndarray, list[Problem]]:
        """Which frames session files name as markers, shape (n,), and names that are no frame's."""
        is_marker, problems = np.zeros(len(self.facts), dtype=bool), []
        for session, rows in self.governed:
            own = set(rows.tolist())
            for name in session.marks.markers:
                found = [row for row in self.index.find(name, session.path) if row in own]
                is_marker[found] = len(found) == 1
                if len(found) != 1:
                    what = f"markers names {name!r}, which is {'several frames' if found else 'no frame'}."
                    step = f"The name was ignored.{'' if found else self.index.nearest(name)}"
                    problems.append(Problem(str(session.path), what, step, ignored=True))
        return is_marker, problems

    def _notes(self) -> Claims:
        named = self.request.notes_file
        every = np.arange(len(self.facts))
        outer = [(self.request.outer_notes, every)] if self.request.outer_notes else []
        files = [*outer, *self.sources.notes] if named is None else [(named, every)]
        parts: list[Claims] = []
        for path, rows in files:
            parts.append(self._notes_file(path, rows, NOTE_READERS))
            drawn = sample_beside(path)
            if drawn.is_file():
                weights = self._notes_file(drawn, rows, SAMPLE_READERS)
                parts.append(Claims(weights.stated, weights.problems))
        return together(parts)

    def _notes_file(self, path: Path, rows: Rows, readers: Readers) -> Claims:
        try:
            notes, problems = read_notes(path, readers)
        except FileFormatError as error:
            if self.request.notes_file is not None:
                raise
            return Claims(problems=(ignored_file(path, error),))
        depth = OUTERMOST if path == self.request.outer_notes else len(path.absolute().parts)
        claims = claim_notes(path, notes, self.index, rows, depth, self.session_of)
        return replace(claims, problems=(*problems, *claims.problems))

    def _selects(self) -> Claims:
        rows_of: dict[Path, list[Rows]] = defaultdict(list)
        for session, rows in self.governed:
            if (folder := self.request.keepers_folder or session.marks.keepers) is not None:
                rows_of[folder].append(rows)
        return together(
            self._selects_in(folder, np.sort(np.concatenate(parts))) for folder, parts in rows_of.items()
        )

    def _selects_in(self, folder: Path, rows: Rows) -> Claims:
        if not folder.is_dir():
            step = "Correct keepers in the session file."
            missing = Problem(str(folder), "The folder of selects does not exist.", step, ignored=True)
            return Claims(problems=(missing,))
        found = find_files([folder])
        if not found.pictures:
            what = "The folder of selects holds no pictures, so it marks nothing."
            step = "Copy what you kept into it, or name another."
            return Claims(problems=(Problem(str(folder), what, step),))
        read = read_found(found, self.request.cache, self.request.workers)
        session = self.session_of(int(rows[0]))
        entries = [session.camera_entry(record.camera, record.camera) for record in read.records]
        offsets_s = [entry.clock_offset_s if entry else 0.0 for entry in entries]
        names = [found.shown(place) for place in found.pictures]
        exact = self.facts["has_subseconds"].fillna(False)
        return claim_selects(
            str(folder), rows, names, read.records, offsets_s, self.index, exact.to_numpy(bool)
        )

    def _count(
        self, table: pd.DataFrame, said: Claims, is_marker: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray, list[Problem]]:
        """What each frame counts as, and what if the choosing had gone to each session's end."""
        n, request = len(table), self.request
        governed = [
            (session, request.unmarked or session.marks.unmarked or "auto", rows[~is_marker[rows]])
            for session, rows in self.governed
        ]
        matched, unruled = np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
        for claim in said.stated:
            matched[claim.rows] |= claim.quantity == "keeper" and claim.source == "selects"
        for session, _, rows in governed:
            marks, asked = session.marks, (request.unmarked, request.keepers_folder)
            unruled[rows] = not any((*asked, marks.unmarked, marks.culled_to, marks.keepers))
        counted, problems = count_marks(table, governed, matched, self.index)
        to_end, _ = count_marks(table, governed, np.ones(n, dtype=bool), self.index)
        stated_before = settle("counted_as", said.stated, n).typed
        before = verdicts_of_words(pd.Series(settle("keeper", self.sources.stated.stated, n).typed))
        keeper = verdicts_of_words(table["keeper"])
        changed = np.zeros(n, dtype=bool)
        for _, rows in self.governed:
            changed[rows] = (before[rows] != keeper[rows]).any()
        # What a frame table said holds while no mark has changed, and nobody states a rule.
        as_before = unruled & ~changed & pd.notna(stated_before)
        counted[as_before] = stated_before[as_before]
        counts = as_before & (stated_before != LEFT_OUT)
        to_end[counts] = stated_before[counts]
        return counted, to_end, problems
