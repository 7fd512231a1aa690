"""The real daemon left alone for a season in a quarter of an hour: `python tests/bench/soak.py [DAYS [SECONDS_A_DAY]]`.

`dryspell run` with a clock that runs fast, on loopback alone: a weather service whose forecast is another one every
hour, a sensor that pushes its readings and one that writes a file, a target that takes alerts, readers of the page, and
a finisher who coats when he is told to, sees films sandable, and corrects himself at times.

Printed is what the process held on each day: resident memory, threads and file handles, of each the least of many
looks in the second half of the day, which is what it holds between two ticks when all is loaded; the most memory; and
the state with its log. The daemon has the environment that `deploy/systemd` gives it. Ends with 1 where a bar is
missed:

- memory grows by less than 5 MB after the first day, and neither threads nor handles do. Where the machine is too slow
  for the 48 ticks of a day, its first day ends with the 48th. At the end the last week speaks, by its middle day: among
  days so short there may be one on which no look finds the daemon at rest;
- the state is within 70 MB a year for one site, and 5 MB for what is not packed yet;
- ticks go well, and the daemon leaves when it is told to.
"""

import statistics
import sys
from contextlib import ExitStack
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from faults.season import Season

DAYS = 90
SECONDS_A_DAY = 10.0
DAY_TICKS = 48
GROWS_MB = 5.0
LAST_DAYS = 7
MAY_BE = 2
"""Of threads and handles: a reader that is there at every look of a short day. What leaks comes to more in a season."""
YEAR_MB, UNPACKED_MB = 70.0, 5.0


def bars(held, failed, code):
    """Return what is wanted, each with whether it is so."""
    first = next((day for day in held if day.ticks >= DAY_TICKS), held[0])
    last, days = held[-1], len(held)
    grown = statistics.median(day.memory_mb for day in held[-LAST_DAYS:]) - first.memory_mb
    most_mb = YEAR_MB * days / 365 + UNPACKED_MB
    return {
        f"memory grew by {grown:.1f} MB after the first day, of less than {GROWS_MB:g} MB": grown < GROWS_MB,
        f"{last.threads} threads at the end, {first.threads} after the first day": last.threads
        <= first.threads + MAY_BE,
        f"{last.handles} file handles at the end, {first.handles} after the first day": last.handles
        <= first.handles + MAY_BE,
        f"the state is {last.state_mb:.1f} MB, of {most_mb:.1f} MB at the most": last.state_mb <= most_mb,
        f"{failed} ticks in a row had failed at the end": failed == 0,
        f"the daemon left with {code}": code == 0,
    }


def main(days, seconds_a_day):
    """Soak for some days, print what was held, and return whether every bar was met."""
    held = []
    with ExitStack() as stack:
        folder = stack.enter_context(TemporaryDirectory())
        season = stack.enter_context(Season(Path(folder), seconds_a_day))
        head = "  day   memory      peak  threads  handles    state    pages   coats  messages  ticks"
        print(head, flush=True)
        for day in range(1, days + 1):
            held.append(season.live_a_day())
            now = held[-1]
            print(
                f"{day:5} {now.memory_mb:5.1f} MB  {now.peak_mb:5.1f} MB  {now.threads:7}  {now.handles:7}"
                f"  {now.state_mb:4.1f} MB  {season.asked:7} {season.coats:7}  {len(season.told):8}  {now.ticks:5}",
                flush=True,
            )
        failed, code = season.failed_ticks(), season.leave()
        unusual = season.unusual()
    for line in unusual:
        print(f"log: {line}")
    met = bars(held, failed, code)
    for bar, is_met in met.items():
        print(f"{'met   ' if is_met else 'MISSED'}  {bar}")
    return all(met.values())


if __name__ == "__main__":
    arguments = [float(argument) for argument in sys.argv[1:]]
    sys.exit(not main(int(arguments[0]) if arguments else DAYS, arguments[1] if arguments[1:] else SECONDS_A_DAY))
