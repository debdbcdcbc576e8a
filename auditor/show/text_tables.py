"""Tables on a screen: whole columns give way by priority, and below 72 columns each row becomes a block.

Nothing is ever cut inside a number or a name; a name too long for its column goes on in the next line.
"""

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

AS_BLOCKS = 72
GAP = 2
LONGEST = 28  # of a first column before it goes on in the next line


@dataclass(frozen=True, slots=True)
class Column:
    """One column; those with the largest ``priority`` go first where room is short, 0 never goes."""

    title: str
    priority: int = 0
    left: bool = False


def print_table(out: Console, title: str, columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> None:
    """Print a table as wide as the console allows; the first column names the row."""
    out.print(Text(f"\n{title}", style="bold"))
    lines = blocks(columns, rows) if out.width < AS_BLOCKS else grid(columns, rows, out.width)
    for line in lines:
        out.print(Text(line), overflow="fold")


def grid(columns: Sequence[Column], rows: Sequence[Sequence[str]], width: int) -> Iterator[str]:
    """Lay a table out in columns, at most ``width`` wide as long as only dropping columns is needed for it.

    >>> columns = [Column("preset", left=True), Column("rate"), Column("so far", 2)]
    >>> list(grid(columns, [["aisle", "37 %", "31 of 83"]], 80))
    ['preset  rate    so far', 'aisle   37 %  31 of 83']
    >>> list(grid(columns, [["aisle", "37 %", "31 of 83"]], 14))
    ['preset  rate', 'aisle   37 %']
    """
    lines = [[column.title for column in columns], *rows]
    widths = [max(1, *map(cell_len, cells)) for cells in zip(*lines, strict=True)]
    widths[0] = min(widths[0], LONGEST)
    kept = list(range(len(columns)))
    while sum(widths[at] + GAP for at in kept) - GAP > width:
        going = max(kept, key=lambda at: columns[at].priority)
        if columns[going].priority == 0:
            break
        kept.remove(going)
    for row in lines:
        name, *more = textwrap.wrap(row[0], widths[0]) or [""]
        cells = [name, *row[1:]]
        yield (" " * GAP).join(_pad(cells[at], widths[at], left=columns[at].left) for at in kept).rstrip()
        yield from more


def blocks(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Lay each row out as a block: its name, then a line for each cell that holds something.

    >>> list(blocks([Column("preset"), Column("rate"), Column("so far")], [["aisle", "37 %", ""]]))
    ['aisle', '  rate    37 %']
    """
    room = max((cell_len(column.title) for column in columns[1:]), default=0) + GAP
    for row in rows:
        yield row[0]
        for column, cell in zip(columns[1:], row[1:], strict=True):
            if cell.strip():
                yield f"  {_pad(column.title, room, left=True)}{cell}"


def _pad(text: str, width: int, *, left: bool) -> str:
    space = " " * max(width - cell_len(text), 0)
    return text + space if left else space + text
