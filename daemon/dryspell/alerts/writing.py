"""What the words of every notice are made of: times, figures, hours of a window, where the weather is from."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from dryspell.alerts.model import Notice
from dryspell.outlook.figures import Units, duration, moment, quantity
from dryspell.outlook.model import Outlook, Reason, Window
from dryspell.outlook.words import capital, reason_text
from dryspell.trade.piece import Piece
from dryspell.trade.system import Lay

_TIGHT = "it works only if the forecast is right to the last degree"


@dataclass(frozen=True)
class About:
    """What the words on a piece are taken from, beside the notice.

    Attributes
    ----------
    outlook
        The one that the notice was decided on.
    lay
        The next coat as it is to be laid.
    piece
        The piece itself.
    below
        The coat that is on as it was laid; None for none.
    """

    outlook: Outlook
    lay: Lay
    piece: Piece
    below: Lay | None = None


@dataclass(frozen=True)
class Words:
    """A notice on one piece in words: what is said in short, the lines under it, and the cautions of the step."""

    said: str
    lines: tuple[str, ...]
    cautions: tuple[str, ...] = ()


class Writer:
    """Puts instants, figures and windows into words, for one notice on one piece.

    A message may be read later than it was written, so days stand by their weekday.

    Parameters
    ----------
    link
        Where coats are recorded in a browser, as far as the path; empty for nowhere.
    """

    def __init__(self, notice: Notice, about: About, units: Units, link: str) -> None:
        self.notice = notice
        self.outlook = about.outlook
        self.lay = about.lay
        self.piece = about.piece
        self.below = about.below
        self.units = units
        self.link = link.rstrip("/")
        self.zone = ZoneInfo(about.outlook.timezone)
        self.window = notice.windows[0] if notice.windows else None

    @property
    def on(self) -> int:
        """The number of the coat that is on."""
        film = self.outlook.film
        return film.coat.number if film else self.notice.coat - 1

    def at(self, instant: datetime, on: datetime | None = None) -> str:
        """Return an instant, with its weekday unless that is the day of the message or of `on`."""
        return moment(instant, self.zone, None, on or self.notice.created_at)

    def span(self, window: Window) -> str:
        """Return the first and the last stroke of a window."""
        return f"{self.at(window.start)} to {self.at(last_stroke(window), window.start)}"

    def figure(self, value: float, unit: str) -> str:
        """Return a figure with its unit."""
        return quantity(value, unit, self.units)

    def reason(self, reason: Reason, *, below: int | None = None) -> str:
        """Return a reason without a capital or a full stop."""
        return reason_text(reason, self.zone, self.units, on=self.notice.created_at, below=below)

    def begin(self, window: Window) -> str:
        """Say when to begin in a window, and what of it is tight."""
        starts = f"{self.at(window.start)} to {self.at(window.begin_by, window.start)}"
        text = f"Begin {starts}, brush down by {self.at(last_stroke(window), window.start)}."
        if window.word == "tight":
            return f"{text} Tight: {_TIGHT}."
        edges = []
        if window.good_from and window.good_from > window.start:
            edges.append(f"before {self.at(window.good_from, window.start)}")
        if window.tight_until > window.brush_down_by:
            until = self.at(window.tight_until, window.start)
            edges.append(f"with the last stroke after that, to {until} at the latest")
        return f"{text} Tight ({_TIGHT}): {', or '.join(edges)}." if edges else text

    @property
    def preparing(self) -> str:
        """What is done before the coat, and how long it takes: "sand P400, dust off and wipe, about 50 min"."""
        sand = "" if self.lay.abrasive == "none" else f"sand {self.lay.abrasive}, "
        minutes = max(5.0, round(self.piece.preparing_h * 12) * 5.0)
        return f"{sand}dust off and wipe, about {duration(timedelta(minutes=minutes))}"

    def record(self, text: str) -> str:
        """Return a line with the address at which a coat is recorded; empty where there is none."""
        return f"{text} {self.link}/record/{self.outlook.piece}?coat={self.notice.coat}" if self.link else ""

    def credit(self) -> str:
        """Say whose weather it is, and how old."""
        weather = self.outlook.weather
        if weather is None:
            return ""
        age = duration(self.notice.created_at - weather.issued_at)
        return f"Weather: {weather.source}, {age} old. {weather.attribution}".strip()


def sentence(text: str) -> str:
    """Return a text as a sentence."""
    return f"{capital(text)}." if text else ""


def verb(window: Window) -> str:
    """Return what a window is good for."""
    return "Coat" if window.word == "coat" else "Tight"


def last_stroke(window: Window) -> datetime:
    """Return the last stroke that is spoken of."""
    return window.brush_down_by if window.word == "coat" else window.tight_until


def rounded(instant: datetime, *, up: bool = False) -> datetime:
    """Return an instant at the full five minutes before it, or after it."""
    over = timedelta(minutes=instant.minute % 5, seconds=instant.second, microseconds=instant.microsecond)
    return instant - over + (timedelta(minutes=5) if up and over else timedelta())
