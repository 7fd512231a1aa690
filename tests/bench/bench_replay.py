"""A whole season replayed: python tests/bench/bench_replay.py [DAYS [CASE ...]]

Measured weather at JFK airport from 1 April to 31 October 2013, or DAYS of it (`season`), in cases:

- `perfect`: with forecasts that come true, a new one every hour;
- `fading`: with those of EWR airport, 33 km away, that fade to the day before within 72 h, a new one every six hours,
  as those of the large models are;
- `sensor`: the same, and a sensor at the site that reads the weather, so that the daemon learns how the two places
  differ. Who goes by air and humidity has a gauge there in every case;
- `elsewhere`: as `sensor`, with LGA airport as the place. The level of odds was chosen at JFK; this is to see whether
  it was made for it. It is only run when it is named.

Printed are the tables of `dryspell replay`, the bars, and the time it took. Ends with 1 where one is missed.

The bars: with forecasts that come true no coat is spoiled, and 97 % of the coats of who knew what comes are laid. With
those that fade, the share of spoiled coats is a quarter at the most of that of who goes by air and humidity now, at no
fewer than 85 % of the coats of who knew.
"""

import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from dryspell.cli.paint import Paint  # noqa: E402  (tests are not a package)
from dryspell.cli.replay import remarks  # noqa: E402
from dryspell.cli.replay_show import Setting, by_odds, covers, replay_text  # noqa: E402
from dryspell.config import load  # noqa: E402
from dryspell.replay.account import Finisher  # noqa: E402
from dryspell.replay.issues import Fading, Perfect  # noqa: E402
from dryspell.replay.replay import AHEAD, replay  # noqa: E402
from dryspell.weather.sources.table_file import TableFile  # noqa: E402
from season import write  # noqa: E402

BEGIN = datetime(2013, 4, 1, 4, tzinfo=UTC)
DAYS = 214
FADES = timedelta(hours=72)
OFTEN, SELDOM = timedelta(hours=1), timedelta(hours=6)
CASES = ("perfect", "fading", "sensor")
"""Those that are run where none is named."""


def bars(case, came):
    """Return what is wanted of a replay, each with whether it is so."""
    obeys, gauge, knew = (came.of_all(each) for each in (Finisher.OBEYS, Finisher.GAUGE, Finisher.KNEW))
    least = 0.97 if case == "perfect" else 0.85
    most = 0.0 if case == "perfect" else gauge.spoiled_share / 4
    laid, good = (count / max(knew.good, 1) for count in (obeys.laid, obeys.good))
    return {
        f"{obeys.spoiled_share:.1%} of the coats spoiled, of {most:.1%} at the most": obeys.spoiled_share <= most,
        f"{laid:.1%} of the coats laid ({good:.1%} good), of {least:.0%} at the least": obeys.laid >= least * knew.good,
    }


def main(days, cases):
    """Replay the cases and return whether every bar was met."""
    met = [_holds(case, days) for case in cases]  # every case is run, whatever came of those before
    return all(met)


def _holds(case, days):
    place = "LGA" if case == "elsewhere" else "JFK"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(folder, place)
        config = load(folder / "dryspell.toml", secrets=False)
        truth, other = (TableFile(folder / f"{at}.csv").fetch(BEGIN) for at in (place.lower(), "ewr"))
        said = remarks(folder / f"{place.lower()}.csv")
    source = Perfect(truth, AHEAD) if case == "perfect" else Fading(other, FADES, AHEAD)
    read_here, every = case in ("sensor", "elsewhere"), OFTEN if case == "perfect" else SELDOM
    began, end = time.monotonic(), BEGIN + timedelta(days=days)
    came = replay(config, truth, {"airport": source}, BEGIN, end, every=every, read_here=read_here)
    took_s = time.monotonic() - began
    judged = "" if case == "perfect" else by_odds(config)
    setting = Setting(source.name, every, True, read_here, said, judged, covers(config))
    print(replay_text(config, came, setting, Paint(False), with_alerts=False))
    print(f"\n{came.ticks} looks in {took_s:.0f} s, {1000 * took_s / came.ticks:.0f} ms each")
    found = bars(case, came)
    for bar, holds in found.items():
        print(f"{case}: {'met' if holds else 'MISSED'}: {bar}")
    print(flush=True)
    return all(found.values())


if __name__ == "__main__":
    given = sys.argv[1:]
    sys.exit(0 if main(int(given[0]) if given else DAYS, given[1:] or CASES) else 1)
