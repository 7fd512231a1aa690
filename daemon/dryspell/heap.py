"""Memory that is free, given back to the system.

A tick and a page take tens of megabytes of arrays for a moment. What the C library keeps of it between them lies in
pieces, one pool a thread, and a process that runs for weeks would hold the most that each of them ever took.
"""

import ctypes
import mmap
from collections.abc import Callable
from functools import cache

# malloc.h of glibc.
_M_ARENA_MAX = -8
_M_MMAP_THRESHOLD = -3
_M_TRIM_THRESHOLD = -1

_APART_BYTES = 32 << 20
"""The largest array that is taken from a pool and not from the system, page by page; glibc takes no more."""
_LARGE_BYTES = _APART_BYTES - (1 << 20)
"""So much of the pool lies in large pages: what a command takes, and little enough to come out of the pool."""
_MADV_HUGEPAGE = 14  # Linux, asm-generic/mman-common.h
_KEPT_BYTES = 256 << 20
"""So much a pool may hold free before it gives memory back of itself: what a tick takes."""


def give_back() -> None:
    """Give free memory back to the system, where the C library can: glibc's malloc_trim(3), some milliseconds."""
    _trim()(0)


def keep_at_hand() -> None:
    """Have all threads take memory out of one pool that keeps what is freed, where the C library can: mallopt(3).

    To be called before any thread begins, by what gives back when its work is done. Threads wait for Python's lock far
    longer than for that of the pool, and pools of their own keep some megabytes each. Of judging a piece a quarter was
    arrays met anew, page by page, which had been given back the moment before.
    """
    try:
        options = ctypes.CDLL(None).mallopt
    except (OSError, AttributeError, TypeError):  # as below
        return
    options(_M_ARENA_MAX, 1)
    options(_M_MMAP_THRESHOLD, _APART_BYTES)
    options(_M_TRIM_THRESHOLD, _KEPT_BYTES)


def in_large_pages() -> None:
    """Have the next arrays lie in large pages, where the system has such: madvise(2), after `keep_at_hand`.

    To meet a page costs some microseconds, and a command that looks once meets ten thousand of the usual ones.
    """
    try:
        libc = ctypes.CDLL(None)
        libc.malloc.argtypes, libc.malloc.restype = (ctypes.c_size_t,), ctypes.c_void_p
        libc.free.argtypes, libc.madvise.argtypes = (ctypes.c_void_p,), (ctypes.c_void_p, ctypes.c_size_t, ctypes.c_int)
    except (OSError, AttributeError, TypeError):  # as below
        return
    block = libc.malloc(_LARGE_BYTES)
    if block:
        begin = -(-block // mmap.PAGESIZE) * mmap.PAGESIZE
        libc.madvise(begin, (block + _LARGE_BYTES - begin) // mmap.PAGESIZE * mmap.PAGESIZE, _MADV_HUGEPAGE)
        libc.free(block)


@cache
def _trim() -> Callable[[int], object]:
    try:
        trim: Callable[[int], object] = ctypes.CDLL(None).malloc_trim
    except (OSError, AttributeError, TypeError):  # another C library; it has ways of its own
        return lambda _: None
    return trim
