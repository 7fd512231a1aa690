"""Charts drawn for a page: as SVG for every reader, and the script with which a browser draws them itself.

Nothing waits for a drawing but the drawing: a page goes out with its table and with the address of its picture, which
the browser asks for by itself. It is drawn when the first one asks, in a process of its own that ends with it, and kept
for all who ask for the same; a tick that changes nothing in a chart does not have it drawn again. Drawing at each tick
instead would keep a small machine warm for nobody.
"""

import gzip
import importlib.metadata
import logging
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from dryspell.alerts.draughtsman import COMMAND, can_draw, drawn
from dryspell.alerts.picture_draw import SCRIPT_BEGINS

log = logging.getLogger(__name__)

WITHIN_S = 60.0
"""A small board takes many times as long as the second or two that a drawing takes elsewhere."""
REST_S = 600.0
"""After one that went wrong none is tried for so long."""
WAIT_S = 90.0
"""Who waits longer than this for those before him goes without a picture."""
MOST_KEPT = 64
_PACKAGE = "vl-convert-python"


@dataclass(frozen=True)
class Drawn:
    """Something drawn, packed with gzip, and the mark it is known by."""

    packed: bytes
    mark: str

    @property
    def body(self) -> bytes:
        """The same, unpacked."""
        return gzip.decompress(self.packed)


def script_name() -> str | None:
    """Return the name of the script, which is another one with each version of what draws; None without that."""
    return f"vega-{_version()}.js" if can_draw() else None


@cache
def _version() -> str:
    """Return the version of what draws: looking it up takes a millisecond, and each piece on a page asks."""
    return importlib.metadata.version(_PACKAGE)


class Drawings:
    """Has charts drawn, one at a time, and keeps them.

    Parameters
    ----------
    folder
        Where the script is kept.
    command, within_s
        As for `dryspell.alerts.draughtsman.Draughtsman`.
    """

    def __init__(
        self,
        folder: Path,
        *,
        command: Sequence[str] = COMMAND,
        within_s: float = WITHIN_S,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._folder = folder
        self._command = tuple(command)
        self._within_s = within_s
        self._monotonic = monotonic
        self._turn = threading.Lock()
        self._lock = threading.Lock()
        self._kept: OrderedDict[Hashable, Drawn] = OrderedDict()
        self._of_text: OrderedDict[str, Drawn] = OrderedDict()
        self._script: Drawn | None = None
        self._rests_until = 0.0

    def kept(self, key: Hashable) -> Drawn | None:
        """Return a drawing that was made before."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
            return self._kept.get(key)

    def svg(self, key: Hashable, charts: Mapping[Hashable, str]) -> Drawn | None:
        """Return the drawing of a chart, None where it cannot be had now.

        Parameters
        ----------
        key
            Whoever asks with the same is given the same.
        charts
            The specification, as text, by its key, and others that will be asked for next: beginning to draw costs more
            than drawing.
        """
        return self.kept(key) or self._in_turn(lambda: self.kept(key) or self._draw(key, charts))

    def script(self) -> Drawn | None:
        """Return the script: from the disk, or made there the first time; None where it cannot be had now."""
        return self._script or self._in_turn(lambda: self._script or self._make_script())

    def _in_turn(self, make: Callable[[], Drawn | None]) -> Drawn | None:
        if not can_draw() or self._monotonic() < self._rests_until or not self._turn.acquire(timeout=WAIT_S):
            return None
        try:
            return make()
        finally:
            self._turn.release()

    def _draw(self, key: Hashable, charts: Mapping[Hashable, str]) -> Drawn | None:
        texts = dict.fromkeys(charts.values())
        new = [text for text in texts if _mark(text.encode()) not in self._of_text]
        made = self._made("svg", "\n".join(new), b"<svg") if new else b""
        if made is None:
            return None
        with self._lock:
            for text, svg in zip(new, made.splitlines(), strict=True):
                _keep(self._of_text, _mark(text.encode()), packed(svg))
            for each, text in charts.items():
                if drawing := self._of_text.get(_mark(text.encode())):
                    _keep(self._kept, each, drawing)
        return self.kept(key)

    def _made(self, kind: str, text: str, begins: bytes) -> bytes | None:
        if self._monotonic() < self._rests_until:  # it may have gone wrong for the one before
            return None
        body, wrong = drawn((*self._command, kind), text, self._within_s, begins)
        if wrong:
            self._rests_until = self._monotonic() + REST_S
            log.warning("a chart of the page could not be drawn (%s); its tables stand alone for ten minutes", wrong)
            return None
        return body

    def _make_script(self) -> Drawn | None:
        file = self._folder / f"{script_name()}.gz"
        self._script = _read(file)
        if self._script is None:
            made = self._made("script", "", SCRIPT_BEGINS.encode())
            if made is not None:
                self._script = packed(made)
                self._write(file, self._script.packed)
        return self._script

    def _write(self, file: Path, body: bytes) -> None:
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            for old in self._folder.glob("vega-*.js.gz"):
                old.unlink()
            part = file.with_suffix(".part")
            part.write_bytes(body)
            part.replace(file)
        except OSError as error:
            log.warning("the script for charts cannot be kept at %s (%s); it is made anew after each start",
                        file, error.strerror)  # fmt: skip


def packed(body: bytes) -> Drawn:
    """Return bytes packed and marked."""
    return Drawn(gzip.compress(body, 6, mtime=0), _mark(body))


def _mark(body: bytes) -> str:
    return sha256(body).hexdigest()[:24]


def _keep(kept: OrderedDict[Any, Drawn], key: Hashable, drawing: Drawn) -> None:
    kept[key] = drawing
    kept.move_to_end(key)
    while len(kept) > MOST_KEPT:
        kept.popitem(last=False)


def _read(file: Path) -> Drawn | None:
    """Return what is kept, None where it is not, or is damaged."""
    try:
        kept = file.read_bytes()
        body = gzip.decompress(kept)
    except (OSError, EOFError, ValueError):
        return None
    return Drawn(kept, _mark(body)) if body.startswith(SCRIPT_BEGINS.encode()) else None
