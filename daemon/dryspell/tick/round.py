"""The effectful part of a tick: gather, look, decide, save and enqueue in one transaction, deliver."""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from pydantic import ValidationError

from dryspell.alerts.decide import decide, settled
from dryspell.alerts.deliver import Delivery
from dryspell.alerts.model import Habits, Notice, PieceMemory
from dryspell.alerts.sensors import MEMORY_KEY
from dryspell.alerts.text import compose, notice_id
from dryspell.clock import Clock
from dryspell.config import Config
from dryspell.outlook.model import Coat, Outlook
from dryspell.outlook.words import verdict_line
from dryspell.store import Store
from dryspell.store.outbox import Given, Message
from dryspell.tick.gather import Gatherer
from dryspell.tick.hub import Hub
from dryspell.tick.learned import learned
from dryspell.tick.look import look
from dryspell.tick.sensor_news import sensor_news

log = logging.getLogger(__name__)

FETCH_WAIT_S = 10.0
TIDY_STEPS = 4
FRESH = timedelta(days=7)
"""A coat laid this soon on the one under it may have followed at the least time, which slows it."""


@dataclass(frozen=True)
class Seen:
    """What one round saw and said."""

    at: datetime
    outlooks: list[Outlook]
    messages: list[Message]
    notices: list[Notice]


class Round:
    """Runs ticks; what it remembers is in the store, so that a new process goes on where the last one was killed."""

    def __init__(
        self,
        config: Config,
        store: Store,
        clock: Clock,
        gatherer: Gatherer,
        delivery: Delivery,
        hub: Hub | None = None,
    ) -> None:
        self._config = config
        self._store = store
        self._clock = clock
        self._gatherer = gatherer
        self._delivery = delivery
        self._hub = hub
        self._failing: dict[str, str] = {}

    def run(self, *, fetch_wait_s: float = FETCH_WAIT_S) -> Seen:
        """Look once at everything, and begin to send what is to be said.

        Raises
        ------
        StoreError
            When the state cannot be read or written; nothing is then said, and the next round tries again.
        """
        config = learned(self._config, self._store.progress_seen())
        coats = {key: self._store.coats(key) for key in self._config.piece}
        tables = self._gatherer.tables(since_of(self._config, coats), wait_s=fetch_wait_s)
        now = self._clock.now()
        failed: dict[str, str] = {}
        outlooks = look(config, coats, tables, now, lambda piece, error: self._failed(failed, piece, error))
        self._failing = failed

        habits = Habits(evening=self._config.alerting.evening)
        remembered = self._store.memory()
        before = self._memory(remembered)
        notices, memory = decide(before, outlooks, now, habits)
        by_piece = {outlook.piece: outlook for outlook in outlooks}
        messages = [self._message(notice, by_piece[notice.piece]) for notice in notices]
        of_sensors = sensor_news(config, self._hub.health(now) if self._hub else (), remembered, now)
        messages += of_sensors.messages
        news = self._store.save_round(
            {piece: of_piece.model_dump_json() for piece, of_piece in memory.items()} | of_sensors.memory,
            [Given(outlook.piece, outlook.word, outlook.reason) for outlook in outlooks],
            messages,
            settled(before, memory) | of_sensors.settled,
            now,
        )
        for given in news:
            log.info("%s", verdict_line(by_piece[given.piece], self._config.alerting.units))
        for message in messages:
            log.info("to say: %s [%s]", message.title, message.id)
        self._delivery.start()
        self._tidy(now)
        return Seen(now, outlooks, messages, notices)

    def _tidy(self, now: datetime) -> None:
        """Pack or drop a little of the record: at every tick so little that nothing waits for it."""
        record = self._config.record
        for _ in range(TIDY_STEPS):
            keep = {"readings": timedelta(days=record.readings_d), "issues": timedelta(days=record.forecasts_d)}
            if not self._store.tidy(now, **keep):
                return

    def _failed(self, failed: dict[str, str], piece: str, error: Exception) -> None:
        """Log a piece that could not be judged, once per change."""
        failed[piece] = repr(error)
        if self._failing.get(piece) != failed[piece]:
            log.error("%s could not be judged", piece, exc_info=error)

    def _memory(self, remembered: Mapping[str, str]) -> dict[str, PieceMemory]:
        memory = {}
        for piece, text in remembered.items():
            if piece.startswith(MEMORY_KEY):
                continue
            try:
                memory[piece] = PieceMemory.model_validate_json(text)
            except ValidationError:
                log.warning("what was said of %s cannot be read; something may be said twice", piece)
        return memory

    def _message(self, notice: Notice, outlook: Outlook) -> Message:
        piece = self._config.piece[notice.piece]
        title, body = compose(notice, outlook, self._config.lay_of(piece, notice.coat), self._config.alerting.units)
        return Message(
            id=notice_id(notice),
            key=notice.key,
            piece=notice.piece,
            kind=notice.kind,
            title=title,
            body=body,
            created_at=notice.created_at,
            expires_at=notice.expires_at,
            targets=tuple(key for key, target in self._config.alerts.items() if target.hears_of(notice.piece)),
        )


def since_of(config: Config, coats: Mapping[str, Sequence[Coat]]) -> dict[str, datetime]:
    """Return, by site, when the earliest of the last coats there was finished, or the one under it if it was fresh."""
    since: dict[str, datetime] = {}
    for key, piece in config.piece.items():
        if coats.get(key):
            last = coats[key][-1].finished_at
            first = min(coat.finished_at for coat in coats[key][-2:] if last - coat.finished_at <= FRESH)
            since[piece.site] = min(first, since.get(piece.site, first))
    return since
