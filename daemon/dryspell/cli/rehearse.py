"""What would be said over the next days if the forecast came true and nothing were coated: ticks without a daemon."""

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from dryspell.alerts.decide import decide
from dryspell.alerts.kinds import Level
from dryspell.alerts.memory import PieceMemory
from dryspell.alerts.text import compose
from dryspell.cli.paint import Paint
from dryspell.cli.show import WIDTH
from dryspell.config import Config
from dryspell.outlook.figures import weekday_date
from dryspell.outlook.model import Coat, Outlook
from dryspell.tick.look import look
from dryspell.tick.saying import about, habits_of
from dryspell.weather.table import WeatherTable

_TEXT = 20
"""Column at which the text of an alert begins."""


@dataclass(frozen=True)
class Said:
    """One alert, when it would be sent, and of which piece and kind it is."""

    at: datetime
    piece: str
    kind: str
    title: str
    body: str


def rehearse(
    config: Config,
    coats: Mapping[str, Sequence[Coat]],
    tables: Mapping[str, WeatherTable | None],
    outlooks: Sequence[Outlook],
    days: int,
) -> list[Said]:
    """Return the alerts of the next days.

    The weather stays what it is, as if each new forecast said the same. So a piece is looked at again only when
    something can change: now, when one of its windows opens or ends, and in the evening.

    Parameters
    ----------
    outlooks
        Made of the same configuration, coats and weather; the rehearsal begins at their instant.
    days
        How far ahead to go.
    """
    memory = dict[str, PieceMemory]()
    said: list[Said] = []
    looks: dict[datetime, list[str]] = {}
    for outlook in outlooks:
        for at in set(_instants(config, outlook, days)):
            looks.setdefault(at, []).append(outlook.piece)
    for at, pieces in sorted(looks.items()):
        some = replace(config, piece={key: config.piece[key] for key in pieces})
        more, memory = speak(config, look(some, coats, issued(tables, at), at), memory, at)
        said += more
    return said


def speak(
    config: Config, seen: Sequence[Outlook], memory: Mapping[str, PieceMemory], at: datetime
) -> tuple[list[Said], dict[str, PieceMemory]]:
    """Return the alerts of one instant, without what is for the page alone, and the memory to keep."""
    notices, kept = decide(memory, seen, at, habits_of(config))
    found = about(config, seen)
    said = []
    for notice in notices:
        if notice.level is Level.LOG:
            continue
        place = config.site[notice.group].name if notice.group else ""
        title, body = compose(notice, found, config.alerting.units, link=config.alerting.link, place=place)
        said.append(Said(at, notice.piece, notice.kind, title, body))
    return said, kept


def _instants(config: Config, outlook: Outlook, days: int) -> Iterator[datetime]:
    now, zone = outlook.made_at, config.site[outlook.site].zone
    end = now + timedelta(days=days)
    today = now.astimezone(zone).date()
    evenings = (
        datetime.combine(today + timedelta(days=i), config.alerting.evening, tzinfo=zone) for i in range(days + 1)
    )
    opens_or_ends = (at for window in outlook.windows for at in (window.start, window.last_start))
    yield now
    yield from (at.astimezone(UTC) for at in (*evenings, *opens_or_ends) if now < at <= end)


def issued(tables: Mapping[str, WeatherTable | None], at: datetime) -> dict[str, WeatherTable | None]:
    """Return the weather as if it had been issued at an instant."""
    return {site: table and replace(table, issued_at=at) for site, table in tables.items()}


def alert_lines(said: Sequence[Said], zones: Mapping[str, ZoneInfo], paint: Paint) -> Iterator[str]:
    """Yield the alerts for a terminal: a line each, and the first one in full, to show what they say.

    Parameters
    ----------
    zones
        The zone of each piece.
    """
    for number, alert in enumerate(said):
        local = alert.at.astimezone(zones[alert.piece])
        first, *rest = textwrap.wrap(alert.title, WIDTH - _TEXT, break_on_hyphens=False)
        yield f"  {weekday_date(local)} {local:%H:%M}".ljust(_TEXT) + paint(first, "title")
        yield from (" " * _TEXT + line for line in rest)
        if number == 0:
            for line in alert.body.splitlines():
                yield from textwrap.wrap(
                    line, WIDTH, initial_indent=" " * _TEXT, subsequent_indent=" " * _TEXT, break_on_hyphens=False
                )
    yield ""
