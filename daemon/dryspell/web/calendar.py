"""Planned coats for any calendar program: one feed a site and one a person, as RFC 5545 and RFC 7986 have it."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from threading import Lock
from uuid import uuid4

from fastapi import APIRouter
from icalendar import Calendar, Event, vDuration
from starlette.requests import Request
from starlette.responses import Response

from dryspell.config import Config
from dryspell.outlook.plan_model import Plans
from dryspell.store.calendar_entry import Told
from dryspell.web.board import Board
from dryspell.web.calendar_entries import entries_of, tells, told_now
from dryspell.web.desk import Desk
from dryspell.web.refusal import refusal
from dryspell.web.together import Together

KIND = "text/calendar; charset=utf-8"
LOOK_AGAIN = timedelta(minutes=30)
SITE, PERSON = "site", "person"


def feeds_of(config: Config) -> list[str]:
    """Return the path of every feed, without the prefix of the page."""
    return [
        *(f"/calendar/{SITE}/{key}.ics" for key in config.site),
        *(f"/calendar/{PERSON}/{key}.ics" for key in config.person),
    ]


def router_of(board: Board, desk: Desk) -> APIRouter:
    """Return the routes of the feeds."""
    router = APIRouter(include_in_schema=False)
    feeds, together = Feeds(board, desk), Together[bytes]()

    @router.api_route("/calendar/{kind}/{name}", methods=["GET", "HEAD"])
    async def feed(request: Request, kind: str, name: str) -> Response:
        key = name.removesuffix(".ics")
        there = {SITE: desk.config.site, PERSON: desk.config.person}.get(kind, {})
        if key not in there or name == key:
            return refusal(request.scope, 404, "There is no calendar of that name.")
        body = feeds.at_hand(kind, key)
        if body is None:
            body = await together.do((kind, key), lambda: feeds.read(kind, key))
        headers = {"ETag": f'"{sha256(body).hexdigest()[:24]}"', "Cache-Control": "private, no-cache"}
        if headers["ETag"] in request.headers.get("if-none-match", ""):
            return Response(status_code=304, headers=headers)
        return Response(body, headers=headers, media_type=KIND)

    return router


class Feeds:
    """Makes feeds, and keeps what each of them has told."""

    def __init__(self, board: Board, desk: Desk) -> None:
        self._board = board
        self._desk = desk
        self._lock = Lock()
        self._made: dict[tuple[str, str], tuple[object, bytes]] = {}

    def at_hand(self, kind: str, key: str) -> bytes | None:
        """Return a feed that is as it was when it was made last; None for another."""
        made = self._made.get((kind, key))
        return made[1] if made is not None and made[0] == self._stamp else None

    def read(self, kind: str, key: str) -> bytes:
        """Return a feed of a site or a person by its key."""
        with self._lock:
            stamp = self._stamp
            found = self.at_hand(kind, key)
            if found is None:
                found = self._make(kind, key)
                self._made[kind, key] = (stamp, found)
            return found

    @property
    def _stamp(self) -> object:
        return self._board.version, self._desk.changes

    def _make(self, kind: str, key: str) -> bytes:
        config, store, now = self._desk.config, self._desk.store, self._desk.clock.now().replace(microsecond=0)
        known, feed = self._board.known, f"{kind}/{key}"
        before = store.calendar(feed)
        told = before
        if known is not None and known.plans is not None:
            mine = _of(known.plans, kind, key)
            told = told_now(
                before,
                entries_of(mine.plans, config, config.alerting.units),
                {plan.piece: plan.coats - plan.left for plan in known.plans.plans if tells(plan)}
                | {told.entry.piece: 0 for told in before if told.entry.piece not in config.piece},
                now,
                lambda: f"{uuid4()}@dryspell",
            )
            if told != before:
                store.keep_calendar(feed, told)
        name = config.site[key].name if kind == SITE else config.person[key].name
        return written(told, f"Coats: {name}", _credits(known.plans if known else None, told))


def _of(plans: Plans, kind: str, key: str) -> Plans:
    """Return of the plans what one feed tells of."""
    if kind == SITE:
        return Plans(plans=tuple(plan for plan in plans.plans if plan.site == key))
    mine = (
        plan.model_copy(update={"planned": tuple(coat for coat in plan.planned if coat.who == key)})
        for plan in plans.plans
    )
    return Plans(plans=tuple(mine))


def _credits(plans: Plans | None, told: Iterable[Told]) -> list[str]:
    pieces = {each.entry.piece for each in told}
    of = [plan.weather.attribution for plan in plans.plans if plan.weather and plan.piece in pieces] if plans else []
    return list(dict.fromkeys(filter(None, of)))


def written(told: Iterable[Told], name: str, credit: Iterable[str]) -> bytes:
    """Return entries as a calendar, in UTC throughout: a day on which clocks change needs no rule of any zone."""
    calendar = Calendar()
    calendar.add("PRODID", "-//dryspell//planned coats//EN")
    calendar.add("VERSION", "2.0")
    calendar.add("CALSCALE", "GREGORIAN")
    calendar.add("NAME", name)
    calendar.add("X-WR-CALNAME", name)  # what programs know that are older than RFC 7986
    about = ["Planned coats, by the forecast as it is now. The data sheet decides.", *credit]
    calendar.add("DESCRIPTION", "\n".join(about))
    calendar.add("REFRESH-INTERVAL", LOOK_AGAIN, parameters={"VALUE": "DURATION"})
    calendar.add("X-PUBLISHED-TTL", vDuration(LOOK_AGAIN))
    for each in told:
        calendar.add_component(_event(each))
    return bytes(calendar.to_ical())


def _event(told: Told) -> Event:
    event, entry = Event(), told.entry
    event.add("UID", told.uid)
    event.add("SEQUENCE", told.sequence)
    event.add("DTSTAMP", _utc(told.changed_at))
    event.add("LAST-MODIFIED", _utc(told.changed_at))
    event.add("DTSTART", _utc(entry.begins_at))
    event.add("DTEND", _utc(max(entry.ends_at, entry.begins_at + timedelta(minutes=15))))
    event.add("SUMMARY", entry.title)
    event.add("DESCRIPTION", entry.text)
    event.add("LOCATION", entry.place)
    # Weather decides: until the brush is in hand no hour is firm.
    event.add("STATUS", "CANCELLED" if told.gone_at else "TENTATIVE")
    event.add("TRANSP", "TRANSPARENT" if told.gone_at else "OPAQUE")
    return event


def _utc(at: datetime) -> datetime:
    return at.astimezone(UTC).replace(microsecond=0)
