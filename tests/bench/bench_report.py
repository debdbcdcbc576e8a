"""Time to draw the charts and build the page, against matplotlib drawing one plain scatter.

Processor time is taken, so that a busy machine does not matter. Run it from the checkout:
``python tests/bench/bench_report.py``. It exits with 1 where the limit is missed.
"""

from __future__ import annotations

import importlib.util
import io
import sys
import tempfile
from pathlib import Path
from time import process_time

import numpy as np
from matplotlib.figure import Figure

from auditor.audit import Audit
from auditor.show.charts import Chart, render_charts
from auditor.show.report import build_report

FRAMES = 10_000
TIMES_ALLOWED = 8.0  # of one plain scatter, for each chart, its page part included
REPEATS = 3


def plain_scatter_s() -> float:
    """Seconds to draw and save one plain scatter of as many points, as SVG and PNG; the best of three."""
    rng = np.random.default_rng(1)
    x, y = rng.random((2, FRAMES))
    return min(_timed_scatter(x, y) for _ in range(REPEATS))


def _timed_scatter(x: np.ndarray, y: np.ndarray) -> float:
    start = process_time()
    figure = Figure()
    figure.add_subplot().scatter(x, y)
    for kind in ("svg", "png"):
        figure.savefig(io.BytesIO(), format=kind)
    return process_time() - start


def measured(audit: Audit) -> tuple[float, float, dict[str, Chart], str]:
    """Seconds to draw the charts and to build the page, and both."""
    start = process_time()
    charts = render_charts(audit)
    drawn = process_time()
    page = build_report(audit, charts)
    return drawn - start, process_time() - drawn, charts, page


def main() -> int:
    """Measure and compare."""
    place = Path(__file__).parents[1] / "show" / "conftest.py"
    spec = importlib.util.spec_from_file_location("invented", place)
    assert spec is not None
    assert spec.loader is not None
    invented = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(invented)
    with tempfile.TemporaryDirectory() as folder:
        audit = invented.audited(invented.invented_frames(FRAMES), Path(folder))
    unit = plain_scatter_s()
    drawing, building, charts, page = min(
        (measured(audit) for _ in range(REPEATS)), key=lambda m: m[0] + m[1]
    )
    times = (drawing + building) / (unit * len(charts))
    print(f"plain scatter of {FRAMES} points: {unit:.2f} s")
    print(f"{len(charts)} charts: {drawing:.2f} s, page: {building:.2f} s, {len(page) / 1e6:.2f} MB")
    print(f"{times:.1f} times the scatter for each chart, {TIMES_ALLOWED:g} allowed")
    return int(times > TIMES_ALLOWED)


if __name__ == "__main__":
    sys.exit(main())
