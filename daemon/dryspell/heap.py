"""Memory that is free, given back to the system.

A tick and a page take tens of megabytes of arrays for a moment. What the C library keeps of it between them lies in
pieces, one pool a thread, and a process that runs for weeks would hold the most that each of them ever took.
"""

import ctypes
from collections.abc import Callable
from functools import cache

_M_ARENA_MAX = -8  # malloc.h of glibc


def give_back() -> None:
    """Give free memory back to the system, where the C library can: glibc's malloc_trim(3), some milliseconds."""
    _trim()(0)


def keep_one_pool() -> None:
    """Have all threads take memory out of one pool, where the C library can: glibc's mallopt(3), before any thread.

    They wait for Python's lock far longer than for that of the pool, and pools of their own keep some megabytes each.
    """
    try:
        ctypes.CDLL(None).mallopt(_M_ARENA_MAX, 1)
    except (OSError, AttributeError, TypeError):  # as below
        return


@cache
def _trim() -> Callable[[int], object]:
    try:
        trim: Callable[[int], object] = ctypes.CDLL(None).malloc_trim
    except (OSError, AttributeError, TypeError):  # another C library; it has ways of its own
        return lambda _: None
    return trim
