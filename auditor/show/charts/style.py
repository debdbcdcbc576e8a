"""How every chart looks: palette, type and line weights, and how a figure becomes SVG and PNG.

The data colours are from the colour-blind-safe set of Okabe and Ito (Color Universal Design, 2008). Shape,
fill or side always differ too, so that a chart survives a grey printer.
"""

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure

from auditor.text import printable_lines

INK = "#1f1d1a"
MUTED = "#5e5a53"
RULE = "#c9c4b8"
PAPER = "#fdfcf9"
KEPT = "#0072b2"  # Okabe and Ito: blue
NOT_KEPT = "#d55e00"  # vermillion
ZONE = "#f0e442"  # yellow

WIDE_IN = 6.8
PNG_DPI = 160
TINY_PT, SMALL_PT, TEXT_PT = 6.5, 7.5, 8.5

_DEFAULTS: Any = {name: value for name, value in mpl.rcParamsDefault.items() if name != "backend"}
_RC: Any = {
    "font.family": ["DejaVu Sans", "sans-serif"],
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": TEXT_PT,
    "text.color": INK,
    "axes.edgecolor": INK,
    "axes.facecolor": "none",
    "axes.linewidth": 0.7,
    "axes.spines.left": False,
    "axes.spines.right": False,
    "axes.spines.top": False,
    "figure.facecolor": PAPER,
    "lines.solid_capstyle": "butt",
    "svg.fonttype": "none",
    "text.parse_math": False,
    "svg.hashsalt": "focus-zone-auditor",
    "xtick.color": MUTED,
    "xtick.labelsize": SMALL_PT,
    "xtick.major.width": 0.7,
    "xtick.major.size": 4.0,
}


@contextmanager
def chart_style() -> Iterator[None]:
    """Apply the style inside the block and nowhere else; what the user set for other work does not count."""
    # Text in a script that the font lacks stands in the SVG as it is; the PNG shows boxes, without a word.
    with mpl.rc_context({**_DEFAULTS, **_RC}), warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph", UserWarning)
        yield


def new_figure(height_in: float) -> Figure:
    """Return an empty figure of a page's width; no window system is touched."""
    return Figure(figsize=(WIDE_IN, height_in))


def to_svg(figure: Figure) -> str:
    """Return the figure as SVG text, the same for the same figure: no date, no random names."""
    buffer = io.StringIO()
    nothing = {"Date": None, "Creator": None, "Format": None, "Type": None}
    figure.savefig(buffer, format="svg", metadata=nothing)
    return printable_lines(buffer.getvalue())


def to_png(figure: Figure) -> bytes:
    """Return the figure as a PNG picture."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=PNG_DPI, metadata={"Software": None})
    return buffer.getvalue()
