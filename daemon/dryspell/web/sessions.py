"""Who is logged in. A session is known by the digest of its name, so that the file of them lets nobody in."""

import json
import logging
import os
import secrets
import threading
from collections.abc import Callable
from contextlib import suppress
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path

log = logging.getLogger(__name__)

FILE_NAME = "page-sessions.json"
LASTS = timedelta(days=90)
MOST = 200
LARGEST_FILE = 256 * 1024


class Sessions:
    """Begins, knows and ends sessions; they outlive a restart of the daemon.

    Parameters
    ----------
    folder
        Where they are kept. Where that cannot be written to they are only remembered.
    now
        Tells what time it is.
    """

    def __init__(self, folder: Path, now: Callable[[], datetime]) -> None:
        self._file = folder / FILE_NAME
        self._now = now
        self._lock = threading.Lock()
        self._form_key, self._until = self._read()
        if not self._file.exists():
            self._write()  # so that a form that was open before a restart is still one of ours after it

    @property
    def form_key(self) -> bytes:
        """What forms are marked with."""
        return self._form_key

    def begin(self) -> str:
        """Begin a session and return its name."""
        name = secrets.token_urlsafe(32)
        with self._lock:
            now = self._now().timestamp()
            self._until = {digest: until for digest, until in self._until.items() if until > now}
            while len(self._until) >= MOST:
                del self._until[min(self._until, key=lambda digest: self._until[digest])]
            self._until[_digest(name)] = now + LASTS.total_seconds()
            self._write()
        return name

    def knows(self, name: str) -> bool:
        """Say whether a session of that name is on."""
        return self._until.get(_digest(name), 0.0) > self._now().timestamp()

    def end(self, name: str) -> None:
        """End a session."""
        with self._lock:
            if self._until.pop(_digest(name), None) is not None:
                self._write()

    def end_all(self) -> None:
        """End every session."""
        with self._lock:
            self._until = {}
            self._write()

    def _read(self) -> tuple[bytes, dict[str, float]]:
        with suppress(OSError, ValueError, KeyError, TypeError, AttributeError):
            if self._file.stat().st_size <= LARGEST_FILE:
                kept = json.loads(self._file.read_text("utf-8"))
                key = bytes.fromhex(kept["form_key"])
                if len(key) == 32:
                    return key, {str(digest): float(until) for digest, until in kept["until"].items()}
        return secrets.token_bytes(32), {}

    def _write(self) -> None:
        text = json.dumps({"form_key": self._form_key.hex(), "until": self._until})
        new = self._file.with_suffix(".new")
        try:
            with os.fdopen(os.open(new, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600), "w") as file:
                file.write(text)
            new.replace(self._file)
        except OSError as error:
            log.warning("who is logged in cannot be kept (%s); a restart asks for the token again", error.strerror)


def _digest(name: str) -> str:
    return sha256(name.encode("utf-8", "surrogatepass")).hexdigest()
