"""A whole season replayed: python tests/bench/bench_replay.py [DAYS]

Measured weather at JFK airport from 1 April to 31 October 2013, or DAYS of it, once with forecasts that come true and
once with those of EWR airport, 33 km away, that fade to the day before within 72 h (`season`). Printed are the tables
of `dryspell replay`, the bars, and the time it took. Ends with 1 where a bar is missed.

The bars: with forecasts that come true no coat is spoiled, and 97 % of the coats of who knew what comes are laid. With
those that fade, the share of spoiled coats is a quarter at the most of that of who goes by air and humidity now, and
85 % of the coats of who knew are laid and good.
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
from dryspell.cli.replay_show import Setting, replay_text  # noqa: E402
from dryspell.config import load  # noqa: E402
from dryspell.replay.account import Finisher  # noqa: E402
from dryspell.replay.issues import Fading, Perfect  # noqa: E402
from dryspell.replay.replay import AHEAD, EVERY, replay  # noqa: E402
from dryspell.weather.sources.table_file import TableFile  # noqa: E402
from season import write  # noqa: E402

BEGIN = datetime(2013, 4, 1, 4, tzinfo=UTC)
DAYS = 214
FADES = timedelta(hours=72)


def bars(name, came):
    """Return what is wanted of a replay, each with whether it is so."""
    obeys, gauge, knew = (came.of_all(each) for each in (Finisher.OBEYS, Finisher.GAUGE, Finisher.KNEW))
    laid = obeys.good / max(knew.good, 1)
    if name == "perfect":
        return {"no coat is spoiled": obeys.spoiled == 0, f"{laid:.1%} of 97 % of the coats": laid >= 0.97}
    share = f"{obeys.spoiled_share:.1%} spoiled, of {gauge.spoiled_share / 4:.1%} at the most"
    return {share: obeys.spoiled_share <= gauge.spoiled_share / 4, f"{laid:.1%} of 85 % of the coats": laid >= 0.85}


def main(days):
    """Replay both ways and return whether every bar was met."""
    met = True
    with tempfile.TemporaryDirectory() as folder:
        write(Path(folder))
        config = load(Path(folder) / "dryspell.toml", secrets=False)
        truth, other = (TableFile(Path(folder) / name).fetch(BEGIN) for name in ("jfk.csv", "ewr.csv"))
        for name, source in (("perfect", Perfect(truth, AHEAD)), ("fading", Fading(other, FADES, AHEAD))):
            began = time.monotonic()
            came = replay(config, truth, {"airport": source}, BEGIN, BEGIN + timedelta(days=days))
            took_s = time.monotonic() - began
            setting = Setting(
                source.name, EVERY, takes_tight=True, read_here=False, remarks=remarks(Path(folder) / "jfk.csv")
            )
            print(replay_text(config, came, setting, Paint(False), with_alerts=False))
            print(f"\n{came.ticks} looks in {took_s:.0f} s, {1000 * took_s / came.ticks:.0f} ms each")
            for bar, holds in bars(name, came).items():
                print(f"{'met' if holds else 'MISSED'}: {bar}")
                met &= holds
            print(flush=True)
    return met


if __name__ == "__main__":
    sys.exit(0 if main(int(sys.argv[1]) if len(sys.argv) > 1 else DAYS) else 1)
