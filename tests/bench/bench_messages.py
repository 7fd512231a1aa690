"""How many messages come, how they turn, and in time for what: python tests/bench/bench_messages.py [DAYS [CASE ...]]

Measured weather at JFK airport from 1 April 2013 on for 214 days, or DAYS of it (`season`), and that of the demo. It
prints a table of messages by kind, per piece and week, what that comes to, and the bars, and ends with 1 where one is
missed.

The cases: `perfect` with forecasts that come true, `fading` with those of EWR airport, 33 km away, that fade to the day
before within 72 h, both with a finisher who does what the messages say. Little reaches a wet film of theirs; so in
`gauge`, `gauge-fading` and `gauge-sensor` the daemon hears of the coats of one who goes by air and humidity now, in the
last with a sensor at the site, from which it learns how the two places differ. In `idle` nobody coats. In `built-up` a
piece gets its one coat in January and is left alone: the whole year, whatever DAYS is. In `demo` the demo's weather
comes true, once for who does what the messages say, and once where nobody coats.

The bars: by the median of days no more than 1.5 messages a day on a piece in a build-up, and none once it is cured; no
topic turned more than twice within six hours; and of what reached a wet film, or would have but for its shade, somebody
was told 45 minutes before, or with the word to coat, or as soon as the coat was recorded: always with forecasts that
come true, and nine times in ten with those that fade. What was there before a coat was recorded that nobody was told to
lay does not count, nor how many messages one gets who coats against them.
"""

import sys
import tempfile
import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from dryspell.bundled import bundled  # noqa: E402  (tests are not a package)
from dryspell.cli.demo import Scenario  # noqa: E402
from dryspell.cli.replay_messages import by_piece, message_lines  # noqa: E402
from dryspell.config import load  # noqa: E402
from dryspell.replay.account import Finisher  # noqa: E402
from dryspell.replay.dangers import Told  # noqa: E402
from dryspell.replay.issues import Fading, Perfect  # noqa: E402
from dryspell.replay.messages import messages_of  # noqa: E402
from dryspell.replay.replay import AHEAD, EVERY, replay  # noqa: E402
from dryspell.weather.sources.table_file import TableFile  # noqa: E402
from season import write  # noqa: E402

BEGIN = datetime(2013, 4, 1, 4, tzinfo=UTC)
DAYS = 214
NEW_YEAR, YEAR = datetime(2013, 1, 3, 5, tzinfo=UTC), timedelta(days=355)
DEMO, DEMO_DAYS = datetime(2026, 6, 10, 4, tzinfo=UTC), 10
FADES = timedelta(hours=72)
MOST_A_DAY, MOST_TURNS, LEAST_QUIET_DAYS = 1.5, 2, 200


@dataclass(frozen=True)
class Case:
    """What is forecast and read, whose coats are recorded, and the share of dangers to be told of in time."""

    fades: bool = False
    enters: Finisher | None = Finisher.OBEYS
    read_here: bool = False
    in_time: float = 1.0


CASES = {
    "perfect": Case(),
    "fading": Case(fades=True, in_time=0.9),
    "gauge": Case(enters=Finisher.GAUGE),
    "gauge-fading": Case(fades=True, enters=Finisher.GAUGE, in_time=0.9),
    "gauge-sensor": Case(fades=True, enters=Finisher.GAUGE, read_here=True, in_time=0.9),
    "idle": Case(enters=None),
}
OTHERS = ("built-up", "demo")


def bars(figures, case):
    """Return what is wanted of the messages on one piece, each with whether it is so."""
    wanted = {
        f"one word turned {figures.most_turns} times in 6 h, {MOST_TURNS} at the most": figures.most_turns <= MOST_TURNS
    }
    if case.enters is not Finisher.GAUGE:
        text = f"{figures.median:g} messages a day by the median, {MOST_A_DAY} at the most"
        wanted[text] = figures.median <= MOST_A_DAY
    return wanted


