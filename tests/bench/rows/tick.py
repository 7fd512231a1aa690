"""One whole tick of many pieces against one of a single piece: weather gathered, judged, decided on, and saved.

The yard has 50 sites; how a piece stands, its coating and how many coats are on go by its site, so that what is asked
differs from site to site and the twenty pieces of one ask alike, in other areas: the dinghies of a row, the fronts of a
terrace. `tick_1000_apart` mixes all of these at random, so that two in three pieces ask something of their own.
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
MOST_MIB = 250.0


def yard(folder, count, *, by_site=True, sites=SITES):
    """Return the text of a configuration; without `by_site` what differs is at random."""
    chance = random.Random(3)
    text = [f'state = "{folder}/state"', 'contact = "bench@example.org"', 'page.listen = "none"']
    text += ['alert.phone = { url = "json://127.0.0.1:1/" }']
    for site in range(min(count, sites)):
        where = f'latitude = "{54 + site / 20} deg"\nlongitude = "{10 + site / 30} deg"\ntimezone = "Europe/Berlin"'
        text.append(f"[site.s{site}]\n{where}")
    for piece in range(count):
        site = piece % sites
        mix = (site % 4, site % 3, site % 2) if by_site else (chance.randrange(n) for n in (4, 3, 2))
        how, coating, done = mix
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
def ticking(count, *, by_site=True, sites=SITES):
    """Yield what runs a tick, a minute after the one before, as the daemon does between two fetches."""
    from dryspell.alerts.deliver import Delivery
    from dryspell.clock import FixedClock
    from dryspell.config import parse
    from dryspell.store import Store
    from dryspell.tick.gather import Gatherer
    from dryspell.tick.round import Round
    from yard import START, FakeSource, Taken

    with TemporaryDirectory() as name:
        folder, chance = Path(name), random.Random(1)
        config = parse(yard(folder, count, by_site=by_site, sites=sites), folder / "yard.toml", env={})
        store, clock = Store(folder / "state" / "dryspell.sqlite3"), FixedClock(START)
        sources = {key: FakeSource(weather_at(number)) for number, key in enumerate(config.site)}
        gatherer = Gatherer(config, store, clock, sources, chance)
        delivery = Delivery(store, Taken(), config.alerts, clock, chance)
        turn = Round(config, store, clock, gatherer, delivery)

        def tick():
            seen = turn.run(fetch_wait_s=60)
            assert len(seen.outlooks) == count
            assert all(outlook.weather for outlook in seen.outlooks)
            clock.at += timedelta(minutes=1)

        tick()
        try:
            yield tick
        finally:
            delivery.wait(60)
            store.close()


def against_one(count, *, by_site=True):
    """Return a `prepare` of a tick of some pieces against one of a single piece."""

    @contextmanager
    def prepare():
        with ticking(count, by_site=by_site) as ours, ticking(1) as one:
            yield cpu(ours), cpu(one, 10)

    return prepare


@functools.cache
def peak_mib(count, by_site):
    """Return the most that a process holds which runs three ticks. [MiB] It is taken once: it hardly differs."""
    code = (
        "import resource, sys; sys.path.insert(0, sys.argv[1])\n"
        "from bench.rows.tick import ticking\n"
        f"with ticking({count}, by_site={by_site}) as tick:\n"
        "    tick(); tick()\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
    )
    tests = str(Path(__file__).resolve().parents[2])
    done = subprocess.run([sys.executable, "-c", code, tests], check=True, capture_output=True, text=True)
    return float(done.stdout)


@contextmanager
def memory():
    """Yield what a thousand pieces take over one, each asking something of its own, and what they may."""
    one = peak_mib(1, by_site=True)
    yield lambda: peak_mib(1000, by_site=False) - one, lambda: MOST_MIB


@contextmanager
def five():
    """Yield a tick of a home of five pieces, and one of a single piece."""
    with ticking(5, by_site=False, sites=1) as ours, ticking(1) as one:
        yield cpu(ours), cpu(one)


A_PIECE = "a tick of one piece"
ROWS = (
    Row("tick_5", "a tick of a home of 5 pieces", A_PIECE, five, better="less", guard=True, ours_at_most=0.3),
    Row("tick_10", "a tick of 10 pieces, 10 sites", A_PIECE, against_one(10), better="less"),
    Row("tick_100", "a tick of 100 pieces, 50 sites", A_PIECE, against_one(100), better="less"),
    Row("tick_1000", "a tick of 1,000 pieces, 50 sites", A_PIECE, against_one(1000), better="less", bar=100.0),
    Row("tick_1000_apart", "the same, each standing, coating and stage at random", A_PIECE,
        against_one(1000, by_site=False), better="less"),
    Row("tick_1000_memory", "peak of three ticks of 1,000 pieces over that of one", "what is allowed", memory,
        better="less", bar=1.0, unit="MiB"),
)  # fmt: skip
