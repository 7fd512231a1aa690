"""Memory of the daemon's threads comes out of one pool, is kept at hand in a tick, and goes back after it."""

import os
import platform
import subprocess
import sys
from pathlib import Path

import pytest

CODE = """
import ctypes, sys, threading
from dryspell.heap import give_back, keep_at_hand

if sys.argv[1] == "one":
    keep_at_hand()
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


AGAIN = """
import resource, sys
import numpy
from dryspell.heap import give_back, keep_at_hand

def faults():
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt

def resident():
    return next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("RssAnon:"))

def work():
    numpy.stack([numpy.ones(80_000) for _ in range(20)])

if sys.argv[1] == "kept":
    keep_at_hand()
before = resident()
work()
work()
met = faults()
for _ in range(10):
    work()
print(faults() - met)
give_back()
print(resident() - before)
"""


@pytest.mark.parametrize(("asked", "are_few"), [("kept", True), ("as it is", False)])
def test_what_a_tick_frees_it_takes_again_without_meeting_new_pages_and_it_goes_back_afterwards(asked, are_few):
    if platform.libc_ver()[0] != "glibc":
        return
    # Without this glibc moves its thresholds up by itself, as far as what else it has freed suggests.
    env = os.environ | {"MALLOC_MMAP_THRESHOLD_": "65536"}
    command = [sys.executable, "-c", AGAIN, asked]
    told = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60, env=env)
    met, held_kib = (int(line) for line in told.stdout.split())
    assert (met < 500) is are_few  # each of the ten times is 24 MiB, 6,000 pages
    assert held_kib < 2_000


LARGE = """
import resource, sys
import numpy
from dryspell.heap import in_large_pages, keep_at_hand

keep_at_hand()
if sys.argv[1] == "large":
    in_large_pages()
met = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
held = [numpy.full(80_000, k) for k in range(30)]
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - met)
assert all((each == k).all() for k, each in enumerate(held))
"""
THERE_ARE = Path("/sys/kernel/mm/transparent_hugepage/enabled")


@pytest.mark.parametrize(("asked", "are_few"), [("large", True), ("as it is", False)])
def test_in_large_pages_what_a_command_takes_is_met_in_few_steps(asked, are_few):
    told = subprocess.run([sys.executable, "-c", LARGE, asked], capture_output=True, text=True, check=True, timeout=60)
    there_are = THERE_ARE.exists() and "[madvise]" in THERE_ARE.read_text("ascii")
    if platform.libc_ver()[0] == "glibc" and there_are:
        assert (int(told.stdout) < 1_000) is are_few  # 18 MiB, 4,700 of the usual pages
