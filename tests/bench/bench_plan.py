"""Cost and quality of plans at full size: python tests/bench/bench_plan.py

The weather is invented: 16 days in quarter hours, mild, with showers, in 51 ways. One row is one piece of 8 coats,
judging and choosing. The other rows are 12 pieces of 8 coats for two people, at one site and at three that lie half an
hour apart, planned without and with the solver; judging is a row of its own. Printed: wall and process seconds, the
coats planned of those that can be, the hours to the finish of all of them and the bound, and the gap between.
"""

import time
from datetime import UTC, datetime, timedelta

import numpy as np

from dryspell.outlook.plan import make_plan
from dryspell.outlook.prospect import prospect_of
from dryspell.outlook.shared_plan import EFFORT, make_plans
from dryspell.science.recurrence import affine_scan
from dryspell.trade.families import family
from dryspell.trade.person import Person
from dryspell.trade.piece import Piece, Site
from dryspell.trade.system import Step, lays_of
from dryspell.weather.table import WeatherTable

START = datetime(2026, 9, 7, tzinfo=UTC)
NOW = START + timedelta(hours=6)
DAYS, COATS = 16, 8
STALE_AFTER_H = 24.0
VARNISH = family("oil_varnish_1k")
LAYS = lays_of([Step(coating=VARNISH.key, times=COATS)], {VARNISH.key: VARNISH})


def weather(members):
    """Return invented weather that is less sure the further ahead it is."""
    rng = np.random.default_rng(1)
    hours = np.arange(24 * DAYS + 1)
    shape = (members, hours.size)

    def wandering(sd, memory_h=12.0):
        keep = np.exp(-1.0 / memory_h)
        steps = rng.normal(size=shape) * sd * np.sqrt(1.0 - keep**2)
        return affine_scan(np.full(shape, keep), steps, np.zeros(members)) * np.linspace(0.2, 1.0, hours.size)

    air = 16.5 + 4.5 * np.cos((hours - 14) / 24 * 2 * np.pi) + wandering(2.0)
    wet = rng.random(shape) < 0.004 * np.linspace(0.2, 1.0, hours.size)
    return WeatherTable(
        times=np.datetime64("2026-09-07T00:00:00") + hours * np.timedelta64(3600, "s"),
        columns={
            "air_temperature": air,
            "dew_point_temperature": np.minimum(5.0 + wandering(1.5), air),
            "wind_speed": np.abs(2.0 + wandering(1.5)),
            "cloud_area_fraction": np.clip(30.0 + wandering(30.0), 0.0, 100.0),
            "precipitation_amount": np.where(wet, rng.exponential(1.0, shape), 0.0),
        },
        source="invented",
        issued_at=START,
    )


def site(key):
    """Return an invented site."""
    return Site.model_validate({"key": key, "latitude": "54 deg", "longitude": "0 deg", "timezone": "UTC"})


def pieces(sites):
    """Return twelve pieces, in the open and under roofs, of 1.5 to 6.5 m2."""
    rng = np.random.default_rng(3)
    return [
        Piece.model_validate(
            {
                "key": f"piece{n}",
                "site": sites[n % len(sites)].key,
                "coating": VARNISH.key,
                "coats": COATS,
                "shelter": ("open", "roof", "shed", "trees")[n % 4],
                "face": ("horizontal", "vertical")[n % 2],
                "facing": ("S", "E", "W")[n % 3],
                "colour": "white",
                "area": f"{1.5 + rng.random() * 5:.2f} m^2",
            }
        )
        for n in range(12)
    ]


def timed(call):
    """Return what a call gives, and its wall and process seconds."""
    wall, process = time.perf_counter(), time.process_time()
    found = call()
    return found, time.perf_counter() - wall, time.process_time() - process


def judged(table, sites):
    """Return the twelve pieces with all their starts."""
    by_key = {each.key: each for each in sites}
    return [
        prospect_of(each, by_key[each.site], LAYS, [], table, NOW, stale_after_h=STALE_AFTER_H)
        for each in pieces(sites)
    ]


def main():
    """Print a row for each case."""
    print(f"{'':44}  wall  process")
    yard, table = site("yard"), weather(51)
    one = pieces([yard])[0]
    for _ in range(2):  # the first run warms up
        plan, wall, process = timed(lambda: make_plan(one, yard, LAYS, [], table, NOW, stale_after_h=STALE_AFTER_H))
    print(f"{f'one piece, {COATS} coats, 51 members, 16 days':44}{wall:6.2f} {process:8.2f}  {len(plan.planned)} coats")
    people = [Person(key="kim"), Person(key="sasha")]
    for members in (1, 51):
        for count in (1, 3):
            sites = [site(f"site{n}") for n in range(count)]
            ready, wall, process = timed(lambda sites=sites, members=members: judged(weather(members), sites))
            name = f"12 pieces, {count} site{'s' if count > 1 else ''}, {members} member{'s' if members > 1 else ''}"
            print(f"{name + ': judging':44}{wall:6.2f} {process:8.2f}")
            for label, effort in (("search alone", 0.0), ("with the solver", EFFORT)):
                made, wall, process = timed(lambda ready=ready, effort=effort: make_plans(ready, people, effort=effort))
                share, row = made.share, f"{name + ': ' + label:44}{wall:6.2f} {process:8.2f}"
                coats = f"{share.coats} of {share.coats_at_most} coats"
                hours = f"{share.finish_h:.0f} h, bound {share.bound_h:.0f} h, gap {share.gap_pct:.2f} %"
                print(f"{row}  {coats}, {hours}")


if __name__ == "__main__":
    main()
