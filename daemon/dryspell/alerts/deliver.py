"""Brings what lies in the outbox to its targets, each on its own, at least once."""

import logging
import random
from collections.abc import Collection
from datetime import timedelta
from itertools import groupby
from typing import Protocol

from dryspell.clock import Clock
from dryspell.errors import StoreError
from dryspell.store.outbox import Outbox, Sending
from dryspell.workers import Workers

log = logging.getLogger(__name__)

BACKOFF_S = (30.0, 60.0, 120.0, 300.0, 600.0)
"""How long to wait after the first failure, the second, and so on; the last one stays."""
JITTER = 0.2


class SendError(Exception):
    """A target did not take a message; the text says why and holds no address, token or password."""


class Sender(Protocol):
    """Takes one message to one target."""

    def send(self, target: str, title: str, body: str) -> None:
        """Send a message, or raise SendError."""
        ...


class Delivery:
    """Drains the outbox.

    Parameters
    ----------
    targets
        The targets there are; notices for others are dropped.
    rng
        Spreads the tries, so that a service that comes back is not met by everybody at once.
    """

    def __init__(
        self, outbox: Outbox, sender: Sender, targets: Collection[str], clock: Clock, rng: random.Random
    ) -> None:
        self._outbox = outbox
        self._sender = sender
        self._targets = targets
        self._clock = clock
        self._rng = rng
        self._workers = Workers()
        self._down: set[str] = set()

    def start(self) -> None:
        """Begin to send what is due; a target that still has a message under way is left for the next time."""
        now = self._clock.now()
        for sending in self._outbox.drop_expired(now, self._targets):
            why = "not delivered in time" if sending.target in self._targets else "there is no such target any more"
            why += f": {sending.last_error}" if sending.last_error else ""
            log.warning("%s %s to %s dropped, %s", sending.kind, sending.notice, sending.target, why)
        due = sorted(self._outbox.due(now), key=lambda sending: sending.target)
        for target, sendings in groupby(due, key=lambda sending: sending.target):
            self._workers.start(target, _Job(self, list(sendings)))

    def wait(self, timeout_s: float) -> bool:
        """Wait until nothing is under way, or for `timeout_s`; say which."""
        return self._workers.wait(timeout_s)

    def send_all(self, sendings: list[Sending]) -> None:
        """Send messages to one target, the oldest first, up to the first one it does not take."""
        try:
            for sending in sendings:
                if self._clock.now() <= sending.expires_at and not self._send(sending):
                    return
        except StoreError as error:
            # The daemon may have left while the message was under way; it is sent again after the next start.
            log.warning("what %s took could not be noted: %s", sendings[0].target, error)

    def _send(self, sending: Sending) -> bool:
        try:
            self._sender.send(sending.target, sending.title, sending.body)
        except Exception as error:  # noqa: BLE001  (whatever a service's code raises, the others go on)
            said = str(error) if isinstance(error, SendError) else f"its code failed with {type(error).__name__}"
            wait_s = BACKOFF_S[min(sending.attempts, len(BACKOFF_S) - 1)] * self._rng.uniform(1 - JITTER, 1 + JITTER)
            self._outbox.mark_failed(sending, said, self._clock.now() + timedelta(seconds=wait_s))
            if sending.target not in self._down:
                self._down.add(sending.target)
                log.warning("%s does not take alerts: %s; trying on", sending.target, said)
            return False
        self._outbox.mark_delivered(sending, self._clock.now())
        log.info("%s %s delivered to %s", sending.kind, sending.notice, sending.target)
        self._down.discard(sending.target)
        return True


class _Job:
    def __init__(self, delivery: Delivery, sendings: list[Sending]) -> None:
        self._delivery = delivery
        self._sendings = sendings

    def __call__(self) -> None:
        self._delivery.send_all(self._sendings)
