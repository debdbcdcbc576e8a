"""Damage picture files at random, build wrong ones, and read them: no crash, no wait, no growth, none lost.

    python tests/bench/fuzz_reading.py [--mutants 5000] [--seed 1] [--keep FOLDER]

The files are the real camera files beside the checkout where they are there, one made file of each kind, and,
as they are, the worst cases made by hand. Every fourth is no damaged file but a container built by the rules
that lies inside, raw files with their previews among them. Every file must come back as read, or as
unreadable with a reason, packed as for the cache, within two seconds of processor time; of every eighth a
small picture is asked for. With --keep the files that fail are saved. Exit code 1 when one does.
"""

from __future__ import annotations

import argparse
import collections
import logging
import random
import resource
import signal
import sys
import tempfile
import time
import warnings
from pathlib import Path
from typing import NoReturn

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from auditor.intake.photofile.metadata import read_file
from auditor.intake.photofile.packing import pack, unpack
from auditor.intake.photofile.previews import small_picture
from auditor.intake.photofile.records import FileRecord, with_serial_marks
from auditor.intake.photofile.xmp import XmpError, read_sidecar
from tests.bench.hostile_containers import drawn_container
from tests.intake.photofile.worst import HOSTILE_PACKETS, MADE, WORST_PICTURES

SAMPLES = Path(__file__).resolve().parents[3] / "shared" / "exif-samples"
MAX_SECONDS = 2.0
MAX_GROWTH_MB = 40
EXTREMES = [b"\x00", b"\xff", b"\x7f", b"\x80", b"\x01"]
COUNTS = [0, 1, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 0xFFFFFFFE, 999, 65535, 1 << 24]
HEADER_BYTES = 70_000  # damage beyond the header is not looked at


class TooSlowError(BaseException):
    """Raised by the timer; not an Exception, so that no reader swallows it."""


def too_slow(*_: object) -> NoReturn:
    raise TooSlowError


def mutate(data: bytes, chance: random.Random) -> bytes:
    """Damage a file in one to four places."""
    changed = bytearray(data)
    for _ in range(chance.randint(1, 4)):
        if len(changed) < 16:
            break
        at = chance.randrange(min(len(changed), HEADER_BYTES))
        kind = chance.randrange(8)
        if kind == 0:
            changed[at] ^= 1 << chance.randrange(8)
        elif kind == 1:
            changed[at : at + 1] = chance.choice(EXTREMES)
        elif kind == 2:
            del changed[at:]
        elif kind == 3:
            changed[at : at + 4] = chance.choice(COUNTS).to_bytes(4, chance.choice(["little", "big"]))
        elif kind == 4:  # the other byte order
            for mark, other in ((b"II*\x00", b"MM\x00*"), (b"MM\x00*", b"II*\x00")):
                place = changed.find(mark)
                if place >= 0:
                    changed[place : place + 4] = other
                    break
        elif kind == 5:
            size = chance.randrange(1, 200)
            changed[at:at] = changed[at : at + size]
        elif kind == 6:
            del changed[at : at + chance.randrange(1, 40)]
        else:
            attack_entry(changed, chance)
    return bytes(changed)


def attack_entry(data: bytearray, chance: random.Random) -> None:
    """Spoil the type, count or offset of one directory entry."""
    tag = chance.choice(
        [0x8769, 0x829A, 0x829D, 0x8827, 0x9003, 0x9206, 0x920A, 0xA20E, 0xA434, 0x0110, 0x02BC]
    )
    order = "little" if b"II*\x00" in data else "big"
    place = data.find(tag.to_bytes(2, order), 0, HEADER_BYTES)
    if place < 0 or place + 12 > len(data):
        return
    field = chance.randrange(3)
    if field == 0:
        data[place + 2 : place + 4] = chance.randrange(20).to_bytes(2, order)
    else:
        at = place + 4 * field
        data[at : at + 4] = chance.choice([*COUNTS, chance.randrange(1 << 17)]).to_bytes(4, order)


def read(path: Path) -> str:
    """Read one file and return how it is accounted for."""
    if path.suffix == ".xmp":
        try:
            values = read_sidecar(path)
        except XmpError as error:
            return f"refused: {str(error).partition(':')[0]}"
        assert isinstance(values, FileRecord)
        return "read (sidecar)"
    record = read_file(path)
    assert isinstance(record, FileRecord)
    marked = with_serial_marks(record)
    assert repr(unpack(pack(marked))) == repr(marked)
    if record.error is None:
        return f"read ({record.container})"
    assert "could not be read" not in record.error, record.error
    return f"unreadable: {record.error}"


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


class KeptMessages(logging.Handler):
    """Adds to a list what is logged."""

    def __init__(self, messages: list[str]) -> None:
        super().__init__()
        self.messages = messages

    def emit(self, record: logging.LogRecord) -> None:
        self.messages.append(record.getMessage())


def main(words: list[str] | None = None) -> int:
    """Run the mutants; return 1 where one failed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--mutants", type=int, default=5_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path)
    options = parser.parse_args(words)
    samples = sorted(path for path in SAMPLES.glob("*") if path.suffix != ".csv")
    originals = {path.name: path.read_bytes() for path in samples} | MADE
    hopeless = {f"{name}.jpg": data for name, data in WORST_PICTURES.items()}
    hopeless |= {f"{name}.xmp": data for name, data in HOSTILE_PACKETS.items()}
    warnings.simplefilter("error")
    messages: list[str] = []
    logging.getLogger().addHandler(KeptMessages(messages))
    signal.signal(signal.SIGPROF, too_slow)
    chance = random.Random(options.seed)
    outcomes: collections.Counter[str] = collections.Counter()
    failures: list[str] = []
    slowest, settled_mb = 0.0, 0.0
    work = list(hopeless.items())
    names = list(originals)
    with tempfile.TemporaryDirectory() as folder:
        for number in range(-len(work), options.mutants):
            if number < 0:
                name, data = work[number]
            elif number % 4 == 3:
                suffix, data = drawn_container(chance)
                name = f"built{suffix}"
            else:
                name = names[number % len(names)]
                data = mutate(originals[name], chance)
            path = Path(folder) / f"mutant{Path(name).suffix}"
            path.write_bytes(data)
            signal.setitimer(signal.ITIMER_PROF, MAX_SECONDS)
            begin = time.process_time()
            try:
                outcomes[read(path)] += 1
                if number % 8 == 7:
                    small_picture(path)
            except (Exception, TooSlowError) as error:
                failures.append(f"{number} of {name}: {type(error).__name__} {error}")
                if options.keep:
                    options.keep.mkdir(parents=True, exist_ok=True)
                    (options.keep / f"{number}-{name}").write_bytes(data)
            signal.setitimer(signal.ITIMER_PROF, 0)
            slowest = max(slowest, time.process_time() - begin)
            if number == options.mutants // 5:  # by then every kind of file has been read
                settled_mb = peak_mb()
    growth = peak_mb() - settled_mb
    for outcome, count in outcomes.most_common():
        print(f"{count:7d} {outcome}")
    print(f"{options.mutants} mutants, slowest {slowest * 1000:.0f} ms, memory grew by {growth:.0f} MB")
    for failure in [*failures, *messages[:10]]:
        print(failure)
    accounted = sum(outcomes.values()) == options.mutants + len(work)
    return 0 if accounted and not failures and not messages and growth < MAX_GROWTH_MB else 1


if __name__ == "__main__":
    sys.exit(main())
