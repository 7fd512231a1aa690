"""Memory of the daemon's threads comes out of one pool, and goes back."""

import platform
import subprocess
import sys

import pytest

CODE = """
import ctypes, sys, threading
from dryspell.heap import give_back, keep_one_pool

if sys.argv[1] == "one":
    keep_one_pool()
libc = ctypes.CDLL(None)
libc.malloc.restype = ctypes.c_void_p
at_once = threading.Barrier(4)
def take():
    at_once.wait()
    libc.malloc(1000)
    at_once.wait()
threads = [threading.Thread(target=take) for _ in range(4)]
[thread.start() for thread in threads]
[thread.join() for thread in threads]
give_back()
libc.fdopen.restype = ctypes.c_void_p
out = libc.fdopen(1, b"w")
libc.malloc_info(0, ctypes.c_void_p(out))
libc.fflush(ctypes.c_void_p(out))
"""


@pytest.mark.parametrize(("asked", "is_one"), [("one", True), ("as it is", False)])
def test_all_threads_share_one_pool_of_memory_where_that_was_asked_for(asked, is_one):
    if platform.libc_ver()[0] != "glibc":  # pools, and malloc_info(3) that counts them, are its own
        return
    told = subprocess.run([sys.executable, "-c", CODE, asked], capture_output=True, text=True, check=True, timeout=60)
    assert (told.stdout.count("<heap nr=") == 1) is is_one
