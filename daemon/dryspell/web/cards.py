"""One piece as today's page shows it: the verdict, then why, until when, what comes next, and how far the film is."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import inf
from zoneinfo import ZoneInfo

from dryspell.outlook.figures import clock, duration, moment, when
from dryspell.outlook.model import FilmState, Outlook, Window
from dryspell.outlook.states import State, state_of
from dryspell.outlook.words import (
    before_line,
    capital,
    caution_text,
    cover_text,
    next_window,
    open_window,
    sand_first_text,
    why,
    wood_text,
)
from dryspell.trade.piece import Piece
from dryspell.web.shell import View


@dataclass(frozen=True)
class Step:
    """A stage on the way of a film.

    Attributes
    ----------
    name, at
        What it is, and when it is reached by the estimate; None is later than the weather reaches.
    at_text
        The same, for people.
    pct
        How far the film is on the way there. [%]
    """

    name: str
    at: datetime | None
    at_text: str
    pct: int

    @property
    def is_reached(self) -> bool:
        """Whether it is reached by the estimate."""
        return self.pct >= 100


@dataclass(frozen=True)
class Card:
    """A piece, for people.

    Attributes
    ----------
    word
        coat, tight, wait, unknown, or done where every coat is on.
    title, headline
        The verdict in two or three words, and what goes with it.
    until, until_text
        The instant that is counted down to, and what happens then.
    notes
        What is to be done or minded with it, a sentence each.
    """

    key: str
    name: str
    site: str
    word: str
    title: str
    headline: str
    why: str = ""
    until: datetime | None = None
    until_text: str = ""
    left: str = ""
    following: str = ""
    notes: tuple[str, ...] = ()
    risks: tuple[str, ...] = ()
    steps: tuple[Step, ...] = ()
    film_text: str = ""
    state: str = ""
    next_coat: int | None = None
    may_be_sandable: bool = False
    weather: str = ""


def card_of(piece: Piece, outlook: Outlook | None, view: View) -> Card:
    """Return a piece as it is shown; without an outlook, or by one that is too old, nothing is said of coating it."""
    site = view.config.site_of(piece).name
    if outlook is None:
        reason = "This piece could not be judged; the log of the daemon says why"
        return Card(piece.key, piece.name, site, "unknown", *UNKNOWN, why=reason)
    if view.is_stale:
        looked = when(outlook.made_at, ZoneInfo(outlook.timezone), view.now)
        reason = f"The daemon last looked {looked}, too long ago to go by"
        return Card(piece.key, piece.name, site, "unknown", *UNKNOWN, why=reason, next_coat=_next(outlook))
    zone = ZoneInfo(outlook.timezone)
    window, ahead = open_window(outlook), next_window(outlook)
    word, title, headline = _verdict(outlook, window, ahead, zone)
    until = _until(outlook, window) if window else ahead.start if ahead and word == "wait" else None
    return Card(
        key=piece.key,
        name=piece.name,
        site=site,
        word=word,
        title=title,
        headline=headline,
        why=capital(why(outlook, view.units)),
        until=until,
        until_text="left" if window else "to go",
        left=duration(until - view.now) if until and until > view.now else "",
        following=_following(outlook, window, ahead, zone),
        notes=tuple(_notes(outlook, window, zone, view)),
        risks=tuple(_risks(outlook, zone)),
        steps=tuple(_steps(outlook.film, zone, view.now)) if outlook.film else (),
        film_text=_film_text(outlook.film, zone, view.now),
        state=_state(piece, outlook),
        next_coat=_next(outlook),
        may_be_sandable=_may_be_sandable(outlook),
        weather=_weather(outlook, zone, view.now),
    )


UNKNOWN = ("Not known", "so wait")
ORDER = ("coat", "tight", "wait", "unknown", "done")


def in_order(cards: Iterable[Card]) -> list[Card]:
    """Return cards with what can be coated first, then what opens soonest."""
    return sorted(cards, key=lambda card: (ORDER.index(card.word), card.until.timestamp() if card.until else inf))


def _next(outlook: Outlook) -> int | None:
    return outlook.next_coat if outlook.next_coat <= outlook.coats else None


def _until(outlook: Outlook, window: Window) -> datetime:
    return window.brush_down_by if outlook.word == "coat" else window.tight_until


def _verdict(outlook: Outlook, window: Window | None, ahead: Window | None, zone: ZoneInfo) -> tuple[str, str, str]:
    now, number = outlook.made_at, outlook.next_coat
    if window is not None:
        last = moment(_until(outlook, window), zone, now, now)
        title = f"Coat {number} now" if outlook.word == "coat" else f"Coat {number}: tight"
        return outlook.word, title, f"Brush down by {last}"
    if number > outlook.coats:
        return "done", "Built up", f"{outlook.coats} of {outlook.coats} coats are on"
    if outlook.word == "unknown":
        return "unknown", *UNKNOWN
    if ahead is None:
        reaches = outlook.weather.reaches if outlook.weather else None
        return "wait", "Wait", "No window ahead" + (f" up to {when(reaches, zone, now)}" if reaches else "")
    tight = ", and tight then" if ahead.word == "tight" else ""
    return "wait", "Wait", f"until {when(ahead.start, zone, now)}{tight}"


def _following(outlook: Outlook, window: Window | None, ahead: Window | None, zone: ZoneInfo) -> str:
    if ahead is None:
        return f"{_holds(window)}No other window is in sight." if window is not None else ""
    now = outlook.made_at
    last = moment(ahead.brush_down_by if ahead.word == "coat" else ahead.tight_until, zone, now, ahead.start)
    if window is None:
        return f"That window stays open until {last}{_odds(ahead)}."
    span = f"{when(ahead.start, zone, now)} to {last}" + (", tight" if ahead.word == "tight" else "")
    return f"{_holds(window)}After that: {span}."


def odds_text(share: float) -> str:
    """Return odds as they stand on the pages."""
    return f"{share:.0%}".replace("%", " %")


def _odds(window: Window) -> str:
    return "" if window.probability is None else f", {odds_text(window.probability)} likely to hold"


def _holds(window: Window) -> str:
    return "" if window.probability is None else f"This window is {odds_text(window.probability)} likely to hold. "


def _notes(outlook: Outlook, window: Window | None, zone: ZoneInfo, view: View) -> Iterator[str]:
    now = outlook.made_at
    if sand := sand_first_text(outlook):
        yield capital(f"{sand} first.")
    if line := before_line(outlook):
        yield line
    if window is not None:
        if window.hang_shade_by is not None:
            yield f"Hang the shade by {moment(window.hang_shade_by, zone, now, now)}."
        if covered := cover_text(window, zone, view.units, now=now):
            yield f"{capital(covered)}."
        for caution in window.cautions:
            yield f"{capital(caution_text(caution, view.units))}."
    if outlook.wood is not None:
        yield wood_text(outlook.wood)
    if pot := outlook.pot:
        begin = f"brush from {clock(pot.brush_from, zone)}, " if pot.brush_from and pot.brush_from > now else ""
        yield f"The pot is mixed: {begin}it flows out until {when(pot.brush_until, zone, now)}."


def _risks(outlook: Outlook, zone: ZoneInfo) -> Iterator[str]:
    names = {"rain": "Rain", "dew": "Dew", "sun": "Sun", "cold": "Cold"}
    for risk in outlook.film_risk or ():
        odds = "" if risk.share is None else f", {odds_text(risk.share)} likely"
        safe = f"; it can take that from {when(risk.safe_at, zone, outlook.made_at)}" if risk.safe_at else ""
        yield f"{names[risk.hazard]} comes to the film {when(risk.at, zone, outlook.made_at)}{odds}{safe}."


def _steps(film: FilmState, zone: ZoneInfo, now: datetime) -> Iterator[Step]:
    if film.coat.spoilt:
        return
    stages = film.stages
    dry = "dry to coat" if film.stain else "sandable"
    for name, at in (("dew-safe", stages.dew_safe), (dry, stages.sandable), ("cured", stages.full_cure)):
        reached = _share(film.coat.finished_at, at, now)
        if name == dry and (at is None or at > now):
            reached = min(film.sandable_fraction, 0.99)
        text = "later than the forecast reaches" if at is None else when(at, zone, now)
        yield Step(name, at, text, int(100 * reached))


def _share(begin: datetime, end: datetime | None, now: datetime) -> float:
    if end is None:
        return 0.0
    if end <= now:
        return 1.0
    return min(max((now - begin) / max(end - begin, timedelta(seconds=1)), 0.0), 0.99)


def _film_text(film: FilmState | None, zone: ZoneInfo, now: datetime) -> str:
    if film is None:
        return ""
    spoilt = f", spoilt by {film.coat.spoilt}" if film.coat.spoilt else ""
    return f"Coat {film.coat.number}, on since {when(film.coat.finished_at, zone, now)}{spoilt}"


def _state(piece: Piece, outlook: Outlook) -> str:
    state, on = state_of(outlook, outlook.made_at), outlook.next_coat - 1
    if state is not State.UNKNOWN:
        return f"State: {state}"
    if on > piece.done:  # of a coat on the record it is the weather that is not known
        return ""
    which = "Coat 1 is" if on == 1 else f"Coats 1 to {on} are"
    return f"{which} from before the record, so {'its' if on == 1 else 'their'} state is not known"


def _may_be_sandable(outlook: Outlook) -> bool:
    film = outlook.film
    if film is None or film.coat.spoilt or film.coat.sandable_at is not None or film.stain:
        return False
    return state_of(outlook, outlook.made_at) in (State.WET, State.DEW_SAFE)


def _weather(outlook: Outlook, zone: ZoneInfo, now: datetime) -> str:
    if outlook.weather is None:
        return ""
    return f"Weather by {outlook.weather.source}, issued {when(outlook.weather.issued_at, zone, now)}"