def in_time(pieces, case):
    """Return what is wanted of the dangers that reached films, of all pieces together, with whether it is so."""
    sooner, at_once, all_told = (
        sum(figures.told(*how) for figures in pieces)
        for how in ((Told.AHEAD,), (Told.AT_ONCE,), [how for how in Told if how is not Told.BRUSHING])
    )
    text = (
        f"{sooner} of {all_told} dangers told of 45 min before and {at_once} at once, {case.in_time:.0%} at the least"
    )
    return {text: sooner + at_once >= case.in_time * all_told}


def told(name, wanted):
    """Print the bars and return whether they are met."""
    for bar, holds in wanted.items():
        print(f"{name}: {'met' if holds else 'MISSED'}: {bar}", flush=True)
    return all(wanted.values())


def of_season(name, folder, days):
    """Replay a case on the season."""
    case, config = CASES[name], load(folder / "dryspell.toml", secrets=False)
    truth, other = (TableFile(folder / file).fetch(BEGIN) for file in ("jfk.csv", "ewr.csv"))
    source = Fading(other, FADES, AHEAD) if case.fades else Perfect(truth, AHEAD)
    return shown(name, config, truth, {"airport": source}, BEGIN, days, case)


def shown(name, config, truth, forecasts, begin, days, case):
    """Replay, print what came of it, and return whether the bars are met."""
    began = time.monotonic()
    end = begin + timedelta(days=days)
    came = replay(config, truth, forecasts, begin, end, enters=case.enters, read_here=case.read_here)
    print(f"\n{name}: {came.ticks} looks in {time.monotonic() - began:.0f} s")
    print("\n".join(message_lines(config, came, with_weeks=True)))
    pieces = by_piece(config, came)
    met = [told(f"{name}, {key}", bars(figures, case)) for key, figures in pieces.items()]
    return all([*met, told(name, in_time(pieces.values(), case))])


def built_up(folder):
    """Replay a year of pieces that are left alone when their one coat is on, with a forecast every six hours."""
    config = load(folder / "dryspell.toml", secrets=False)
    config = replace(config, piece={key: piece.model_copy(update={"coats": 1}) for key, piece in config.piece.items()})
    truth = TableFile(folder / "jfk.csv").fetch(BEGIN)
    forecasts, end = {"airport": Perfect(truth, AHEAD)}, NEW_YEAR + YEAR
    came = replay(config, truth, forecasts, NEW_YEAR, end, every=6 * EVERY, enters=Finisher.GAUGE, fresh=False)
    met = True
    for key, accounts in came.accounts.items():
        # The word that it is cured is the last one of its build-up.
        cured = [said.at for said in came.said for part in said.parts if part.piece == key and part.kind == "cured"]
        over = cured[0] + EVERY if cured else end
        zone = config.site_of(config.piece[key]).zone
        figures = messages_of(key, came.said, accounts[came.enters], zone, (NEW_YEAR, end), [(NEW_YEAR, over)])
        print(f"\nbuilt-up, {key}: {sum(figures.in_build_up)} messages until it was cured, {over:%d %b}")
        quiet, after = len(figures.outside), sum(figures.outside)
        text = f"{after} messages on {quiet} days after it was cured; {LEAST_QUIET_DAYS} days at the least"
        met &= told(f"built-up, {key}", {text: after == 0 and quiet >= LEAST_QUIET_DAYS})
    return met


def demo():
    """Replay the demo's pieces, site by site, from their bare wood on."""
    config, met = load(bundled("demo.toml"), secrets=False), True
    for site, source in Scenario(config, DEMO).sources.items():
        there = replace(config, piece={key: piece for key, piece in config.piece.items() if piece.site == site})
        truth = source.fetch(DEMO)
        for name, enters in (("demo", Finisher.OBEYS), ("demo, idle", None)):
            case, forecasts = Case(enters=enters), {site: Perfect(truth, AHEAD)}
            met &= shown(name, there, truth, forecasts, DEMO, DEMO_DAYS, case)
    return met


def main(days, cases):
    """Replay the cases and return whether every bar was met."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(folder)
        own = {"built-up": lambda: built_up(folder), "demo": demo}
        met = [own[case]() if case in own else of_season(case, folder, days) for case in cases]
        return all(met)


if __name__ == "__main__":
    given = sys.argv[1:]
    sys.exit(0 if main(int(given[0]) if given else DAYS, given[1:] or (*CASES, *OTHERS)) else 1)
