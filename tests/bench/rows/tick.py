"""One whole tick of many pieces against one of a single piece: weather gathered, judged, decided on, and saved.

Starts lie a quarter of an hour apart, and a tick that finds the next of them ahead judges anew; in between, a tick a
minute takes what was answered before. The rows are of the tick that judges, unless they say that they are of a quarter
of an hour of ticks, a minute apart.

There are 50 sites. How pieces differ:
- "two": at each site pieces stand in two ways, with a coating for each, in areas of their own: dinghies on the slip and
  fronts in the lane. Which two they are goes by the site. 100 questions.
- "yard": at each site pieces stand in all four ways, with two coatings: seven questions a site, 350 in all.
- "apart": all of this at random, so that two in three pieces ask something of their own: 671 questions.
"""

import functools
import random
import subprocess
import sys
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from bench.row import Row, cpu

SITES = 50
EXPOSURES = (
    'shelter = "open"',
    'shelter = "roof"',
    'face = "vertical"\nfacing = "SW"',
    'face = "vertical"\nfacing = "N"',
)
COATINGS = ("oil_varnish_1k", "urethane_alkyd_1k", "pu_clear_2k")
HOURS = 24 * 18
QUARTER = timedelta(minutes=15)
MOST_MIB = 250.0


def mixed(mix, number, site, chance):
    """Return how a piece of a site stands, its coating, and how many coats are on."""
    if mix == "two":
        kind = number // SITES % 2
        return (site + kind) % 4, (site + kind) % 3, site % 2
    if mix == "yard":
        kind = number // SITES % 7
        return kind % 4, (site + kind // 4) % 3, site % 2
    return tuple(chance.randrange(n) for n in (4, 3, 2))


def yard(folder, count, *, mix="two", sites=SITES):
    """Return the text of a configuration."""
    chance = random.Random(3)
    text = [f'state = "{folder}/state"', 'contact = "bench@example.org"', 'page.listen = "none"']
    # Rounds go on for hours, on one forecast.
    text += ['weather.stale_after = "72 h"', 'alert.phone = { url = "json://127.0.0.1:1/" }']
    for site in range(min(count, sites)):
        where = f'latitude = "{54 + site / 20} deg"\nlongitude = "{10 + site / 30} deg"\ntimezone = "Europe/Berlin"'
        text.append(f"[site.s{site}]\n{where}")
    for piece in range(count):
        site = piece % sites
        how, coating, done = mixed(mix, piece, site, chance)
        area = 2.5 + piece % 7 / 20
        text.append(
            f'[piece.p{piece}]\nsite = "s{site}"\ncoating = "{COATINGS[coating]}"\ndone = {done}\narea = "{area} m^2"\n'
            + EXPOSURES[how]
        )
    return "\n".join(text)


def weather_at(site):
    """Return weather with days, showers and cloud, a little warmer from site to site."""
    from yard import weather

    hours = np.arange(HOURS)
    day = np.sin((hours - 9) / 24 * 2 * np.pi)
    return weather(
        hours=HOURS,
        air_temperature=16 + 5 * day + site / 50,
        relative_humidity=68 - 18 * day,
        wind_speed=2.5 + day,
        precipitation_amount=np.where((hours // 24 % 4 == 3) & (hours % 24 > 9) & (hours % 24 < 15), 0.6, 0.0),
        cloud_area_fraction=np.clip(50 + 30 * np.sin(hours / 80), 0, 100),
    )


@contextmanager
def ticking(count, *, mix="two", sites=SITES, step=QUARTER):
    """Yield what runs a tick, so long after the one before; weather is fetched once."""
    from dryspell.alerts.deliver import Delivery
    from dryspell.clock import FixedClock
    from dryspell.config import parse
    from dryspell.store import Store
    from dryspell.tick.gather import Gatherer
    from dryspell.tick.round import Round
    from yard import START, FakeSource, Taken

    with TemporaryDirectory() as name:
        folder, chance = Path(name), random.Random(1)
        config = parse(yard(folder, count, mix=mix, sites=sites), folder / "yard.toml", env={})
        store, clock = Store(folder / "state" / "dryspell.sqlite3"), FixedClock(START)
        sources = {key: FakeSource(weather_at(number)) for number, key in enumerate(config.site)}
        gatherer = Gatherer(config, store, clock, sources, chance)
        delivery = Delivery(store, Taken(), config.alerts, clock, chance)
        turn = Round(config, store, clock, gatherer, delivery)

        def tick():
            seen = turn.run(fetch_wait_s=60)
            assert len(seen.outlooks) == count
            assert all(outlook.windows or outlook.blocks for outlook in seen.outlooks)
            clock.at += step

        tick()
        try:
            yield tick
        finally:
            delivery.wait(60)
            store.close()


def against_one(count, *, mix="two"):
    """Return a `prepare` of a tick of some pieces that judges, against one of a single piece."""

    @contextmanager
    def prepare():
        with ticking(count, mix=mix) as ours, ticking(1) as one:
            yield cpu(ours), cpu(one, 4)

    return prepare


@contextmanager
def quarter():
    """Yield a quarter of an hour of ticks of a thousand pieces, and of one: the mean tick."""
    minute = timedelta(minutes=1)
    with ticking(1000, step=minute) as ours, ticking(1, step=minute) as one:
        yield cpu(ours, 15), cpu(one, 15)


@functools.cache
def peak_mib(count, mix):
    """Return the most that a process holds which runs three ticks. [MiB] It is taken once: it hardly differs."""
    code = (
        "import resource, sys; sys.path.insert(0, sys.argv[1])\n"
        "from dryspell.heap import keep_at_hand\n"
        "keep_at_hand()\n"
        "from bench.rows.tick import ticking\n"
        f"with ticking({count}, mix={mix!r}) as tick:\n"
        "    tick(); tick()\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
    )
    tests = str(Path(__file__).resolve().parents[2])
    done = subprocess.run([sys.executable, "-c", code, tests], check=True, capture_output=True, text=True)
    return float(done.stdout)


@contextmanager
def memory():
    """Yield what a thousand pieces take over one, two in three asking something of their own, and what they may."""
    one = peak_mib(1, "two")
    yield lambda: peak_mib(1000, "apart") - one, lambda: MOST_MIB


@contextmanager
def five():
    """Yield a tick of a home of five pieces that judges, and one of a single piece."""
    with ticking(5, mix="apart", sites=1) as ours, ticking(1) as one:
        yield cpu(ours), cpu(one)


A_PIECE = "a tick of one piece"
ROWS = (
    Row("tick_5", "a tick of a home of 5 pieces", A_PIECE, five, better="less", guard=True, ours_at_most=0.3),
    Row("tick_10", "a tick of 10 pieces, 10 sites", A_PIECE, against_one(10), better="less"),
    Row("tick_100", "a tick of 100 pieces, 50 sites", A_PIECE, against_one(100), better="less"),
    Row("tick_1000", "a tick of 1,000 pieces, 50 sites, 2 questions at each", A_PIECE, against_one(1000), better="less",
        bar=100.0),
    Row("tick_1000_quarter", "the same, the mean of a quarter of an hour of ticks", "the same of one piece", quarter,
        better="less"),
    Row("tick_1000_yard", "a tick of 1,000 pieces, 50 sites, 7 questions at each: 4 exposures, 2 coatings", A_PIECE,
        against_one(1000, mix="yard"), better="less"),
    Row("tick_1000_apart", "a tick of 1,000 pieces, 50 sites, all at random: 671 questions", A_PIECE,
        against_one(1000, mix="apart"), better="less"),
    Row("tick_1000_memory", "peak of three ticks of 1,000 pieces over that of one", "what is allowed", memory,
        better="less", bar=1.0, unit="MiB"),
)  # fmt: skip
