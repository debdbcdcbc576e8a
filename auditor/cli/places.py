"""Guards the photographs from being written among."""

import os
import shlex
from pathlib import Path

from auditor.errors import OutputError
from auditor.text import shown_path

MOST_REPEATED = 5  # sources that a suggested command names again


def output_folder(out: Path | None, default: str, sources: list[Path], command: str) -> Path:
    """Folder for results; a default among the photographs is refused, with the command to use instead."""
    from auditor.intake.sources import folders_of

    if out is not None:
        if out.exists() and not out.is_dir():
            raise OutputError(f"--out {out} is a file.", "Name a folder.")
        return out
    folder = Path(default)
    photographs = [place for source in sources for place in folders_of(source)]
    if not any(lies_in(folder, place) for place in photographs):
        return folder
    place = Path(os.path.abspath(folder.parent))
    while place != place.parent and any(lies_in(place / default, other) for other in photographs):
        place = place.parent
    again = (
        f"auditor {command} {shlex.join(map(str, sources))}"
        if len(sources) <= MOST_REPEATED
        else "the same command"
    )
    raise OutputError(
        f"The results would be written inside {shown_path(Path.cwd())}, among the photographs.",
        f"Use: {again} --out {shlex.quote(str(place / default))}",
    )


def lies_in(path: Path, folder: Path) -> bool:
    """Whether a path, there or not, lies in a folder, by whatever name or letter case that is called."""
    resolved = path.resolve()
    for upper in (resolved, *resolved.parents):
        try:
            if upper.samefile(folder):
                return True
        except OSError:
            continue
    return False
