"""How long the command line takes to start, as a multiple of importing its framework.

    python tests/bench/bench_startup.py [--rounds 20]

Every case runs in a fresh process, all cases in turn, several rounds; the least processor time of each
counts, because other work on the machine only ever adds to it. ``auditor --help`` may take 2.0 times what
``python -c "import typer"`` takes, and ``auditor zone`` 4.0 times (exit code 1 where not). Beside them stands
the floor: a command line of one command with one option that imports numpy and does nothing. Typer from 0.29
on loads pydantic as soon as an option is read, which takes as long as numpy, so the project stays below it.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
MAIN = "import sys; from auditor.cli import main; main()"
ZONE = ["zone", "--focal-length", "28mm", "--f-number", "8", "--focus", "2.5m"]
LIMITS = {"auditor --help": 2.0, "auditor zone": 4.0}
FLOOR = """
import typer

app = typer.Typer(rich_markup_mode=None, add_completion=False)


@app.command()
def nothing(option: str = "") -> None:
    import numpy


app()
"""


def processor_s(arguments: list[str]) -> float:
    """Run python once and return the processor time it took [s]."""
    quiet = [(os.POSIX_SPAWN_OPEN, stream, os.devnull, os.O_WRONLY, 0) for stream in (1, 2)]
    child = os.posix_spawn(sys.executable, [sys.executable, *arguments], os.environ, file_actions=quiet)
    _, status, usage = os.wait4(child, 0)
    if status:
        raise SystemExit(f"python {' '.join(arguments)} failed")
    return usage.ru_utime + usage.ru_stime


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--rounds", type=int, default=20)
    rounds = parser.parse_args().rounds
    os.environ["PYTHONPATH"] = str(ROOT)
    with tempfile.TemporaryDirectory() as folder:
        floor = Path(folder) / "floor.py"
        floor.write_text(FLOOR, "utf-8")
        cases = {
            "import typer": ["-c", "import typer"],
            "import numpy": ["-c", "import numpy"],
            "the floor": [str(floor)],
            "auditor --help": ["-c", MAIN, "--help"],
            "auditor zone": ["-c", MAIN, *ZONE],
        }
        times: dict[str, list[float]] = {name: [] for name in cases}
        for _ in range(rounds):
            for name, arguments in cases.items():
                times[name].append(processor_s(arguments))
    least = {name: min(taken) for name, taken in times.items()}
    failed = False
    for name, taken in least.items():
        ratio = taken / least["import typer"]
        limit = LIMITS.get(name)
        verdict = "" if limit is None else f"  at most {limit}: {'ok' if ratio <= limit else 'TOO SLOW'}"
        failed |= limit is not None and ratio > limit
        print(f"{name:<16}{1000 * taken:7.0f} ms {ratio:6.2f} x{verdict}")
    return int(failed)


if __name__ == "__main__":
    raise SystemExit(main())
