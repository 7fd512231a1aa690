"""How far a growing file has been read, and where it goes on when the file has been rotated away."""

import hashlib
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

HEAD = 4096
"""Of how many bytes of its beginning, at the most, a file is known again."""


@dataclass(frozen=True)
class Position:
    """How far a file has been read.

    A file is known by its inode and by its beginning, as far as that has been read: what has been read of a file that
    only grows stays as it is, and an inode is soon given to another file.

    Attributes
    ----------
    inode
        The number of the file.
    offset
        How many bytes of it have been read.
    head
        A digest of the first of them, `HEAD` at the most.
    """

    inode: int
    offset: int
    head: str

    @classmethod
    def at(cls, file: BinaryIO, offset: int) -> "Position":
        """Return the position at an offset of a file."""
        return cls(os.fstat(file.fileno()).st_ino, offset, _digest(file, min(offset, HEAD)))

    @classmethod
    def from_values(cls, values: Any) -> "Position | None":
        """Return a position out of what `values` gave, None for anything else."""
        match values:
            case [int() as inode, int() as offset, str() as head] if offset >= 0:
                return cls(inode, offset, head)
        return None

    @property
    def values(self) -> list[int | str]:
        """The position as plain values."""
        return [self.inode, self.offset, self.head]

    def is_in(self, file: BinaryIO) -> bool:
        """Say whether a file begins with what has been read: it is the same one, or a copy of it."""
        long_enough = os.fstat(file.fileno()).st_size >= self.offset
        return long_enough and _digest(file, min(self.offset, HEAD)) == self.head

    def kept_file(self, path: Path, *, copies: bool) -> Path | None:
        """Return the file beside `path` in which the one that was read goes on, None where there is none.

        That is the file itself under a new name or, where `copies` will do, the newest copy of it.
        """
        found = []
        for beside in _beside(path):
            try:
                with beside.open("rb") as file:
                    status = os.fstat(file.fileno())
                    if not self.is_in(file):
                        continue
                    if status.st_ino == self.inode:
                        return beside
                    if copies and self.offset:
                        found.append((status.st_mtime, beside))
            except OSError:
                continue
        return max(found)[1] if found else None


def _beside(path: Path) -> Iterator[Path]:
    """Yield the files that a rotation of `path` may have left: their names begin as its own does."""
    try:
        yield from (
            each for each in path.parent.iterdir() if each.name.startswith(path.stem) and each.name != path.name
        )
    except OSError:
        return


def _digest(file: BinaryIO, length: int) -> str:
    file.seek(0)
    return hashlib.sha256(file.read(length)).hexdigest()[:32]
