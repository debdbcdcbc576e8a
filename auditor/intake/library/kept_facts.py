"""Keeps what was made of a whole walk, so that an archive in which nothing has changed is known at once.

The facts of a walk follow from its files and their stamps; what people state is put in later and may change
freely. The cache holds one such table for each set of sources. It counts only where all of that is as it was,
else the files are gone through.
"""

import json
import os
import zlib
from array import array
from dataclasses import astuple
from hashlib import blake2b
from io import BytesIO
from operator import itemgetter
from typing import Any
from zipfile import BadZipFile

import numpy as np
import pandas as pd

from auditor.errors import Problem
from auditor.frames import TEXT, TRUTH, WHOLE
from auditor.intake.library.cache import Cache
from auditor.intake.library.facts import FACT_COLUMNS, Facts
from auditor.intake.library.folders import Found
from auditor.intake.photofile.packing import READER_VERSION

# Raise this whenever grouping or gathering come to make other facts of the same records.
FACTS_NUMBER = 6
FACTS_VERSION = zlib.crc32(repr([FACTS_NUMBER, READER_VERSION, FACT_COLUMNS]).encode())
FASTEST = 1  # of zlib: the table shrinks to a fifth, the higher levels take several times as long


def state_of(found: Found) -> bytes:
    """Return a digest of all that the facts of a walk follow from, 32 bytes."""
    folders = [(os.path.abspath(f.path), f.path, f.shown) for f in found.folders]
    digest = blake2b(repr((FACTS_VERSION, folders)).encode(), digest_size=32)
    for items, stamps in ((found.pictures, found.picture_stamps), (found.sidecars, found.sidecar_stamps)):
        digest.update(b"%d\n" % len(items))
        digest.update(array("q", map(itemgetter(0), items)).tobytes())
        digest.update(os.fsencode("/".join(map(itemgetter(1), items))))
        digest.update(stamps.tobytes())
    return digest.digest()


def recall_facts(store: Cache, place: str, state: bytes, found: Found) -> Facts | None:
    """Return the facts kept of a walk in the same state, if any."""
    packed = store.walk(place, state, (os.path.abspath(folder.path) for folder in found.folders))
    try:
        return None if packed is None else unpack_facts(packed)
    except ValueError:
        return None  # they are kept anew after this run


def pack_facts(facts: Facts) -> bytes:
    """Return facts as bytes: each column as its different values and, for each row, the number of its own."""
    rest = {
        "dtypes": {name: str(dtype) for name, dtype in facts.table.dtypes.items()},
        "problems": [astuple(problem) for problem in facts.problems],
        "unreadable": facts.unreadable,
        "merged": facts.merged,
    }
    arrays = {
        "rest": _as_json(rest),
        "folders": np.array(facts.folders, dtype=np.int32),
        "paths": _as_json(facts.paths),
    }
    for name, column in facts.table.items():
        codes, values = pd.factorize(column)
        if not len(values):
            continue  # known of no frame
        if len(values) < len(codes):  # else every row has a value of its own, in order
            arrays[f"codes {name}"] = codes.astype(np.min_scalar_type(-1 - len(values)))
        arrays[f"values {name}"] = _plain(values, str(column.dtype))
    whole = BytesIO()
    np.savez(whole, allow_pickle=False, **arrays)
    return zlib.compress(whole.getbuffer(), FASTEST)


def unpack_facts(packed: bytes) -> Facts:
    """Return the facts that were packed; raises ValueError if the bytes are damaged."""
    try:
        with np.load(BytesIO(zlib.decompress(packed)), allow_pickle=False) as whole:
            arrays = dict(whole)
        rest, n = json.loads(arrays["rest"].tobytes()), len(arrays["folders"])
        return Facts(
            table=pd.DataFrame(
                {name: _column(arrays, name, dtype, n) for name, dtype in rest["dtypes"].items()}, copy=False
            ),
            paths=json.loads(arrays["paths"].tobytes()),
            folders=arrays["folders"].tolist(),
            problems=[
                Problem(file, what, step, tuple(files), *others)
                for file, what, step, files, *others in rest["problems"]
            ],
            unreadable=rest["unreadable"],
            merged=rest["merged"],
        )
    except (zlib.error, BadZipFile, OSError, ValueError, KeyError, TypeError, IndexError) as error:
        raise ValueError("not packed facts") from error


def _column(arrays: dict[str, np.ndarray], name: str, dtype: str, n: int) -> Any:
    values: Any = arrays.get(f"values {name}", [])
    codes = arrays.get(f"codes {name}", np.arange(n) if len(values) else np.full(n, -1))
    if dtype == TEXT and len(values):
        values = json.loads(values.tobytes())
    return pd.array(values, dtype=dtype).take(codes.astype(np.intp), allow_fill=True)


def _plain(values: Any, dtype: str) -> np.ndarray:
    """Different values of a column as an array without objects; texts as JSON."""
    if dtype == TEXT:
        return _as_json(np.asarray(values, dtype=object).tolist())
    return np.asarray(values, dtype={WHOLE: "int64", TRUTH: "bool"}.get(dtype, dtype))


def _as_json(value: Any) -> np.ndarray:
    return np.frombuffer(json.dumps(value, separators=(",", ":")).encode(), dtype=np.uint8)
