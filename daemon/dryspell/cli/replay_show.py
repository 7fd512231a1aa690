"""A replay on a terminal of 80 columns: a table of coats, what was said, and what was assumed."""

import textwrap
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from zoneinfo import ZoneInfo

from dryspell.cli.paint import Paint
from dryspell.cli.replay_messages import message_lines
from dryspell.cli.show import WIDTH, heading
from dryspell.config import Config
from dryspell.outlook.agreement import Agreement
from dryspell.outlook.fate import Fate
from dryspell.outlook.figures import clock, weekday_date
from dryspell.replay.account import Account, Finisher, Replayed
from dryspell.weather.waits import length_text

NAMES = {
    Finisher.OBEYS: "as dryspell says",
    Finisher.GAUGE: "air and humidity in limits",
    Finisher.KNEW: "knowing what comes",
    Finisher.LUCKY: "the same, past every limit",
}
_FATES = {Fate.DEW: "dew", Fate.RAIN: "rain", Fate.COLD: "cold", Fate.HEAT: "heat", Fate.UNKNOWN: "?"}
_ASSUMED = (
    "Every piece begins bare; one that is built up is taken away when its last coat is hard, for a fresh one.",
    """Each piece has a finisher of its own, who prepares in its hours before each coat, and brushes on no wet piece nor
    in rain. A coat that is spoiled is sanded off when it is hard, and laid again.""",
    """Spoiled is a coat that, by the weather that came, met dew before it was dew-safe, rain before it was rain-safe,
    cold in its first 24 h, or too much sun before it was touch-dry, by the coating's figures and the same estimate of
    surface and drying that the verdicts stand on. Of one marked ? the weather is not known.""",
    """Who obeys begins a coat in the hours that the last alert named, {tight}; and looks at the page and at a gauge
    before the can is opened: where the page says neither coat nor tight by then, or air or humidity is outside the
    can's limits, the coat waits.""",
    """Who goes by air and humidity knows that a coat is due and that it is dry. "Knowing what comes" is the most coats
    that keep every limit in the weather that came; past every limit, the most that nothing spoils.""",
)
_COVERS = """Told that rain, dew, cold or, where no shade can be hung, sun will reach a wet film, who obeys puts a cover
    over it, clear of the film and without any heat: at once if still at work, else when at work again before it comes;
    a quarter of an hour later it is on. It comes off when the film is hard, or on a later day that is dry when by the
    page nothing comes any more. Under it there is no sky and no rain, and films dry as slowly as in still air; the
    surface is taken to change over at once. The others cover nothing."""
_MOVED: Mapping[str, str] = {
    "weather": "for the weather",
    "coat_below": "for the coat below",
    "people": "for who does it",
    "sooner": "to be done sooner",
    "missed": "when the hour had gone by",
}
_NAME, _CELL, _LAST = 31, 6, 9


@dataclass(frozen=True)
class Setting:
    """How a period was replayed, as far as the outcome does not say it.

    Attributes
    ----------
    forecast
        What was forecast when.
    every
        How often.
    takes_tight
        Whether coats were begun in tight hours.
    read_here
        Whether a sensor at the site read the weather as it came.
    remarks
        What the weather says of itself.
    judged
        How starts are judged on the forecasts.
    covers
        Whether there is something to cover a wet film with.
    """

    forecast: str
    every: timedelta
    takes_tight: bool
    read_here: bool
    remarks: Sequence[str]
    judged: str = ""
    covers: bool = False


def replay_text(config: Config, came: Replayed, setting: Setting, paint: Paint, *, with_alerts: bool) -> str:
    """Return everything there is to say of a replay."""
    zone = config.site_of(next(iter(config.piece.values()))).zone
    first, last = (weekday_date(at.astimezone(zone)) for at in (came.begin, came.end))
    lines = [
        *heading(f"{first} {came.begin.astimezone(zone):%Y} to {last}", f"{(came.end - came.begin).days} days", paint)
    ]
    lines += [_head(paint)]
    for key, by_finisher in came.accounts.items():
        lines += [paint(config.piece[key].name, "title"), *_rows(by_finisher)]
    if len(came.accounts) > 1:
        lines += [paint("All pieces", "title"), *_rows({each: came.of_all(each) for each in Finisher})]
    lines += ["", *_wrapped(verdict(came)), "", *_built_up(config, came, zone)]
    lines += [*_plans(config, came, zone, paint), *_said(config, came, paint)]
    lines += [*message_lines(config, came, with_weeks=with_alerts), ""]
    if with_alerts:
        lines += [*_in_order(config, came, zone, paint), ""]
    lines += [paint("What was assumed", "title")]
    for text in assumptions(setting):
        lines += textwrap.wrap(text, WIDTH, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False)
    return "\n".join(line.rstrip() for line in lines)


def verdict(came: Replayed) -> str:
    """Return what the table comes to, in a sentence."""
    obeys, gauge, knew = (came.of_all(each) for each in (Finisher.OBEYS, Finisher.GAUGE, Finisher.KNEW))
    share = f", {obeys.good / knew.good:.1%} of the {knew.good} of who knew what comes" if knew.good else ""
    return (
        f"As dryspell says: {obeys.spoiled} of {obeys.laid} coats spoiled ({obeys.spoiled_share:.1%}) and {obeys.good} "
        f"good ones{share}. By air and humidity alone: {gauge.spoiled} of {gauge.laid} spoiled "
        f"({gauge.spoiled_share:.1%})."
    )


