"""Memory that is free, given back to the system.

A tick and a page take tens of megabytes of arrays for a moment. What the C library keeps of it between them lies in
pieces, one pool a thread, and a process that runs for weeks would hold the most that each of them ever took.
"""

import ctypes
from collections.abc import Callable
from functools import cache


def give_back() -> None:
    """Give free memory back to the system, where the C library can: glibc's malloc_trim(3), some milliseconds."""
    _trim()(0)


@cache
def _trim() -> Callable[[int], object]:
    try:
        trim: Callable[[int], object] = ctypes.CDLL(None).malloc_trim
    except (OSError, AttributeError, TypeError):  # another C library; it has ways of its own
        return lambda _: None
    return trim
