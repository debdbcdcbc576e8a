"""What people state in the tests: session files that several of them share, and what an archive says back."""

from __future__ import annotations

from auditor.intake.assembling import read_archive
from auditor.settings import Request

ARCADE = """
[[preset]]
name = "arcade"
focal_length = "28mm"
f_number = 8
focus_distance = "2.5m"
"""
ARCADE_ON = f"""{ARCADE}
[[stretch]]
preset = "arcade"
from = "P1010001"
"""
ARCADE_AND_GATE = f"""{ARCADE}
[[preset]]
name = "gate"
focal_length = "28mm"
f_number = 5.6
focus_distance = "3m"
"""


def read(*sources, **options):
    """Read an archive."""
    return read_archive(Request(tuple(sources), **options))


def said(archive):
    """All its problems, as one text."""
    return "\n".join(f"{p.file}: {p.what} {p.next}" for p in archive.problems)
