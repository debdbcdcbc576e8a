"""Memory of large archives: no search for cycles among small objects, and what was freed is given back."""

import ctypes
import gc
from collections.abc import Iterator
from contextlib import contextmanager, suppress


@contextmanager
def without_collector() -> Iterator[None]:
    """Pause the search, which would cost as much as the work itself; also usable as a decorator."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def give_back() -> None:
    """Give freed memory back to the system, where its C library (glibc) would keep it for later."""
    with suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)