def assumptions(setting: Setting) -> list[str]:
    """Return what a replay takes for granted, in sentences."""
    read = (
        "a sensor at the site reads the weather, from a month before on"
        if setting.read_here
        else "no sensor at the site"
    )
    tight = "tight ones left out"
    if setting.takes_tight:
        tight = "in tight ones only where that window has no good ones" if setting.judged else "tight ones as well"
    return [
        *setting.remarks,
        f"Forecasts: {setting.forecast}, a new one every {length_text(setting.every.total_seconds())}; {read}.",
        *([setting.judged] if setting.judged else []),
        *(" ".join(text.format(tight=tight).split()) for text in _ASSUMED),
        *([" ".join(_COVERS.split())] if setting.covers else []),
    ]


def covers(config: Config) -> bool:
    """Say whether there is something at hand to cover a wet film with."""
    return any(piece.cover_at_hand for piece in config.piece.values())


def by_odds(config: Config) -> str:
    """Return how starts are judged on forecasts that may turn out otherwise, in a sentence."""
    asked = sorted({piece.odds_pct for piece in config.piece.values()})
    good = " or ".join(f"{pct:g} %" for pct in asked)
    tight = " or ".join(f"{100.0 * Agreement.by_odds(pct / 100.0).least:g} %" for pct in asked)
    return (
        f"A start is good where it keeps every limit in {good} of the ways the weather may go, tight where it does in "
        f"{tight} of them."
    )


def _head(paint: Paint) -> str:
    cells = "".join(text.rjust(_CELL if text != "?" else 4) for text in ("laid", "good", *_FATES.values()))
    over = "spoiled by".center(_CELL * 4 + 1).rstrip().rjust(_NAME + _CELL * 5 - 1)
    return paint(f"{over}\n{' ' * _NAME}{cells}{'built up'.rjust(_LAST)}", "aside")


def _rows(by_finisher: Mapping[Finisher, Account]) -> Iterator[str]:
    for finisher, account in by_finisher.items():
        counts = [account.laid, account.good, *(account.count(fate) for fate in _FATES)]
        widths = [_CELL] * (len(counts) - 1) + [4]
        cells = "".join(str(count).rjust(width) for count, width in zip(counts, widths, strict=True))
        yield f"  {NAMES[finisher]}".ljust(_NAME) + cells + str(len(account.built_up_at)).rjust(_LAST)


def _built_up(config: Config, came: Replayed, zone: ZoneInfo) -> Iterator[str]:
    for key, by_finisher in came.accounts.items():
        days = [weekday_date(at.astimezone(zone)) for at in by_finisher[Finisher.OBEYS].built_up_at]
        said = ", ".join(days) if days else "not once in these days"
        covered = sum(bool(coat.covered_at) for coat in by_finisher[Finisher.OBEYS].coats)
        films = f" Covered as it says: {covered} film{'s' * (covered > 1)}." if covered else ""
        yield from _wrapped(f"{config.piece[key].name}, built up as dryspell says: {said}.{films}")


def _plans(config: Config, came: Replayed, zone: ZoneInfo, paint: Paint) -> Iterator[str]:
    if came.plans:
        yield ""
        yield paint("Plans", "title")
    for key, planned in came.plans.items():
        why = ", ".join(f"{count} {_MOVED[why]}" for why, count in planned.moved.items())
        moves = sum(planned.moved.values())
        often = f"{moves} move{'s' if moves > 1 else ''} of a coat, {why}" if moves else "no coat moved"
        yield from _wrapped(f"{config.piece[key].name}, {planned.made} plans: {often}.")
        for promised in planned.finishes:
            made, finish = (weekday_date(at.astimezone(zone)) for at in (promised.made_at, promised.finish))
            reached = promised.reached
            came_true = f"it was {weekday_date(reached.astimezone(zone))}" if reached else "it was not in these days"
            yield from _wrapped(f"  On {made} it was to be built up on {finish}; {came_true}.")


def _said(config: Config, came: Replayed, paint: Paint) -> Iterator[str]:
    weeks = (came.end - came.begin) / timedelta(weeks=1)
    yield ""
    yield paint("Alerts", "title")
    for key in dict.fromkeys(said.piece for said in came.said):
        counts = Counter(said.kind for said in came.said if said.piece == key)
        kinds = ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in counts.most_common())
        name = config.piece[key].name if key in config.piece else "several pieces"
        yield from _wrapped(f"{name}, {sum(counts.values()) / weeks:.1f} a week: {kinds}.")
    if not came.said:
        yield "None."


def _in_order(config: Config, came: Replayed, zone: ZoneInfo, paint: Paint) -> Iterator[str]:
    """Yield every alert, and what became of each coat that was begun, in the order of time."""
    events = [(said.at, said.title) for said in came.said]
    for key, by_finisher in came.accounts.items():
        name = config.piece[key].name
        for coat in by_finisher[Finisher.OBEYS].coats:
            became = "good" if coat.fate is Fate.GOOD else _FATES[coat.fate]
            events.append((coat.begun_at, f"- {name}: coat {coat.number} begun, {became}"))
    yield paint("What was said, and done", "title")
    for at, text in sorted(events, key=lambda event: event[0]):
        local = at.astimezone(zone)
        when = f"  {weekday_date(local).ljust(11)} {clock(local, zone)}  "
        yield from textwrap.wrap(text, WIDTH, initial_indent=when, subsequent_indent=" " * len(when))


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, break_on_hyphens=False)
