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


GARBAGE = """
import gc, weakref
from dryspell.tick.spare import begin_to_let_go, let_go

class Ring:
    def __init__(self):
        self.itself = self

gc.disable()
for _ in range(5):
    gone = weakref.ref(Ring())
    let_go()
    assert gone() is None
assert gc.get_freeze_count() == 0
stays = [Ring()]
begin_to_let_go()
kept = []
for _ in range(5):
    gone = weakref.ref(Ring())
    let_go()
    assert gone() is None
    kept.append(gc.get_freeze_count())
print(*kept, len(gc.get_objects()))
"""


def test_garbage_is_gone_after_each_tick_and_what_was_there_after_the_first_ones_is_looked_through_no_more():
    told = subprocess.run([sys.executable, "-c", GARBAGE], capture_output=True, text=True, check=True, timeout=60)
    *frozen, looked_through = map(int, told.stdout.split())
    assert frozen[0] > 1000
    assert frozen[2] >= frozen[3] >= frozen[4]
    assert looked_through < frozen[0] / 10
