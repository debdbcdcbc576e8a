"""Many files, one frame: joins raw files, their JPEGs, sidecars, edited exports and copies.

Same folder and stem is one frame. Beyond that, files are joined when camera and capture time agree and one
stem continues the other in words (``P1010203`` and ``P1010203-web``), or equals it in another folder. A stem
that a number or a letter continues (``P1010203-2``) may be the next frame: where the times have no
sub-seconds, it counts only if that second holds one frame of that camera, which has a camera's name or
another size or format. A file without a time joins the frame of its folder whose number it continues
in words. In doubt none joins.
"""

import os
import re
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from auditor.errors import Problem
from auditor.intake.library.camera_pixels import find_copies
from auditor.intake.library.collector import without_collector
from auditor.intake.library.folders import Found, stem_of
from auditor.intake.library.numbering import DCF
from auditor.intake.photofile.records import FileRecord

# Endings of processed pictures; every other candidate ending is taken for a camera's raw file.
_PROCESSED = frozenset((".jpg", ".jpeg", ".jpe", ".mpo", ".png", ".webp", ".heic", ".heif", ".hif", ".avif"))
_DERIVED = frozenset((".tif", ".tiff"))
# A numbered frame's name and what an editor added to it: a sign, then a word; 12-A and roll1-frame7 stay.
_EXPORT = re.compile(r"(.*\d)[-_ .(+]+[^\W\d_]{2}\D*")
_WORD = re.compile(r"[-_ .(+]*[^\W\d_]{2}\D*")
_MOST_EXPORTS = 2  # more words without a time, or more numbers, behind one name are rather frames of a roll


@dataclass(slots=True)
class Group:
    """The files of one frame: indices into the walk's pictures and sidecars, the speaker first."""

    pictures: list[int] = field(default_factory=list)
    sidecars: list[int] = field(default_factory=list)


@without_collector()
def group_files(found: Found, records: Sequence[FileRecord]) -> tuple[list[Group], list[Problem]]:
    """Join files into frames, in the order of their first picture; groups without anything readable too."""
    problems: list[Problem] = []
    groups, of_name, of_stem = _by_stem(found, records, problems)
    _attach_sidecars(found, of_name, of_stem, problems)
    merged = _merge_copies(found, records, groups)
    several = [group for group in merged if len(group.pictures) > 1]
    if not several:
        return merged, problems
    cameras = np.array([record.camera for record in records], dtype=object)
    sizes = np.array([(r.stored_width_px, r.stored_height_px) for r in records], dtype="float64").T
    copies = find_copies(cameras, *sizes, few=False)
    for group in several:
        is_copy = copies if not copies[group.pictures].all() else np.zeros_like(copies)
        shortest = min(len(stem_of(found.pictures[i][1])) for i in group.pictures)
        group.pictures.sort(key=partial(_rank, found, records, is_copy, shortest))
    return merged, problems


def _by_stem(
    found: Found, records: Sequence[FileRecord], problems: list[Problem]
) -> tuple[list[Group], dict[tuple[int, str], Group], dict[tuple[int, str], list[Group]]]:
    groups: list[Group] = []
    of_stem: dict[tuple[int, str], list[Group]] = defaultdict(list)
    of_name: dict[tuple[int, str], Group] = {}
    for index, (folder, name) in enumerate(found.pictures):
        candidates = of_stem[folder, stem_of(name)]
        group = next((g for g in candidates if _agree(records[g.pictures[0]], records[index])), None)
        if group is None:
            if candidates:
                what = "Another file of the same name has another capture time."
                step = "They were counted as two frames; rename one if they are the same."
                problems.append(Problem(found.shown((folder, name)), what, step))
            group = Group()
            groups.append(group)
            candidates.append(group)
        group.pictures.append(index)
        if found.sidecars:
            of_name[folder, name.casefold()] = group
    return groups, of_name, of_stem


def _agree(one: FileRecord, other: FileRecord) -> bool:
    """Whether two files of one name can be the same frame: times within a second, or one unknown."""
    if one.captured_at is None or other.captured_at is None:
        return True
    return abs((one.captured_at - other.captured_at).total_seconds()) <= 1.0


def _attach_sidecars(
    found: Found,
    of_name: dict[tuple[int, str], Group],
    of_stem: dict[tuple[int, str], list[Group]],
    problems: list[Problem],
) -> None:
    for index, (folder, name) in enumerate(found.sidecars):
        base = name[: -len(".xmp")].casefold()
        exact = of_name.get((folder, base))
        groups = [exact] if exact is not None else of_stem.get((folder, base), [])
        if not groups:
            what = "A sidecar without its picture."
            problems.append(Problem(found.shown((folder, name)), what, "Put the picture beside it."))
        for group in groups:
            # The longer form name.ext.xmp speaks before name.xmp, which a raw file and a JPEG may share.
            group.sidecars.insert(0 if exact is not None else len(group.sidecars), index)


