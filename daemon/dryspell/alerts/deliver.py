"""Brings what lies in the outbox to its targets, each on its own, at least once."""

import logging
import random
from collections import defaultdict
from collections.abc import Callable, Collection
from datetime import datetime, timedelta
from itertools import groupby
from typing import Protocol

from dryspell.clock import Clock
from dryspell.errors import StoreError
from dryspell.store.notices import Sending
from dryspell.store.outbox import LONGEST_WAIT, Outbox
from dryspell.workers import Workers

log = logging.getLogger(__name__)

BACKOFF_S = (30.0, 60.0, 120.0, 300.0, 600.0)
"""How long to wait after the first failure, the second, and so on; the last one stays."""
JITTER = 0.2
STUBBORN = 2
"""A message that failed this often before may itself be what fails: the one after it is then tried too."""

Draw = Callable[[], bytes | None]
"""Draws the picture of a message, a PNG; None where that did not go well."""
Holds = Callable[[Sending, datetime], bool]
"""Says whether something is held back at an instant."""
Draughtsman = Callable[[str], bytes | None]
"""Draws the chart of a message."""

_WHY = {
    "no target": "there is no such target any more",
    "late": "not delivered in time",
    "replaced": "a newer word on it is there",
    "overtaken": "it holds no more",
}


class SendError(Exception):
    """A target did not take a message; the text says why and holds no address, token or password."""


class Sender(Protocol):
    """Takes one message to one target."""

    def send(self, target: str, title: str, body: str, draw: Draw | None = None) -> None:
        """Send a message, or raise SendError; `draw` is called where the target takes pictures."""
        ...


