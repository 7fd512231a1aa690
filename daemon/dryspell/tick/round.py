"""The effectful part of a tick: gather, look, decide, save and enqueue in one transaction, deliver."""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from pydantic import ValidationError

from dryspell.alerts.decide import decide, settled
from dryspell.alerts.deliver import Delivery
from dryspell.alerts.memory import PieceMemory
from dryspell.alerts.model import Notice
from dryspell.alerts.outgoing import Chart, Reader, outgoing
from dryspell.alerts.text import compose, notice_id
from dryspell.clock import Clock
from dryspell.config import Config
from dryspell.faults import kind_of, told
from dryspell.outlook.figures import Units
from dryspell.outlook.model import Outlook
from dryspell.outlook.plan_model import Plan
from dryspell.outlook.words import verdict_line
from dryspell.store import Store
from dryspell.store.notices import Given, Message
from dryspell.tick.alike import Answers
from dryspell.tick.charts import Charts
from dryspell.tick.gather import Gatherer
from dryspell.tick.hub import Hub
from dryspell.tick.learned import learned
from dryspell.tick.look import look
from dryspell.tick.outage_news import sensor_news, source_news
from dryspell.tick.plans import Planner
from dryspell.tick.saying import about, counted_on, habits_of, heard
from dryspell.tick.since import since_of
from dryspell.weather.table import WeatherTable

log = logging.getLogger(__name__)

FETCH_WAIT_S = 10.0
TIDY_STEPS = 4


@dataclass(frozen=True)
class Seen:
    """What one round saw and said: `config` is with what the record taught, `tables` are by site."""

    at: datetime
    config: Config
    tables: Mapping[str, WeatherTable | None]
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
        planner: Planner | None = None,
        *,
        pictures: bool = False,
    ) -> None:
        self._config = config
        self._store = store
        self._clock = clock
        self._gatherer = gatherer
        self._delivery = delivery
        self._hub = hub
        self._planner = planner
        self._habits = habits_of(config)
        self._pictures = pictures
        self._failing: dict[str, tuple[str, str]] = {}
        self._foretold: dict[str, int] = {}
        self._answers = Answers()
        self._read: dict[str, tuple[str, PieceMemory]] = {}

    @property
    def failing(self) -> Mapping[str, str]:
        """Why pieces could not be judged at the last look, by piece."""
        return {piece: text for piece, (_, text) in self._failing.items()}

    def run(self, *, fetch_wait_s: float = FETCH_WAIT_S) -> Seen:
        """Look once at everything, and begin to send what is to be said.

        Raises
        ------
        StoreError
            When the state cannot be read or written; nothing is then said, and the next round tries again.
        """
        config = learned(self._config, self._store.progress_seen())
        coats = {key: self._store.films(key, bare=True) for key in self._config.piece}
        tables = self._gatherer.tables(since_of(self._config, coats), wait_s=fetch_wait_s)
        now = self._clock.now()
        failed: dict[str, tuple[str, str]] = {}
        note = partial(self._failed, failed)
        outlooks = look(config, coats, tables, now, note, self._store.pots(), self._answers)
        self._failing = failed

        remembered = self._store.memory()
        before = self._memory(remembered)
        notices, memory = decide(before, outlooks, now, self._habits, self._plans())
        by_piece = {outlook.piece: outlook for outlook in outlooks}
        chart = Charts(config, by_piece, tables, now) if self._pictures else None
        messages = [self._message(notice, by_piece, chart) for notice in notices]
        live = counted_on(memory, outlooks, now)
        health = self._hub.health(now) if self._hub else ()
        of_sensors = sensor_news(config, health, remembered, now, live)
        of_sources = source_news(config, self._gatherer.health(), remembered, now, live)
        messages += of_sensors.messages + of_sources.messages
        news = self._store.save_round(
            {piece: self._written(piece, of_piece) for piece, of_piece in memory.items()}
            | of_sensors.memory
            | of_sources.memory,
            [Given(outlook.piece, outlook.word, outlook.reason) for outlook in outlooks],
            messages,
            settled(before, memory) | of_sensors.settled | of_sources.settled,
            now,
        )
        for given in news:
            log.info("%s", verdict_line(by_piece[given.piece], self._config.alerting.units))
        for message in messages:
            log.info("to say: %s [%s]", message.title, message.id)
        self._delivery.start()
        if self._planner is not None:
            self._planner.start(config, coats, tables, now)
        self._keep_foretold(outlooks, now)
        self._tidy(now)
        return Seen(now, config, tables, outlooks, messages, notices)

    def _plans(self) -> dict[str, Plan]:
        made = self._planner.latest if self._planner else None
        return {plan.piece: plan for plan in made.plans} if made else {}

    def _keep_foretold(self, outlooks: Sequence[Outlook], now: datetime) -> None:
        """Keep once an hour what is said of the weather ahead, for the review."""
        hour = int(now.timestamp()) // 3600
        said = {o.piece: o.foretold for o in outlooks if o.foretold and self._foretold.get(o.piece) != hour}
        if said:
            self._store.keep_foretold(said, now, since=now - timedelta(days=self._config.record.forecasts_d))
            self._foretold |= dict.fromkeys(said, hour)

    def _tidy(self, now: datetime) -> None:
        """Pack or drop a little of the record: at every tick so little that nothing waits for it."""
        record = self._config.record
        for _ in range(TIDY_STEPS):
            keep = {"readings": timedelta(days=record.readings_d), "issues": timedelta(days=record.forecasts_d)}
            if not self._store.tidy(now, **keep):
                return

    def _failed(self, failed: dict[str, tuple[str, str]], piece: str, error: Exception) -> None:
        """Note the kind of error for which a piece could not be judged, with its text; a new kind is logged."""
        kind, no_memory = kind_of(error), isinstance(error, MemoryError)
        failed[piece] = kind, told(error) if no_memory else repr(error)
        if self._failing.get(piece, ("", ""))[0] != kind:
            text = f"{piece} could not be judged" + (f": {told(error)}" if no_memory else "")
            log.error("%s", text, exc_info=None if no_memory else error)

    def _memory(self, remembered: Mapping[str, str]) -> dict[str, PieceMemory]:
        """Return what was said of the pieces; a text that was read at the round before is not read again."""
        read = {}
        for piece, text in remembered.items():
            if "/" in piece:  # of a sensor or a source of weather
                continue
            if (before := self._read.get(piece)) and before[0] == text:
                read[piece] = before
                continue
            try:
                read[piece] = text, PieceMemory.model_validate_json(text)
            except ValidationError:
                log.warning("what was said of %s cannot be read; something may be said twice", piece)
        self._read = read
        return {piece: memory for piece, (_, memory) in read.items()}

    def _written(self, piece: str, memory: PieceMemory) -> str:
        """Return what is said of a piece as text, which is not written again where it has not changed."""
        text, before = self._read.get(piece, ("", None))
        return text if before is memory else memory.model_dump_json()

    def _message(self, notice: Notice, seen: Mapping[str, Outlook], chart: Chart | None) -> Message:
        units, targets = self._config.alerting.units, self._config.alerts
        readers = {
            key: Reader(part, targets[key].units or units, targets[key].pictures)
            for key, part in heard(notice, targets).items()
        }
        found = about(self._config, (seen[piece] for piece in notice.pieces))
        place = self._config.site[notice.group].name if notice.group else ""

        def write(part: Notice, theirs: Units) -> tuple[str, str]:
            return compose(part, found, theirs, link=self._config.alerting.link, place=place)

        return outgoing(notice, notice_id(notice), readers, write, units, chart)
