"""The daemon: a tick at every interval until it is told to leave."""

import json
import logging
import os
import random
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from types import FrameType
from typing import TYPE_CHECKING, Self

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_EXECUTED, JobExecutionEvent
from apscheduler.schedulers.background import BackgroundScheduler

from dryspell.alerts.apprise_sender import AppriseSender
from dryspell.alerts.deliver import Delivery, Sender
from dryspell.alerts.draughtsman import Draughtsman, can_draw
from dryspell.clock import Clock
from dryspell.config import Config
from dryspell.errors import DryspellError
from dryspell.store.lock import DaemonLock
from dryspell.store.store import open_store
from dryspell.tick import Gatherer, Hub, Planner, Round, Seen, sources_of
from dryspell.tick.saying import held_back
from dryspell.weather.quality import Place
from dryspell.weather.sensors.notices import Notices
from dryspell.weather.sensors.receivers import Receivers
from dryspell.weather.sources import Source

if TYPE_CHECKING:
    from dryspell.alerts.mqtt_out import StatePublisher

log = logging.getLogger(__name__)

LEAVE_WITHIN_S = 2.0
"""How long to wait on leaving for what is under way; systemd and people expect three seconds at the most in all."""
LOOK_FOR_SIGNALS_S = 0.5
JUMP_S = 120.0
SHORTEST_TICK_S = 0.05


@dataclass
class Health:
    """Whether ticks go well; a page may show it."""

    last_good_at: datetime | None = None
    failures: int = 0
    last_error: str = ""

    def note(self, event: JobExecutionEvent) -> None:
        """Take in what the scheduler says of a tick, and log it once per change."""
        if event.exception is None:
            if self.failures:
                log.info("ticks go well again after %d that failed", self.failures)
            self.failures, self.last_error, self.last_good_at = 0, "", datetime.now(UTC)
            return
        self.failures += 1
        if str(event.exception) != self.last_error:
            self.last_error = str(event.exception)
            log.error("a tick failed, the next one tries again: %s", self.last_error)
            if not isinstance(event.exception, DryspellError):
                log.error("%s", event.traceback)


@dataclass
class JumpWatch:
    """Notices that the clock was set, or that the machine slept: the day's time and the stopwatch run apart."""

    clock: Clock
    speed: float = 1.0
    stopwatch: Callable[[], float] = time.monotonic
    _before: tuple[datetime, float] | None = field(default=None, init=False)

    def jumped_s(self) -> float:
        """Return by how many seconds the clock has run ahead since the last call; 0 for less than two minutes."""
        now, stopwatch = self.clock.now(), self.stopwatch()
        before, self._before = self._before, (now, stopwatch)
        if before is None:
            return 0.0
        apart = (now - before[0]).total_seconds() - (stopwatch - before[1]) * self.speed
        return apart if abs(apart) > JUMP_S * self.speed else 0.0