class Delivery:
    """Drains the outbox.

    Parameters
    ----------
    targets
        The targets there are; notices for others are dropped.
    rng
        Spreads the tries, so that a service that comes back is not met by everybody at once.
    draughtsman
        Draws charts; None where none are drawn.
    holds
        Says what is not to be sent at an instant, since it is quiet then for its target.
    """

    def __init__(
        self,
        outbox: Outbox,
        sender: Sender,
        targets: Collection[str],
        clock: Clock,
        rng: random.Random,
        draughtsman: Draughtsman | None = None,
        holds: Holds | None = None,
    ) -> None:
        self._outbox = outbox
        self._sender = sender
        self._targets = targets
        self._clock = clock
        self._rng = rng
        self._draughtsman = draughtsman
        self._holds = holds
        self._workers = Workers()
        self._down: dict[str, _Rest] = {}

    def start(self) -> None:
        """Begin to send what is due; a target that still has a message under way is left for the next time."""
        now = self._clock.now()
        self._log_dropped(self._outbox.thin_out(now, self._targets))
        # The sort keeps the order within a target.
        due = sorted(self._to_send(now), key=lambda sending: sending.target)
        for target, group in groupby(due, key=lambda sending: sending.target):
            sendings, rest = list(group), self._down.get(target)
            if rest is not None and rest.holds(now):
                # One that cannot wait is tried at its own times, and what is behind it waits on.
                sendings = [sending for sending in sendings if sending.urgent]
            if sendings:
                self._workers.start(target, _Job(self, sendings))

    def _to_send(self, now: datetime) -> list[Sending]:
        due = self._outbox.due(now)
        return due if self._holds is None else [sending for sending in due if not self._holds(sending, now)]

    def wait(self, timeout_s: float) -> bool:
        """Wait until nothing is under way, or for `timeout_s`; say which."""
        return self._workers.wait(timeout_s)

    def send_all(self, sendings: list[Sending]) -> None:
        """Send messages to one target in their order, until it is plain that it does not take them now."""
        try:
            failed = 0
            for sending in sendings:
                # Whatever was sent before may have taken long.
                if not self._outbox.still_due(sending, self._clock.now()):
                    continue
                if self._send(sending):
                    failed = 0
                    continue
                failed += 1
                if failed > 1 or sending.attempts < STUBBORN:
                    return
        except StoreError as error:
            # The daemon may have left while the message was under way; it is sent again after the next start.
            log.warning("what %s took could not be noted: %s", sendings[0].target, error)

    def _send(self, sending: Sending) -> bool:
        late = self._outbox.late(sending.target)
        try:
            self._sender.send(
                sending.target, sending.title, _owning_up(sending.body, len(late)), self._drawing(sending)
            )
        except Exception as error:  # noqa: BLE001  (whatever a service's code raises, the others go on)
            self._failed(sending, str(error) if isinstance(error, SendError) else _plain(error))
            return False
        self._outbox.mark_delivered(sending, self._clock.now(), late)
        log.info("%s %s delivered to %s", sending.kind, sending.notice, sending.target)
        if self._down.pop(sending.target, None):
            log.info("%s takes alerts again", sending.target)
        return True

    def _drawing(self, sending: Sending) -> Draw | None:
        """Return how the picture is drawn: with the first try only, for what failed may have been the picture."""
        draughtsman = self._draughtsman
        if draughtsman is None or not sending.chart or sending.attempts:
            return None
        return lambda: draughtsman(sending.chart)

    def _failed(self, sending: Sending, said: str) -> None:
        # One draw for both, so that a message comes back when its target has rested; to the second, as it is kept.
        now, rest = self._clock.now().replace(microsecond=0), self._down.get(sending.target)
        spread, failures = self._rng.uniform(1 - JITTER, 1 + JITTER), rest.failures if rest else 0
        self._outbox.mark_failed(sending, said, now + _pause(sending.attempts, spread))
        self._down[sending.target] = _Rest(failures + 1, now + _pause(failures, spread))
        if rest is None:
            log.warning("%s does not take alerts: %s; trying on", sending.target, said)

    def _log_dropped(self, dropped: list[Sending]) -> None:
        """Log what is given up: a line for each target and each why, however many there are."""
        alike: dict[tuple[str, str], list[Sending]] = defaultdict(list)
        for sending in dropped:
            alike[sending.target, sending.dropped or ""].append(sending)
        for (target, dropped_why), sendings in alike.items():
            last = sendings[-1]
            what = f"{last.kind} {last.notice}" if len(sendings) == 1 else f"{len(sendings)} messages"
            error = next((sending.last_error for sending in reversed(sendings) if sending.last_error), "")
            why = _WHY.get(dropped_why, "") + (f": {error}" if error else "")
            level = logging.INFO if dropped_why in ("replaced", "overtaken") else logging.WARNING
            log.log(level, "%s to %s dropped, %s", what, target, why)


class _Rest:
    """A target that does not take messages: how often in a row, and until when it is left alone."""

    def __init__(self, failures: int, until: datetime) -> None:
        self.failures = failures
        self.until = until

    def holds(self, now: datetime) -> bool:
        """Say whether it is too soon; a rest that would be longer than any shows that the clock was set back."""
        return now < self.until <= now + LONGEST_WAIT


class _Job:
    def __init__(self, delivery: Delivery, sendings: list[Sending]) -> None:
        self._delivery = delivery
        self._sendings = sendings

    def __call__(self) -> None:
        self._delivery.send_all(self._sendings)


def _pause(failures: int, spread: float) -> timedelta:
    return timedelta(seconds=int(BACKOFF_S[min(failures, len(BACKOFF_S) - 1)] * spread))


def _owning_up(body: str, late: int) -> str:
    """Return a body with a line on what came too late, above the last one, which holds the id."""
    if not late:
        return body
    line = f"{late} message{'s were' if late > 1 else ' was'} too late and dropped."
    before, mark, last = body.rpartition("\n")
    return f"{before}{mark}{line}\n{last}" if last.startswith("[") else f"{body}\n{line}"


def _plain(error: Exception) -> str:
    # Not its words, which may hold the address.
    return f"its code failed with {type(error).__name__}"
