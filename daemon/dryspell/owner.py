"""Whom what is made in a folder belongs to: what root makes in somebody's folder is given to that owner.

As with `sudo dryspell check`: the owner's daemon could otherwise neither read it nor write beside it.
"""

import os
from pathlib import Path


def make_folder(folder: Path) -> None:
    """Make a folder and those above it that are missing, for their owner alone; OSError where that cannot be."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    folder.mkdir(mode=0o700, exist_ok=True)
    if os.geteuid() == 0:
        os.chown(folder, *_owner(folder.parent), follow_symlinks=False)


def open_or_make(path: Path) -> int:
    """Return a handle to read and write a file, which is made where it is missing, for its owner alone."""
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError:
        return os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    hand_over(handle, path.parent)
    return handle


def hand_over(handle: int, folder: Path) -> None:
    """Give a file that was just made to the owner of its folder."""
    if os.geteuid() == 0:
        os.fchown(handle, *_owner(folder))


def _owner(folder: Path) -> tuple[int, int]:
    found = folder.stat()
    return found.st_uid, found.st_gid
