"""The daemon: a tick at every interval until it is told to leave."""

import logging
import os
import random
import signal
import socket
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from hashlib import sha256
from queue import Empty, SimpleQueue
from types import FrameType
from typing import TYPE_CHECKING, Self

from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_EXECUTED
from apscheduler.schedulers.background import BackgroundScheduler

from dryspell.alerts.apprise_sender import AppriseSender
from dryspell.alerts.deliver import Delivery, Sender
from dryspell.alerts.draughtsman import Draughtsman, can_draw
from dryspell.clock import Clock
from dryspell.config import Config
from dryspell.config.watch import ConfigWatch
from dryspell.errors import StoreError
from dryspell.faults import told
from dryspell.store.lock import DaemonLock
from dryspell.store.store import open_store
from dryspell.systemd import Notifier
from dryspell.tick.apart import Apart
from dryspell.tick.config_news import say_config
from dryspell.tick.gather import Gatherer
from dryspell.tick.heartbeat import Pulse
from dryspell.tick.hub import Hub
from dryspell.tick.past_years import PastYears
from dryspell.tick.plans import Planner
from dryspell.tick.round import Round, Seen
from dryspell.tick.saying import held_back
from dryspell.tick.sources import sources_of
from dryspell.tick.spare import let_go
from dryspell.tick.ticking import Health, JumpWatch
from dryspell.weather.quality import Place
from dryspell.weather.sensors.notices import Notices
from dryspell.weather.sensors.receivers import Receivers
from dryspell.weather.sources import Source
from dryspell.web.asked import AskedTicks
from dryspell.web.board import Board, Known

if TYPE_CHECKING:
    from starlette.types import ASGIApp

    from dryspell.alerts.mqtt_out import StatePublisher
    from dryspell.trade.piece import Piece
    from dryspell.weather.table import WeatherTable
    from dryspell.web.server import PageServer

log = logging.getLogger(__name__)

LEAVE_WITHIN_S = 2.0
"""How long to wait on leaving for what is under way; systemd and people expect three seconds at the most in all."""
LOOK_FOR_SIGNALS_S = 0.5
ASKED_TICK_S = 3.0
"""How long whoever has changed the record on the page waits for the tick that shows what became of it."""
SHORTEST_TICK_S = 0.05


