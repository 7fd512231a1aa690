"""What numpy keeps of small arrays goes back after a tick, whatever lengths they had."""

import platform
import subprocess
import sys

import pytest

CODE = """
import ctypes, sys
import numpy as np
from dryspell.heap import give_back
from dryspell.tick.spare import let_go

class Told(ctypes.Structure):  # mallinfo2(3); the eighth is what is in use
    _fields_ = [(f"field_{number}", ctypes.c_size_t) for number in range(10)]

libc = ctypes.CDLL(None)
libc.mallinfo2.restype = Told
let_go()
before = libc.mallinfo2().field_7
for size in range(1, 1024):
    kept = [np.empty(size, np.bool_) for _ in range(10)]
del kept
{"let_go": let_go, "give_back": give_back}[sys.argv[1]]()
print(libc.mallinfo2().field_7 - before)
"""


@pytest.mark.parametrize(("by", "is_little"), [("let_go", True), ("give_back", False)])
def test_small_arrays_of_every_length_leave_nothing_behind(by, is_little):
    if platform.libc_ver()[0] != "glibc":  # mallinfo2(3) is its own
        return
    told = subprocess.run([sys.executable, "-c", CODE, by], capture_output=True, text=True, check=True, timeout=60)
    assert (int(told.stdout) < 200_000) is is_little
