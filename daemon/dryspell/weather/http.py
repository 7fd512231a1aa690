"""Answers of web services, kept on disk: asked for seldom, and the last good one at hand when the service is not."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from dryspell import __version__
from dryspell.errors import WeatherError
from dryspell.weather.address import Address
from dryspell.weather.exchange import NONE, Exchange, Question, ReadRefusal, Reply, full_jitter, no_reason
from dryspell.weather.kept import Kept, load, save
from dryspell.weather.waits import fresh_for_s, instant_text, length_text

# Every failed call counts against the quota of a free service: each failure in a row doubles the pause.
PAUSE_AFTER_FAILURE_S = 300.0
LONGEST_WAIT_S = 25 * 3600.0  # a day's quota, with an hour to spare


@dataclass(frozen=True)
class Answer:
    """A good answer.

    Attributes
    ----------
    body
        What was sent.
    fetched_at
        When the body came over. A server that says it has not changed since does not make it younger.
    from_cache
        The body was on disk already.
    status
        The HTTP status the body came with.
    notes
        What a reader should know, such as why an old copy has to serve.
    """

    body: bytes
    fetched_at: datetime
    from_cache: bool
    status: int
    notes: tuple[str, ...] = ()


def accept_all(_body: bytes) -> None:
    """Find nothing wrong with a body."""


class HttpCache:
    """Gets addresses, no more often than is polite, and keeps the last good answer of each.

    Parameters
    ----------
    folder
        Where the answers are kept; made when it is missing.
    contact
        How the operator of a service can reach ours: an address of a page or a mailbox, sent with the User-Agent.
        Sources whose service answers nobody else look at it.
    min_interval_s
        The shortest time between two fetches of one address [s].
    timeout
        To connect and to wait for each piece of the answer [s].
    total_s
        The longest that one answer may take to come in [s].
    sleep, jitter, monotonic
        How to wait between tries; how long, given the ceiling; the stopwatch behind `total_s`.

    Raises
    ------
    WeatherError
        The contact cannot be sent in a header.
    """

    def __init__(
        self,
        folder: Path,
        *,
        contact: str = "",
        min_interval_s: float = 1800.0,
        timeout: tuple[float, float] = (5.0, 20.0),
        total_s: float = 60.0,
        sleep: Callable[[float], object] = time.sleep,
        jitter: Callable[[float], float] = full_jitter,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        if not (contact.isascii() and contact.isprintable()):
            raise WeatherError(f"the contact {contact!r} cannot be sent; write it in one line of plain ASCII letters")
        agent = f"dryspell/{__version__}" + (f" (+{contact})" if contact else "")
        self.contact = contact
        self._folder = folder
        self._min_interval_s = min_interval_s
        self._exchange = Exchange(
            agent, timeout=timeout, total_s=total_s, sleep=sleep, jitter=jitter, monotonic=monotonic
        )

    def get(
        self,
        url: str,
        params: Mapping[str, str],
        now: datetime,
        *,
        check: Callable[[bytes], object] = accept_all,
        read_refusal: ReadRefusal = no_reason,
        headers: Mapping[str, str] = NONE,
        secret_headers: Mapping[str, str] = NONE,
        keep_s: float | None = None,
    ) -> Answer:
        """Return the answer of an address, from the server when it may be asked again, else from disk.

        When the server fails, or sends what `check` does not accept, the last good answer is returned with its true age
        and a note. A good answer is never replaced by one that failed the check.

        Parameters
        ----------
        url, params
            What to ask. Keys among the parameters are sent, but neither stored nor shown.
        now
            The present instant, aware.
        check
            Raises WeatherError for a body that cannot be used.
        read_refusal
            Reads the reason and the wait out of an error's body.
        headers
            Sent along, such as which form of answer is wanted.
        secret_headers
            Keys: sent to the host of the address and to no other, neither stored nor shown.
        keep_s
            How long a good answer holds, for one that changes more seldom than others. [s]

        Raises
        ------
        WeatherError
            There is no answer, new or old; `retry_after_s` is how long the address will not be asked.
        """
        address = Address.of(url, params, secret_headers.values())
        question = Question(address.full, headers, secret_headers, read_refusal)
        kept, damage = load(self._folder, address.shown)
        notes: tuple[str, ...] = (damage,) if damage else ()
        renewed = False
        # A check that lies ahead of now shows that the clock was put back: what was noted then is no guide.
        if kept is None or not kept.checked_at <= now < kept.next_fetch_at:
            hold_s = self._min_interval_s if keep_s is None else keep_s
            kept, renewed, more = self._renew(address, question, kept, now, check, hold_s)
            notes += more
        if kept.body is None or kept.fetched_at is None:
            again = f"not asked again before {instant_text(kept.next_fetch_at)}"
            wait_s = (kept.next_fetch_at - now).total_seconds()
            raise WeatherError(f"{kept.problem}; {again}", retry_after_s=wait_s)
        if kept.problem:
            age = length_text(max((now - kept.fetched_at).total_seconds(), 0.0))
            notes += (kept.problem, f"the answer of {instant_text(kept.fetched_at)} is used instead, {age} old")
        return Answer(kept.body, kept.fetched_at, not renewed, kept.status, notes)

    def _renew(
        self,
        address: Address,
        question: Question,
        old: Kept | None,
        now: datetime,
        check: Callable[[bytes], object],
        hold_s: float,
    ) -> tuple[Kept, bool, tuple[str, ...]]:
        """Ask the server; return what is then known, whether its body is new, and notes."""
        notes: tuple[str, ...] = ()
        try:
            reply = self._ask(address, question, old, now)
            if reply.status != 304:
                check(reply.body)
        except WeatherError as error:
            base = old or Kept(url=address.shown, checked_at=now, next_fetch_at=now)
            pause_s = min(PAUSE_AFTER_FAILURE_S * 2.0 ** min(base.failures, 10), self._min_interval_s)
            wait_s = min(pause_s if error.retry_after_s is None else error.retry_after_s, LONGEST_WAIT_S)
            change = {"problem": address.without_secrets(str(error)), "failures": base.failures + 1}
            kept = base.model_copy(update=change | _until(now, wait_s))
            renewed = False
        else:
            fresh_s = fresh_for_s(reply.headers.get("Expires"), reply.headers.get("Date"), now)
            kept = _kept(address.shown, old, reply, now)
            kept = kept.model_copy(update=_until(now, max(hold_s, fresh_s)))
            renewed = reply.status != 304
            if reply.status == 203:
                notes += (f"{address.host} marks this service as in trial or soon to end (status 203)",)
        not_kept = save(self._folder, kept)
        return kept, renewed, notes + ((not_kept,) if not_kept else ())

    def _ask(self, address: Address, question: Question, old: Kept | None, now: datetime) -> Reply:
        conditions = {}
        have_body = old is not None and old.body is not None
        if old is not None and have_body:
            offered = {"If-None-Match": old.etag, "If-Modified-Since": old.last_modified}
            conditions = {name: value for name, value in offered.items() if value}
        reply = self._exchange.ask(question.given(conditions), now)
        if reply.status == 304 and not have_body:
            reply = self._exchange.ask(question.given({"Cache-Control": "no-cache"}), now)
            if reply.status == 304:
                raise WeatherError(f"{address.host} says its answer has not changed, but no answer is stored")
        return reply


def _until(now: datetime, wait_s: float) -> dict[str, datetime]:
    return {"checked_at": now, "next_fetch_at": now + timedelta(seconds=wait_s)}


def _kept(url: str, old: Kept | None, reply: Reply, now: datetime) -> Kept:
    headers = reply.headers
    found = {
        "etag": headers.get("ETag"),
        "last_modified": headers.get("Last-Modified"),
        "expires": headers.get("Expires"),
    }
    if reply.status == 304 and old is not None:
        return old.model_copy(
            update={"problem": "", "failures": 0} | {name: value for name, value in found.items() if value}
        )
    return Kept(
        url=url, checked_at=now, next_fetch_at=now, status=reply.status, fetched_at=now, body=reply.body, **found
    )