class Service:
    """A daemon on one state folder, from the lock to the last message.

    Parameters
    ----------
    clock, speed
        The clock to go by, and how many times faster than real time it runs.
    sender, sources
        Instead of those of the configuration: for the demo and for tests.
    watch
        Looks at the file of the configuration at each tick. A changed one that is good is the `replacement`, and ends
        `run`; one that is not is said.

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
        watch: ConfigWatch | None = None,
    ) -> None:
        self.config = config
        self.replacement: Config | None = None
        self._closed = False
        self._watch = watch
        self.clock = clock
        self.health = Health()
        self._jump = JumpWatch(clock, speed)
        self._manager = Notifier.of(os.environ)
        self._ticking = threading.Lock()
        self._looking = threading.Lock()
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
        asks = sources is None
        sources = sources_of(config, self._store) if sources is None else sources
        self.board = Board()
        self._sources = sources
        places = {key: Place(site.latitude_deg, site.longitude_deg) for key, site in config.site.items()}
        keep = timedelta(days=config.record.readings_d)
        self._hub = Hub(config.sensor, self._store, clock, places=places, keep=keep)
        self._receivers = Receivers(config.sensor, config.broker, config.push, config.state_dir, clock)
        self._gatherer = Gatherer(config, self._store, clock, sources, rng)
        self._pulse = Pulse(config.state_dir, clock, self._tick_s * speed, self._gatherer.health, self._hub.health)
        self._delivery = Delivery(self._store, sender, config.alerts, clock, rng, draughtsman, held_back(config))
        apart = Apart()
        self._planner = Planner(
            self._store,
            on_made=self.board.show_plans,
            past_years=PastYears(config, self._store, ask=asks, apart=apart),
            apart=apart,
        )
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
        self._asked = AskedTicks(self._tick_on_schedule)
        self.page = self._page()

    def tick(self) -> Seen:
        """Look once at everything; what is to be said is on its way when this returns."""
        seen = self._round.run()
        self._show(seen)
        if self._publisher is not None:
            from dryspell.alerts.mqtt_states import state_document  # noqa: PLC0415  (as for the publisher)

            units = self.config.alerting.units
            self._publisher.show(state_document(outlook, units) for outlook in seen.outlooks)
        return seen

    def _show(self, seen: Seen) -> None:
        sources, sensors = self._gatherer.health(), self._hub.health(seen.at)
        self.board.show(Known(seen.at, seen.config, tuple(seen.outlooks), seen.tables, None, sources, sensors))

    def _page(self) -> "PageServer | None":
        if self.config.page.listen is None:
            return None
        from dryspell.web.server import PageServer  # noqa: PLC0415  (heavy: not where no page is served)

        return PageServer(self._app, self.config.page)

    def _app(self) -> "ASGIApp | None":
        """Return what answers on the page, in the thread of its server; None where it is time to leave by then."""
        from dryspell.web.app import create_app  # noqa: PLC0415  (as for the server)
        from dryspell.web.desk import Desk  # noqa: PLC0415

        if self.page is None or self.page.is_leaving:
            return None
        ask = partial(self._asked.ask, ASKED_TICK_S)
        desk = Desk(self.config, self._store, self.clock, self.board, self._weather_at, ask)
        return create_app(self.board, desk, self.config.page, self.clock)

    def _weather_at(self, piece: "Piece", since: datetime) -> "WeatherTable | None":
        """Return the weather at a piece as it is known, from an instant on; nobody is asked for it."""
        alone = replace(self.config, piece={piece.key: piece})
        gatherer = Gatherer(alone, self._store, self.clock, self._sources, random.Random())  # noqa: S311  (as above)
        return gatherer.tables({piece.site: since}, wait_s=0.0, fetch=False)[piece.site]

    def _beat(self) -> None:
        with self._ticking:
            if self._closed:  # the folder may be another's by now
                return
            self._look_at_config()
            problem = self._watch.problem if self._watch else ""
            self._pulse.beat(
                failures=self.health.failures,
                error=self.health.last_error,
                config_problem=problem,
                unjudged=self._round.failing,
            )

    def _look_at_config(self, *, at_once: bool = False) -> None:
        if self._watch is None:
            return
        with self._looking:
            if self.replacement is not None:
                return
            found = self._watch.look(at_once=at_once)
            try:
                if found is None:
                    say_config(self._store, self.config, self._watch.problem, self.clock.now())
            except StoreError as error:
                log.debug("not said yet: %s", error)
            self.replacement = found

    def _tick_on_schedule(self) -> None:
        with self._ticking:
            if self._closed:  # it was on its way when the service left
                return
            begun = time.perf_counter()
            try:
                self._tick_after_jump()
            except BaseException:
                self.board.vitals.failed()
                raise
            self.board.vitals.ticked(time.perf_counter() - begun)
            let_go()

    def _tick_after_jump(self) -> None:
        jumped_s = self._jump.jumped_s()
        if jumped_s:
            log.warning("the clock jumped by %+.0f s; the weather is fetched anew", jumped_s)
            self._gatherer.refetch()
        seen = self.tick()
        self._manager.ticked(_status_line(seen))

    def run(self, signals: SimpleQueue[signal.Signals]) -> bool:
        """Take in readings and tick, at first at once, until a signal ends it or a changed configuration does.

        Parameters
        ----------
        signals
            What the process is sent. Of SIGHUP the configuration is looked at; any other tells it to leave.

        Returns
        -------
        bool
            Whether it was told to leave; else there is a `replacement`.
        """
        self._receivers.start(self._hub.take)
        if self._publisher is not None:
            self._publisher.start()
        if self.page is not None:
            self.page.start()
        scheduler = BackgroundScheduler(timezone=UTC)
        scheduler.add_listener(self.health.note, EVENT_JOB_EXECUTED | EVENT_JOB_ERROR)
        scheduler.add_listener(lambda _: self._beat(), EVENT_JOB_EXECUTED | EVENT_JOB_ERROR)
        scheduler.add_listener(
            lambda event: self._manager.unwell(f"a tick failed: {told(event.exception)}"), EVENT_JOB_ERROR
        )
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
        self._manager.ready(self._tick_s)
        try:
            while self.replacement is None:
                # A signal that another thread is given does not wake this one, and its handler runs here only.
                with suppress(Empty):
                    sent = signals.get(timeout=LOOK_FOR_SIGNALS_S)
                    if sent is not signal.SIGHUP:
                        log.info("leaving on %s", sent.name)
                        return True
                    self._look_at_config(at_once=True)
            return False
        finally:
            scheduler.shutdown(wait=False)

    def close(self, *, wait_s: float = LEAVE_WITHIN_S) -> bool:
        """Wait a little for what is under way, close the state, and say whether nothing is left running.

        A tick may take half of the time to save what it has decided; messages have the rest. Closed already, it does
        nothing.
        """
        if self._closed:
            return True
        self._closed = True
        until = time.monotonic() + wait_s
        if self.replacement is None:
            self._manager.stopping()
        self._planner.leave()
        self._asked.leave()
        if self.page is not None:
            self.page.leave()
        if self._publisher is not None:
            self._publisher.stop()
        ended = self._receivers.stop(wait_s / 4)
        no_tick = self._ticking.acquire(timeout=wait_s / 2)
        ended &= no_tick
        for under_way in (self._delivery, self._gatherer, self._planner, self._asked, self.page):
            ended &= under_way is None or under_way.wait(max(0.0, until - time.monotonic()))
        if self._publisher is not None:
            ended &= self._publisher.wait(max(0.0, until - time.monotonic()))
        self._store.close()
        self._lock.release()
        if no_tick:
            self._ticking.release()
        return ended

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def _status_line(seen: Seen) -> str:
    """Return what a service manager shows of a tick."""
    words = Counter(outlook.word for outlook in seen.outlooks)
    return f"{seen.at:%H:%M}Z: " + ", ".join(f"{count} {word}" for word, count in words.items())


def _publisher_of(config: Config) -> "StatePublisher | None":
    if config.mqtt_out is None:
        return None
    from dryspell.alerts.mqtt_out import StatePublisher  # noqa: PLC0415  (MQTT: not where nothing is published)

    # The same after a restart, and 23 letters at the most, as every broker takes (MQTT 3.1.1, section 3.1.3.1).
    ours = sha256(f"{socket.gethostname()} {config.state_dir.absolute()}".encode()).hexdigest()[:10]
    broker = config.broker[config.mqtt_out.broker]
    return StatePublisher(broker, config.mqtt_out.prefix, f"dryspell-out-{ours}", Notices())


@contextmanager
def hearing() -> Iterator[SimpleQueue[signal.Signals]]:
    """Yield what the process is sent meanwhile: SIGTERM, SIGINT and, but on a terminal, SIGHUP.

    A handler may come while the same thread writes to the log or holds a lock. To log, or to set an Event, would then
    fail or wait for itself; this queue takes things at any moment.
    """
    signals: SimpleQueue[signal.Signals] = SimpleQueue()

    def sent(number: int, _frame: FrameType | None) -> None:
        signals.put(signal.Signals(number))

    handled = [signal.SIGTERM, signal.SIGINT]
    if not sys.stderr.isatty():
        # On a terminal it says that the window was closed.
        handled.append(signal.SIGHUP)
    before = {number: signal.signal(number, sent) for number in handled}
    try:
        yield signals
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def serve(
    service: Service,
    signals: SimpleQueue[signal.Signals],
    again: Callable[[Config], Service] | None = None,
    *,
    at_last: Callable[[], None] = lambda: None,
) -> None:
    """Run a service until SIGTERM or SIGINT, and end the process within three seconds of it, whatever is under way.

    Parameters
    ----------
    signals
        As of `hearing`.
    again
        Makes the service that goes on with a changed configuration.
    at_last
        Is called where the process ends here, with something still under way.
    """
    threads = set(threading.enumerate())
    well = False
    log.info("ready; Ctrl-C or SIGTERM ends it")
    try:
        while not service.run(signals) and service.replacement is not None and again is not None:
            service.close()
            service = again(service.replacement)
        well = True
    finally:
        service.replacement = None
        until = time.monotonic() + LEAVE_WITHIN_S
        ended = service.close()
        if not ended:
            log.warning("something is still under way; it is taken up again after the next start")
        if well and not (ended and _ended(threads, until)):
            at_last()
            logging.shutdown()
            sys.stdout.flush()
            # What hangs must not keep the process: its thread cannot be ended in any other way, and the interpreter
            # waits for the threads of pools without end.
            os._exit(0)


def _ended(before: Collection[threading.Thread], until: float) -> bool:
    """Wait until then for every thread begun since `before` that would keep the process, and say whether all ended."""
    ours = [thread for thread in threading.enumerate() if thread not in before and not thread.daemon]
    for thread in ours:
        thread.join(max(0.0, until - time.monotonic()))
    return not any(thread.is_alive() for thread in ours)
