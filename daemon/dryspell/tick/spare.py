"""What a tick leaves behind in memory, let go of."""

import numpy as np

from dryspell.heap import give_back

_SMALL = 1024
_OF_A_SIZE = 7
"""numpy keeps this many blocks of every size below a kilobyte for arrays to come (its `alloc.c`). [bytes]"""


def let_go() -> None:
    """Give memory that is free back to the system, with what numpy keeps of it: some milliseconds.

    Small arrays have other lengths at every hour of a season, so that numpy comes to keep more than three megabytes;
    and a block that is kept in the midst of what a tick took keeps a page of it from being given back.
    """
    for size in range(1, _SMALL):
        for block in [np.empty(size, np.uint8) for _ in range(_OF_A_SIZE)]:
            block.resize(_SMALL, refcheck=False)  # too large now to be kept
    give_back()
