"""Finds which frames each stretch of a session file covers: which preset was on the lens when.

A stretch with a slip sets nothing, but ends the one before all the same, so that no setting flows on into
frames of which it was not said. Where nobody knows where such a stretch begins, nobody knows where
the one before ends either, and both set nothing.
"""

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

import numpy as np

from auditor.errors import Problem
from auditor.intake.frame_index import FrameIndex, Rows, Timeline
from auditor.intake.statements.claims import Claim, Claims, objects
from auditor.intake.statements.moments import MomentFinder
from auditor.intake.statements.session import SessionFile, Stretch
from auditor.text import collapse

NOBODY, SEVERAL = -1, -2


def claim_stretches(session: SessionFile, rows: Rows, index: FrameIndex) -> Claims:
    """State which preset each stretch of one session file puts on which of the rows that it governs."""
    if not session.stretches or session.path is None:
        return Claims()
    reader = _Reader(session, index.timeline(rows), index)
    owner = reader.owners()
    claims: list[Claim] = []
    silent: list[tuple[Stretch, str, Rows]] = []
    from_lens = session.distances_from == "lens"
    for number, stretch in enumerate(session.stretches):
        covered = reader.covered(owner, number)
        if not len(covered):
            continue
        if stretch.slip or number in reader.unplaced:
            silent.append((stretch, reader.unplaced.get(number, stretch.slip), covered))
            continue
        stated: dict[str, Any] = {"preset": session.preset_named(stretch.preset)}
        if stretch.pressed != "zone":
            stated["pressed"] = stretch.pressed
        for quantity, value in stated.items():
            values, place = objects([value] * len(covered)), reader.place(stretch)
            claims.append(Claim(quantity, "session", covered, values, place, from_lens=from_lens))
    for stretch, why, covered in silent:
        files = collapse([index.name(row) for row in covered.tolist()])
        what = f"Frames of a stretch have no setting, because {why}: {files}."
        place, n = reader.place(stretch), len(covered)
        reader.problems.append(Problem(place, what, "Correct it.", ignored=True, frames=n))
    return Claims(tuple(claims), tuple(reader.problems))


class _Reader:
    def __init__(self, session: SessionFile, timeline: Timeline, index: FrameIndex) -> None:
        self.session, self.timeline, self.index = session, timeline, index
        self.find = MomentFinder(session, timeline, index)
        self.problems: list[Problem] = []
        self.unplaced: dict[int, str] = {}  # stretches that set nothing since it is not known where they end
        self._spans: list[tuple[int, int]] = []

    def place(self, stretch: Stretch) -> str:
        return f"{self.session.path}{stretch.place}"

    def owners(self) -> np.ndarray:
        """Number of the stretch that covers each frame of the timeline; negative where none does."""
        stretches = self.session.stretches
        starts = [self._start(number, stretch) for number, stretch in enumerate(stretches)]
        self._spans = [(0, 0)] * len(stretches)
        known = [(s.camera, at) for s, at in zip(stretches, starts, strict=True) if at is not None]
        begins = {camera: np.sort([at for own, at in known if own == camera]) for camera, _ in known}
        everywhere = np.sort([at for _, at in known])
        owner = np.full(len(self.timeline.rows), NOBODY)
        overlaps: dict[tuple[int, int], list[int]] = defaultdict(list)
        for number, stretch in enumerate(stretches):
            start = starts[number]
            if start is None:
                continue
            same = [begins[own] for own in (None, stretch.camera) if own in begins]
            stop, problem = self._stop(stretch, start, [everywhere] if stretch.camera is None else same)
            if problem is not None:
                self.problems.append(problem)
                continue
            self._spans[number] = start, stop
            mine = self.timeline.span(start, stop, stretch.camera)
            for position in mine[owner[mine] >= 0].tolist():
                overlaps[int(owner[position]), number].append(position)
            owner[mine[owner[mine] == NOBODY]] = number
        for (first, second), taken in overlaps.items():
            owner[taken] = SEVERAL
            files = collapse([self.index.name(row) for row in self.timeline.rows[taken].tolist()])
            what = (
                f"The stretches {first + 1} ({stretches[first].preset!r}) and {second + 1} "
                f"({stretches[second].preset!r}) overlap: {files}."
            )
            step = "Neither was applied to these frames. Correct from or to."
            place = self.place(stretches[second])
            self.problems.append(Problem(place, what, step, ignored=True, frames=len(taken)))
        return owner

    def covered(self, owner: np.ndarray, number: int) -> Rows:
        """Rows that a stretch covers."""
        start, stop = self._spans[number]
        return np.asarray(self.timeline.rows[start:stop][owner[start:stop] == number])

    def _start(self, number: int, stretch: Stretch) -> int | None:
        """Position of the first frame that a stretch covers; None where it covers none."""
        cameras = self.timeline.cameras
        if stretch.camera is not None and stretch.camera not in cameras:
            known = sorted({str(camera) for camera in cameras if isinstance(camera, str)})
            what = f"The stretch names a camera {stretch.camera!r} that took none of these frames."
            step = f"It was ignored. Cameras found: {', '.join(known) or 'none with a name'}."
            self.problems.append(Problem(self.place(stretch), what, step, ignored=True))
            return None
        if stretch.is_placed:
            position, problem = self.find.position(stretch, stretch.starts, default=0)
            if problem is None:
                return position
            self.problems.append(problem)
            if position is not None:  # its place is known by its neighbours' numbers
                self.unplaced[number] = f"there is no frame {stretch.starts!r}"
                return position
        self._unplace_the_one_before(number, stretch)
        return None

    def _unplace_the_one_before(self, number: int, stretch: Stretch) -> None:
        """Nobody knows where the stretch before this one ends, unless it says so itself."""
        for earlier in range(number - 1, -1, -1):
            other = self.session.stretches[earlier]
            if _share(stretch, other):
                if other.ends is None:
                    self.unplaced[earlier] = (
                        f"nobody knows where the next one begins ({stretch.starts or 'from'})"
                    )
                return

    def _stop(self, stretch: Stretch, start: int, begins: Sequence[np.ndarray]) -> tuple[int, Problem | None]:
        if stretch.ends is not None:
            stop, problem = self.find.position(stretch, stretch.ends, default=len(self.timeline.rows))
            if problem is None and stop is not None and stop <= start:
                what = f"The stretch ends ({stretch.ends}) before it begins ({stretch.starts})"
                if stop == start:
                    what = f"No frame lies from {stretch.starts} to {stretch.ends}, where the stretch is"
                step = "It was ignored. Correct from or to."
                problem = Problem(self.place(stretch), f"{what}.", step, ignored=True)
            return stop or 0, problem
        if stretch.starts is not None and not self.find.begins_near(stretch.starts, start):
            what = f"The stretch begins at {stretch.starts}, and no frame was taken soon after that."
            step = "It was ignored. Correct from, or add to where the stretch spans a longer time."
            return 0, Problem(self.place(stretch), what, step, ignored=True)
        later = [at[i] for at in begins if (i := np.searchsorted(at, start, side="right")) < len(at)]
        return int(min([self.timeline.end_of_session(start), *later])), None


def _share(one: Stretch, other: Stretch) -> bool:
    return one.camera is None or other.camera is None or one.camera == other.camera
