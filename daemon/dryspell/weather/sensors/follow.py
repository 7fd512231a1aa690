"""Readings out of a file that somebody else adds lines to.

Only whole lines are read. How far the reading has come is kept when the readings of a batch are, so that after a crash
some lines are read again, and none is left out. When the file is rotated away, by another name or by copying and
truncating it, the rest is read where it has gone to, and then the new one from its beginning. Only the file that was
being read is looked for: of several rotations while the daemon is down, those in the middle are not read, nor is a file
that has been packed.
"""

import csv
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

from dryspell.weather.sensors.attended import Attended
from dryspell.weather.sensors.decode import Arrival
from dryspell.weather.sensors.intake import Intake, NotKeptError
from dryspell.weather.sensors.memory import Memory
from dryspell.weather.sensors.model import Followed
from dryspell.weather.sensors.notices import Notices
from dryspell.weather.sensors.position import Position

LOOK_EVERY_S = 2.0
CHUNK = 2**18
"""How much is read at a time [bytes]; a line that is longer is none."""
QUIET_LOOKS = 2
"""In how many looks a file that was rotated away has nothing new before it is left: its writer may not know yet."""

_SEPARATORS = {"tab": "\t", "space": " "}


class FollowWay:
    """Follows one file."""

    def __init__(
        self,
        sensor: str,
        followed: Followed,
        intake: Intake,
        memory: Memory,
        notices: Notices,
        *,
        look_every_s: float = LOOK_EVERY_S,
    ) -> None:
        self._sensor = sensor
        self._followed = followed
        self._path = Path(followed.path or "")
        self._name = f"file {sensor} {self._path}"
        self._intake = intake
        self._memory = memory
        self._notices = notices
        self._look_every_s = look_every_s
        self._quiet_looks = 0
        self._attended = Attended(f"sensor {sensor}", self._work)

    def start(self) -> None:
        """Begin to read."""
        self._attended.start()

    def stop(self) -> None:
        """Ask for the end."""
        self._attended.stop()

    def wait(self, timeout_s: float) -> bool:
        """Wait for the end, and say whether it has come."""
        return self._attended.wait(timeout_s)

    def _work(self, stop: threading.Event) -> None:
        while not stop.is_set():
            if not self.look():
                stop.wait(self._look_every_s)

    def look(self) -> bool:
        """Read a batch of what is new, and say whether there may be more at once."""
        try:
            more = self._look()
        except NotKeptError:
            return False  # said by the intake
        except OSError as error:
            text = "is not there yet" if isinstance(error, FileNotFoundError) else error.strerror or str(error)
            self._notices.trouble(f"{self._sensor} file", f"sensor {self._sensor}: {self._path}: {text}")
            return False
        self._notices.over(f"{self._sensor} file", f"sensor {self._sensor}: {self._path} can be read again")
        return more

    def _look(self) -> bool:
        with self._path.open("rb") as file:
            begin = Position.at(file, 0)
            position = Position.from_values(self._memory.get(self._name)) or begin
            same = position.is_in(file)
            if same and position.inode == begin.inode:
                return self._read(file, position.offset)
            rest = position.kept_file(self._path, copies=not same)
            if rest is not None:
                with rest.open("rb") as old:
                    more = self._read(old, position.offset)
                self._quiet_looks = 0 if more else self._quiet_looks + 1
                if self._quiet_looks < QUIET_LOOKS:
                    return more
            self._quiet_looks = 0
            offset = position.offset if same and rest is None else 0
            self._keep(Position.at(file, offset))
            return self._read(file, offset)

    def _read(self, file: BinaryIO, offset: int) -> bool:
        """Read whole lines from an offset, and say whether there were any."""
        header, start = self._header(file, offset)
        file.seek(start)
        chunk = file.read(CHUNK)
        end = chunk.rfind(b"\n") + 1
        if end == 0 and len(chunk) == CHUNK:
            self._notices.trouble(f"{self._sensor} line", f"sensor {self._sensor}: {self._path}: a line without end")
            end = CHUNK
        if end:
            self._intake.take(list(self._arrivals(chunk[:end], header)))
            self._keep(Position.at(file, start + end))
        return end > 0

    def _keep(self, position: Position) -> None:
        self._memory.put(self._name, position.values)

    def _header(self, file: BinaryIO, offset: int) -> tuple[list[str], int]:
        """Return the names of the columns of a CSV file, and where to read on: behind the header at the least."""
        if self._followed.format != "csv" or self._followed.columns:
            return list(self._followed.columns), offset
        file.seek(0)
        end = 0
        for line in iter(lambda: file.readline(CHUNK), b""):
            end += len(line)
            text = _text(line)
            if line.endswith(b"\n") and text and not text.startswith("#"):
                return [name.strip() for name in self._fields(text)], max(offset, end)
        return [], offset

    def _arrivals(self, chunk: bytes, header: list[str]) -> Iterator[Arrival]:
        for line in chunk.splitlines():
            text = _text(line)
            if not text:
                continue
            payload: Any = text.encode()
            if self._followed.format == "csv":
                if text.startswith("#"):
                    continue
                payload = dict(zip(header, self._fields(text), strict=False))
            yield Arrival(self._sensor, payload, None)

    def _fields(self, line: str) -> list[str]:
        separator = _SEPARATORS.get(self._followed.separator, self._followed.separator)
        try:
            return next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
        except csv.Error:
            return []


def _text(line: bytes) -> str:
    return line.decode("utf-8-sig", "replace").strip("\r\n\0 ")