class Service:
    """A daemon on one state folder, from the lock to the last message.

    Parameters
    ----------
    clock, speed
        The clock to go by, and how many times faster than real time it runs.
    sender, sources
        Instead of those of the configuration: for the demo and for tests.

    Raises
    ------
    StoreError
        When another daemon runs on the folder, or the state cannot be used.
    """

    def __init__(
        self,
        config: Config,
        clock: Clock,
        *,
        speed: float = 1.0,
        sender: Sender | None = None,
        sources: Mapping[str, Source] | None = None,
    ) -> None:
        self.config = config
        self.clock = clock
        self.health = Health()
        self._jump = JumpWatch(clock, speed)
        self._ticking = threading.Lock()
        self._tick_s = max(config.daemon.tick_s / speed, SHORTEST_TICK_S)
        self._lock = DaemonLock(config.state_dir)
        try:
            self._store = open_store(config.state_dir)
        except BaseException:
            self._lock.release()
            raise
        rng = random.Random()  # noqa: S311  (spreads requests; nothing secret)
        draughtsman = Draughtsman() if sender is None and can_draw() else None
        if sender is None:
            sender = AppriseSender({key: target.url.get_secret_value() for key, target in config.alerts.items()})
        sources = sources_of(config, self._store) if sources is None else sources
        places = {key: Place(site.latitude_deg, site.longitude_deg) for key, site in config.site.items()}
        keep = timedelta(days=config.record.readings_d)
        self._hub = Hub(config.sensor, self._store, clock, places=places, keep=keep)
        self._receivers = Receivers(config.sensor, config.broker, config.push, config.state_dir, clock)
        self._gatherer = Gatherer(config, self._store, clock, sources, rng)
        self._delivery = Delivery(self._store, sender, config.alerts, clock, rng, draughtsman, held_back(config))
        self._planner = Planner(self._store)
        self._round = Round(
            config,
            self._store,
            clock,
            self._gatherer,
            self._delivery,
            self._hub,
            self._planner,
            pictures=draughtsman is not None,
        )
        self._publisher = _publisher_of(config)

    def tick(self) -> Seen:
        """Look once at everything; what is to be said is on its way when this returns."""
        seen = self._round.run()
        if self._publisher is not None:
            from dryspell.alerts.mqtt_states import state_document  # noqa: PLC0415  (as for the publisher)

            units = self.config.alerting.units
            self._publisher.show(state_document(outlook, units) for outlook in seen.outlooks)
        return seen

    def _tick_on_schedule(self) -> None:
        with self._ticking:
            self._tick_after_jump()

    def _tick_after_jump(self) -> None:
        jumped_s = self._jump.jumped_s()
        if jumped_s:
            log.warning("the clock jumped by %+.0f s; the weather is fetched anew", jumped_s)
            self._gatherer.refetch()
        self.tick()

    def run(self, stop: threading.Event) -> None:
        """Take in readings and tick until `stop` is set; the first tick is at once."""
        self._receivers.start(self._hub.take)
        if self._publisher is not None:
            self._publisher.start()
        scheduler = BackgroundScheduler(timezone=UTC)
        scheduler.add_listener(self.health.note, EVENT_JOB_EXECUTED | EVENT_JOB_ERROR)
        scheduler.add_job(
            self._tick_on_schedule,
            "interval",
            seconds=self._tick_s,
            next_run_time=datetime.now(UTC),
            coalesce=True,
            max_instances=1,
            misfire_grace_time=None,
        )
        scheduler.start()
        try:
            # A signal that another thread is given does not wake this one, and its handler runs here only.
            while not stop.wait(LOOK_FOR_SIGNALS_S):
                pass
        finally:
            scheduler.shutdown(wait=False)

    def close(self, *, wait_s: float = LEAVE_WITHIN_S) -> bool:
        """Wait a little for what is under way, close the state, and say whether nothing is left running.

        A tick may take half of the time to save what it has decided; messages have the rest.
        """
        until = time.monotonic() + wait_s
        self._planner.leave()
        if self._publisher is not None:
            self._publisher.stop()
        ended = self._receivers.stop(wait_s / 4)
        ended &= self._ticking.acquire(timeout=wait_s / 2)
        for under_way in (self._delivery, self._gatherer, self._planner):
            ended &= under_way.wait(max(0.0, until - time.monotonic()))
        if self._publisher is not None:
            ended &= self._publisher.wait(max(0.0, until - time.monotonic()))
        self._store.close()
        self._lock.release()
        return ended

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _publisher_of(config: Config) -> "StatePublisher | None":
    if config.mqtt_out is None:
        return None
    from dryspell.alerts.mqtt_out import StatePublisher  # noqa: PLC0415  (MQTT: not where nothing is published)

    # The same after a restart, and 23 letters at the most, as every broker takes (MQTT 3.1.1, section 3.1.3.1).
    ours = sha256(f"{socket.gethostname()} {config.state_dir.absolute()}".encode()).hexdigest()[:10]
    broker = config.broker[config.mqtt_out.broker]
    return StatePublisher(broker, config.mqtt_out.prefix, f"dryspell-out-{ours}", Notices())


def serve(service: Service) -> None:
    """Run a service until SIGTERM or SIGINT, and end the process within three seconds of it, whatever is under way."""
    stop = threading.Event()

    def leave(number: int, _frame: FrameType | None) -> None:
        log.info("leaving on %s", signal.Signals(number).name)
        stop.set()

    before = {number: signal.signal(number, leave) for number in (signal.SIGTERM, signal.SIGINT)}
    log.info("ready; Ctrl-C or SIGTERM ends it")
    try:
        service.run(stop)
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        if not service.close():
            log.warning("something is still under way; it is taken up again after the next start")
            logging.shutdown()
            sys.stdout.flush()
            # A hanging service must not keep the process: its thread cannot be ended in any other way.
            os._exit(0)


def log_to_stderr(*, as_json: bool = False) -> None:
    """Log for people on a terminal, and one plain line each with an instant otherwise. Libraries stay silent."""
    handler = logging.StreamHandler()
    handler.setFormatter(_JsonLines() if as_json else _lines(on_terminal=sys.stderr.isatty()))
    ours = logging.getLogger("dryspell")
    ours.handlers[:] = [handler]
    ours.setLevel(logging.INFO)
    ours.propagate = False
    # Their lines may hold addresses with tokens in them.
    logging.getLogger().addHandler(logging.NullHandler())


def _lines(*, on_terminal: bool) -> logging.Formatter:
    if on_terminal:
        return logging.Formatter("%(asctime)s  %(message)s", "%H:%M:%S")
    formatter = logging.Formatter("%(asctime)s %(levelname)s %(message)s", "%Y-%m-%dT%H:%M:%SZ")
    formatter.converter = time.gmtime
    return formatter


class _JsonLines(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        line = {
            "schema": "dryspell.log/1",
            "generated_at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="seconds")[:-6] + "Z",
            "level": record.levelname.lower(),
            "message": record.getMessage(),
        }
        if record.exc_info:
            line["traceback"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False)
