"""What a tick leaves behind in memory, let go of."""

import gc

import numpy as np

from dryspell.heap import give_back

_SMALL = 1024
_OF_A_SIZE = 7
"""numpy keeps this many blocks of every size below a kilobyte for arrays to come (its `alloc.c`). [bytes]"""
_FIRST_TICKS = 3
"""By the last of these everything is loaded that ticks and pages take, if somebody has looked at a page."""

_to_settle = 0


def begin_to_let_go() -> None:
    """Have what is there after the first ticks taken for no garbage ever: for a process that is the daemon's alone.

    What was imported is nine tenths of all objects, and need not be looked through again after each tick.
    """
    global _to_settle  # noqa: PLW0603  (gc.freeze is of the whole process, and so is this)
    _to_settle = _FIRST_TICKS


def let_go() -> None:
    """Give memory that is free back to the system, with garbage and what numpy keeps of it: some milliseconds.

    Garbage that refers to itself is collected by Python itself only when there may be a quarter as much of it as there
    is of everything: ten thousand objects meanwhile, each in a page of others that it keeps from being given back.

    Small arrays have other lengths at every hour of a season, so that numpy comes to keep more than three megabytes;
    and a block that is kept in the midst of what a tick took keeps a page of it from being given back.
    """
    global _to_settle  # noqa: PLW0603  (as above)
    gc.collect()
    if _to_settle:
        _to_settle -= 1
        gc.freeze()
    for size in range(1, _SMALL):
        for block in [np.empty(size, np.uint8) for _ in range(_OF_A_SIZE)]:
            block.resize(_SMALL, refcheck=False)  # too large now to be kept
    give_back()
