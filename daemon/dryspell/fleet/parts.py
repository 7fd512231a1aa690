"""The folder of results: a Parquet file a batch, each put in place whole, and kept as long as nothing of it changed."""

import fcntl
import json
import os
import re
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Self

from dryspell.errors import FleetError

if TYPE_CHECKING:
    import pyarrow as pa

RUNNING = "_running.json"
"""In the folder while results are not complete. Readers of Parquet pass over names that begin with _ or a dot."""
_LOCK = ".lock"
_PART = re.compile(r"part-\d{5,}-(?:[0-9a-f]{16}|again)\.parquet(?:\.tmp)?")
AGAIN = "again"
"""In the name of a part with rows that a further run should try again."""


class Parts:
    """The parts of one run.

    Parameters
    ----------
    folder
        Made where it is not there. One run at a time has it.
    now
        The instant to judge for.
    resume_s
        A run that was broken off so long ago at the most is gone on with, for the instant that it had; 0 for never.

    Raises
    ------
    FleetError
        The folder cannot be written to, or another run has it.
    """

    def __init__(self, folder: Path, now: datetime, resume_s: float) -> None:
        self._folder = folder
        self._names: set[str] = set()
        try:
            folder.mkdir(parents=True, exist_ok=True)
            self._lock = os.open(folder / _LOCK, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise FleetError(f"the folder {folder} cannot be written to: {error.strerror}") from None
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(self._lock)
            raise FleetError(f"another run writes to {folder}; wait for it, or name another folder") from None
        before = self._broken_off()
        is_recent = before is not None and timedelta(0) <= now - before <= timedelta(seconds=resume_s)
        self.now = before if before is not None and is_recent else now
        self._put(RUNNING, json.dumps({"now": self.now.isoformat()}).encode())

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self._lock)

    def kept(self, number: int, digest: str) -> Path | None:
        """Return a part that was finished before, of the same inputs; None where there is none."""
        path = self._folder / _name(number, digest)
        if not path.exists():
            return None
        self._names.add(path.name)
        return path

    def write(self, number: int, digest: str, table: "pa.Table") -> None:
        """Put a part in place."""
        import pyarrow as pa  # noqa: PLC0415  (an extra)
        import pyarrow.parquet as pq  # noqa: PLC0415

        sink = pa.BufferOutputStream()
        pq.write_table(table, sink, compression="zstd")
        name = _name(number, digest)
        self._put(name, sink.getvalue())
        self._names.add(name)

    def finish(self) -> None:
        """Take away what an earlier run left and this one did not make: the results are complete."""
        for path in self._folder.iterdir():
            if _PART.fullmatch(path.name) and path.name not in self._names:
                path.unlink()
        (self._folder / RUNNING).unlink()

    def _broken_off(self) -> datetime | None:
        """Return the instant of a run that was not finished; None where there was none."""
        try:
            return datetime.fromisoformat(json.loads((self._folder / RUNNING).read_text("utf-8"))["now"])
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def _put(self, name: str, content: "bytes | pa.Buffer") -> None:
        """Write a file so that it is there whole or not at all, also after the power went."""
        path = self._folder / name
        unfinished = path.with_name(f"{name}.tmp")
        try:
            with unfinished.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            unfinished.replace(path)
        except OSError as error:
            raise FleetError(f"{path} cannot be written: {error.strerror}") from None


def _name(number: int, digest: str) -> str:
    return f"part-{number:05}-{digest}.parquet"
