"""Builds real photographs for the tests, with Pillow as the writer of their Exif."""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as in the commands; read when numpy is loaded

import signal
from collections.abc import Callable
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path
from shutil import which
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
import pytest
from hypothesis import HealthCheck, settings
from PIL import Image
from PIL.TiffImagePlugin import IFDRational
from typer.testing import CliRunner

from auditor.settings import Request

if TYPE_CHECKING:
    from auditor.journey import Audit

# How long a case takes says how busy the machine is; what may take how long is tested where it is promised.
settings.register_profile("unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("quick", settings.get_profile("unhurried"), max_examples=20)
settings.load_profile("unhurried")

# What a shell starts in the background ignores Ctrl-C, and so would the commands that are started here.
signal.signal(signal.SIGINT, signal.default_int_handler)

# matplotlib lists the fonts once, not anew in every home that a test makes for itself.
os.environ.setdefault("MPLCONFIGDIR", mpl.get_cachedir())

DEMO = Path(__file__).resolve().parents[1] / "demo_metadata"
SAMPLES = Path(__file__).resolve().parents[2] / "shared" / "exif-samples"

XMP = """<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/" {attributes}/>
</rdf:RDF></x:xmpmeta><?xpacket end="w"?>"""


@pytest.hookimpl(tryfirst=True)
def pytest_cmdline_main(config: pytest.Config) -> None:
    """Let workers, where pytest-xdist is there and there are several, take over what others have left."""
    if getattr(config.option, "numprocesses", None) and config.option.dist == "no":
        config.option.dist = "worksteal"


def pytest_configure(config: pytest.Config) -> None:
    """Let the quick loop try fewer invented cases; the whole suite tries all."""
    if config.option.markexpr == "not slow":
        settings.load_profile("quick")


def xmp_packet(rating: float | str | None = None, label: str | None = None) -> bytes:
    attributes = "" if rating is None else f' xmp:Rating="{rating}"'
    attributes += "" if label is None else f' xmp:Label="{label}"'
    return XMP.format(attributes=attributes).encode()


def _rational(value: float) -> IFDRational:
    ratio = Fraction(value).limit_denominator(100000)
    return IFDRational(ratio.numerator, ratio.denominator)


def write_photo(
    path: Path,
    at: datetime | None = None,
    *,
    subsec: str | None = None,
    camera: str | None = "body A",
    lens: str | None = None,
    focal_length_mm: float | None = None,
    focal_length_35mm: int | None = None,
    f_number: float | None = None,
    exposure_time_s: float | None = 1 / 250,
    iso: int | None = 400,
    distance: tuple[int, int] | None = None,
    flash: int | None = None,
    rating: float | str | None = None,
    label: str | None = None,
    exif_rating: int | None = None,
    size: tuple[int, int] = (24, 16),
) -> Path:
    """Write one small JPEG with the given facts in its Exif and XMP."""
    exif = Image.Exif()
    if camera is not None:
        exif[0x0110] = camera
    if exif_rating is not None:
        exif[0x4746] = exif_rating
    ifd = exif.get_ifd(0x8769)
    if at is not None:
        ifd[0x9003] = f"{at:%Y:%m:%d %H:%M:%S}"
    if subsec is not None:
        ifd[0x9291] = subsec
    for tag, value in ((0x920A, focal_length_mm), (0x829D, f_number), (0x829A, exposure_time_s)):
        if value is not None:
            ifd[tag] = _rational(value)
    if focal_length_35mm is not None:
        ifd[0xA405] = focal_length_35mm
    if iso is not None:
        ifd[0x8827] = iso
    if lens is not None:
        ifd[0xA434] = lens
    if distance is not None:
        ifd[0x9206] = IFDRational(*distance)
    if flash is not None:
        ifd[0x9209] = flash
    options: dict[str, Any] = {"exif": exif}
    if rating is not None or label is not None:
        options["xmp"] = xmp_packet(rating, label)
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", size, (120, 110, 100)).save(path, quality=60, **options)
    return path


@pytest.fixture
def photo() -> Callable[..., Path]:
    """The writer of single photographs."""
    return write_photo


@pytest.fixture
def walk(tmp_path: Path) -> Callable[..., Path]:
    """Writes a run of frames P1010001, ..., a minute apart, and returns their folder."""

    def write(
        count: int = 6, *, start: str = "2031-04-05T14:00:00", folder: str = "walk", **facts: Any
    ) -> Path:
        begin = datetime.fromisoformat(start)
        for i in range(count):
            own = {name: value[i] if isinstance(value, list) else value for name, value in facts.items()}
            write_photo(tmp_path / folder / f"P101{i + 1:04d}.jpg", begin + timedelta(minutes=i), **own)
        return tmp_path / folder

    return write


@pytest.fixture
def command(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """Runs a command in this process, away from the photographs and with a cache of its own.

    That spares the two seconds in which a process of its own loads; a fault of ours is raised.
    """
    from auditor.cli import make_app

    (tmp_path / "work").mkdir()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.chdir(tmp_path / "work")

    def go(*words: object, code: int = 0) -> Any:
        done = CliRunner().invoke(make_app(), [str(word) for word in words])
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        assert done.exit_code == code, done.stderr
        return done

    return go


@pytest.fixture(scope="session")
def demo() -> Audit:
    """An audit of the demo archive, for tests that only read it."""
    from auditor.journey import run_audit  # here, as the process that hands out the tests runs none

    return run_audit(Request((DEMO,), workers=1))


@pytest.fixture
def samples() -> Path:
    """Real camera files; tests that need them are skipped where they are not there."""
    if not (SAMPLES / "MANIFEST.csv").is_file():
        pytest.skip("the folder of real camera files is not beside this checkout")
    return SAMPLES


@pytest.fixture
def as_plain_user() -> list[str]:
    """Words before a command, so that files without permission are closed to the superuser too."""
    if os.name != "posix" or os.geteuid() != 0:
        return []
    if which("setpriv") is None:
        pytest.skip("the superuser may read everything, and nothing here takes that away")
    return ["setpriv", "--bounding-set=-dac_override,-dac_read_search"]


@pytest.fixture
def packet() -> Callable[..., bytes]:
    """The writer of XMP packets."""
    return xmp_packet
