"""A file system turned read-only under a process that has its files open, by a filter of system calls (seccomp(2)).

The kernel itself turns one read-only after an error of the disk (`errors=remount-ro`, ext4(5)), and every write fails
from then on with EROFS. To ask for that takes a file system of one's own and nobody who has a file of it open; a filter
takes neither, and no rights.
"""

import ctypes
import errno
import os
import platform
import struct

# The numbers of pwrite64, pwritev, ftruncate, fallocate, openat, then all that makes, renames or removes a name
# (syscalls(2); asm/unistd_64.h for x86-64, asm-generic/unistd.h for arm64).
_CALLS = {
    "x86_64": (0xC000003E, 317, 257, (18, 296, 77, 285, 82, 83, 84, 85, 86, 87, 88, 258, 263, 264, 265, 266, 316)),
    "aarch64": (0xC00000B7, 277, 56, (68, 70, 46, 47, 34, 35, 36, 37, 38, 276)),
}
_LOAD, _EQUAL, _ANY_BIT, _RETURN = 0x20, 0x15, 0x45, 0x06  # linux/bpf_common.h
_NUMBER, _FLAGS_OF_OPENAT, _ARCHITECTURE = 0, 16 + 8 * 2, 4  # struct seccomp_data
_ALLOW, _ERROR = 0x7FFF0000, 0x00050000
_NO_NEW_PRIVILEGES, _SET_FILTER, _ALL_THREADS = 38, 1, 1


def turn_read_only():
    """Let every thread of this process, and what it starts from now on, write to no file."""
    architecture, seccomp, openat, writing = _CALLS[platform.machine()]
    program = [(_LOAD, 0, 0, _ARCHITECTURE), (_EQUAL, 1, 0, architecture), (_RETURN, 0, 0, _ALLOW)]
    program += [(_LOAD, 0, 0, _NUMBER)]
    for at, number in enumerate(writing):
        program += [(_EQUAL, len(writing) - at + 3, 0, number)]
    program += [
        (_EQUAL, 0, 2, openat),
        (_LOAD, 0, 0, _FLAGS_OF_OPENAT),
        (_ANY_BIT, 1, 0, os.O_CREAT),
        (_RETURN, 0, 0, _ALLOW),
        (_RETURN, 0, 0, _ERROR | errno.EROFS),
    ]
    code = b"".join(struct.pack("HBBI", *line) for line in program)
    kept = ctypes.create_string_buffer(code, len(code))
    what = struct.pack("HxxxxxxP", len(program), ctypes.addressof(kept))
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.prctl(_NO_NEW_PRIVILEGES, 1, 0, 0, 0) or libc.syscall(seccomp, _SET_FILTER, _ALL_THREADS, what):
        raise OSError(ctypes.get_errno(), "no filter")
