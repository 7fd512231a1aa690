"""What was said beside what came, worked out once an hour for the page and its chart alike."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from threading import Lock

from dryspell.answers.review import reviewed
from dryspell.outlook.review import Reviewed
from dryspell.web.desk import Desk

DAYS = 400
"""As far back as `dryspell review` goes by itself."""


class Reviews:
    """Keeps what was reviewed for an hour: the daemon adds to it once an hour, and it takes a while."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._lock = Lock()
        self._hour = -1
        self._found: Mapping[str, Reviewed] = {}

    def of(self, now: datetime) -> Mapping[str, Reviewed]:
        """Return what was said of each piece beside what came of it; whoever asks meanwhile waits for the same."""
        hour = int(now.timestamp()) // 3600
        with self._lock:
            if hour != self._hour:
                config, store = self._desk.config, self._desk.store
                since = now - timedelta(days=DAYS)
                self._found = {key: reviewed(config, store, piece, since, now) for key, piece in config.piece.items()}
                self._hour = hour
            return self._found