def _merge_copies(found: Found, records: Sequence[FileRecord], groups: list[Group]) -> list[Group]:
    alike: dict[tuple[object, ...], list[Group]] = defaultdict(list)
    for group in groups:
        record = _speaker(records, group)
        if record is not None and record.captured_at is not None:
            alike[record.camera, record.serial, record.captured_at].append(group)
    for members in alike.values():
        if len(members) > 1:
            _merge_alike(found, records, members)
    left = [group for group in groups if group.pictures]
    _merge_timeless(found, records, left)
    return [group for group in left if group.pictures]


def _merge_timeless(found: Found, records: Sequence[FileRecord], groups: list[Group]) -> None:
    """Join groups without a capture time to the one frame that they are named after."""
    named: dict[tuple[int, str], list[Group]] = defaultdict(list)
    timeless: list[tuple[tuple[int, str], Group]] = []
    for group in groups:
        folder, name = found.pictures[group.pictures[0]]
        named[folder, stem_of(name)].append(group)
        record = _speaker(records, group)
        if record is not None and record.captured_at is None:
            match = _EXPORT.fullmatch(stem_of(name))
            timeless += [((folder, match[1]), group)] if match else []
    exports = Counter(root for root, _ in timeless)
    for root, group in timeless:
        if len(named[root]) == 1 and exports[root] <= _MOST_EXPORTS:
            _take_in(named[root][0], group)


def _take_in(root: Group, group: Group) -> None:
    root.pictures.extend(group.pictures)
    root.sidecars.extend(index for index in group.sidecars if index not in root.sidecars)
    group.pictures, group.sidecars = [], []  # it is no frame of its own any more


def _merge_alike(found: Found, records: Sequence[FileRecord], members: list[Group]) -> None:
    """Join groups of one camera and one moment to their root."""

    def folder(group: Group) -> int:
        return found.pictures[group.pictures[0]][0]

    def stem(group: Group) -> str:
        return stem_of(found.pictures[group.pictures[0]][1])

    def kinds(group: Group) -> set[tuple[object, ...]]:
        shown = ((os.path.splitext(found.pictures[i][1])[1].lower(), records[i]) for i in group.pictures)
        return {(suffix, r.stored_width_px, r.stored_height_px) for suffix, r in shown}

    roots = 0
    first: dict[str, Group] = {}  # by stem, among the roots
    last: dict[str, Group] = {}
    copies: list[tuple[Group, Group]] = []
    continued: list[tuple[Group, Group, bool]] = []  # by a mere number
    for group in sorted(members, key=lambda g: (len(stem(g)), g.pictures[0])):
        own = stem(group)
        root = first.get(own)
        if root is not None and folder(root) != folder(group):
            copies.append((root, group))
            continue
        # Shorter stems came first, so every root that this stem could continue is known; the longest counts.
        starts = (own[:length] for length in range(len(own) - 1, 0, -1) if not own[length].isdigit())
        root = next((last[start] for start in starts if start in last), None)
        if root is not None:
            continued.append((root, group, not _WORD.fullmatch(own, len(stem(root)))))
        else:
            roots += 1
            first.setdefault(own, group)
            last[own] = group
    exact = all(records[i].has_subseconds for group in members for i in group.pictures[:1])
    # No camera adds to a name of its own; to another, say that of the second, a burst's number may be added.
    alone = roots == 1 and sum(counter for *_, counter in continued) <= _MOST_EXPORTS
    named = [
        (root, group)
        for root, group, counter in continued
        if exact or not counter or (alone and (DCF.fullmatch(stem(root)) or not kinds(group) <= kinds(root)))
    ]
    for root, group in copies + named:
        _take_in(root, group)


def _speaker(records: Sequence[FileRecord], group: Group) -> FileRecord | None:
    if len(group.pictures) == 1:
        record = records[group.pictures[0]]
        return record if record.error is None else None
    readable = [records[i] for i in group.pictures if records[i].error is None]
    return next((r for r in readable if r.captured_at is not None), readable[0] if readable else None)


def _rank(
    found: Found, records: Sequence[FileRecord], copies: np.ndarray, shortest: int, index: int
) -> tuple[object, ...]:
    """Order in which a frame's files speak: readable, whole, shortest name, with a time, raw, largest."""
    record = records[index]
    folder, name = found.pictures[index]
    suffix = os.path.splitext(name)[1].lower()
    kind = 2 if suffix in _DERIVED else 1 if suffix in _PROCESSED else 0
    return (
        record.error is not None,
        bool(copies[index]),
        len(stem_of(name)) > shortest,
        record.captured_at is None,
        kind,
        -record.stored_width_px * record.stored_height_px,
        folder,
        name,
    )
