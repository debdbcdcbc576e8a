"""Whether everything that is needed, faces included, installs from wheels: each system, each Python.

    python tests/bench/check_wheels.py [--python 3.11 ...]

Asks pip, for each system and version, to work out what it would install of the dependencies and of the extra
`people`, wheels alone; nothing is installed. Needs the package registry that pip is set up with. Prints the
version of what runs the face detector; exit code 1 where anything is missing.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
GLIBC = (17, 27, 28, 31, 34)  # minor versions that wheels are built for
SYSTEMS = {
    "Linux x86-64": [f"manylinux_2_{minor}_x86_64" for minor in GLIBC] + ["manylinux2014_x86_64"],
    "Linux arm64": [f"manylinux_2_{minor}_aarch64" for minor in GLIBC] + ["manylinux2014_aarch64"],
    "macOS 14 arm64": ["macosx_14_0_arm64"],
    "macOS 14 x86-64": ["macosx_14_0_x86_64"],
    "macOS 13 arm64": ["macosx_13_0_arm64"],
    "macOS 13 x86-64": ["macosx_13_0_x86_64"],
    "Windows x86-64": ["win_amd64"],
}
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
DETECTOR = "opencv-python-headless"


def would_install(needs: list[str], platforms: list[str], python: str) -> dict[str, str] | str:
    """Return versions by package, or what pip complains of."""
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        command = [sys.executable, "-m", "pip", "install", "--dry-run", "--ignore-installed", "--quiet"]
        command += ["--disable-pip-version-check", "--only-binary", ":all:", "--python-version", python]
        command += ["--target", folder, "--report", str(report)]
        for platform in platforms:
            command += ["--platform", platform]
        done = subprocess.run([*command, *needs], capture_output=True, text=True, check=False)
        if done.returncode:
            return done.stderr.strip().splitlines()[-1] if done.stderr.strip() else "pip failed"
        chosen = json.loads(report.read_text())["install"]
    return {one["metadata"]["name"].lower(): one["metadata"]["version"] for one in chosen}


def main() -> int:
    """Ask for every pair; return 1 where a wheel is missing."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--python", nargs="+", default=PYTHONS)
    options = parser.parse_args()
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    needs = [*project["dependencies"], *project["optional-dependencies"]["people"]]
    missing = 0
    for system, platforms in SYSTEMS.items():
        for python in options.python:
            found = would_install(needs, platforms, python)
            missing += isinstance(found, str)
            told = found if isinstance(found, str) else f"{len(found)} wheels, {DETECTOR} {found[DETECTOR]}"
            print(f"{system:16s} {python}  {told}", flush=True)
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
