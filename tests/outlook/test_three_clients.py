"""A toe rail, a front door and a bench in one week, one person and one van: who gets Tuesday?

Each piece meets the hours of its own worked day (tests/outlook/test_toe_rail.py and the two beside it). The rail, in
the open, has its only dry day on Tuesday; the door, with a shade, could be done early on any day; the bench is in a
heated tent and is promised first. The answer of the trade (common practice, no source): the rail on Tuesday, as the
open piece gets the good day; the bench on Wednesday, the door on Thursday.
"""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from dryspell.outlook.agreement import ALL
from dryspell.outlook.candidates import Candidates
from dryspell.outlook.conditions import Conditions
from dryspell.outlook.plan_model import Plan
from dryspell.outlook.prospect import Prospect
from dryspell.outlook.sequence import nothing_below
from dryspell.outlook.shared_plan import make_plans
from dryspell.science import air
from dryspell.trade.families import family
from dryspell.trade.person import Person
from outlook import test_front_door, test_toe_rail
from outlook.build import built, piece, site

MONDAY = datetime(2026, 9, 7, tzinfo=UTC)
TUESDAY, WEDNESDAY, THURSDAY = ((MONDAY + timedelta(days=day)).date() for day in (1, 2, 3))
GRID = np.arange(18, 5 * 24, 0.25)
"""Hours since Monday 00:00, from Monday evening on."""
CLOCK = GRID % 24


def day_of(text, columns):
    """Return the columns of a worked day over the week, every day like the other."""
    rows = np.array(text.split(), dtype=float).reshape(-1, columns)
    hour = rows[:, 0] % 24
    order = np.argsort(hour)
    return [np.interp(CLOCK, hour[order], rows[order, n], period=24)[None] for n in range(1, columns)]


def conditions(air_c, humidity, surface_c, wind, daylight, rain_mm=0.0):
    zero = np.zeros_like(air_c)
    return Conditions(
        times=np.datetime64("2026-09-07T00:00:00", "s") + (GRID * 3600).astype("timedelta64[s]"),
        air_c=air_c,
        humidity_pct=humidity,
        dew_point_c=air.dew_point(air_c, humidity),
        surface_c=surface_c,
        wind_m_s=zero + wind,
        rain_mm=zero + rain_mm,
        rain_chance_pct=zero,
        water_mm=zero + (np.asarray(rain_mm) > 0) * 0.1,
        in_hours=np.ones(GRID.size, dtype=bool),
        in_daylight=(daylight[0] <= CLOCK) & (daylight[1] >= CLOCK),
    )


def rail():
    air_c, humidity, surface_c, wind = day_of(test_toe_rail.HOURS, 5)
    is_tuesday = (GRID >= 24) & (GRID < 48 + 9)
    return conditions(air_c, humidity, surface_c, wind, (8.5, 19.66), np.where(is_tuesday, 0.0, 0.5))


def door():
    air_c, humidity, surface_c = day_of(test_front_door.HOURS, 4)
    shaded = (CLOCK >= 12.5) & (CLOCK <= 15)
    return conditions(air_c, humidity, np.where(shaded, np.minimum(surface_c, air_c + 0.3), surface_c), 1.0, (7.4, 21))


def bench():
    steady = np.full((1, GRID.size), 18.0)
    humidity = air.relative_humidity(18, air.dew_point(9, 90)) + 0 * steady
    return conditions(steady, humidity, steady, 0.5, (7, 19))


def prospect(key, c, of_family, **changes):
    place = site(key=f"{key}_place", travel="90 min")
    of = piece(key=key, site=place.key, coats=1, brush_time=changes.pop("brush"), **changes)
    candidates = Candidates(of, c, ALL, 0)
    lays = built(family(of_family), coats=1)
    return Prospect(
        piece=of,
        site=place,
        blank=Plan(
            piece=key, piece_name=key, site=place.key, timezone="UTC", made_at=MONDAY + timedelta(hours=18), coats=1,
            left=1, planned=(), odds_pct=None, built_up_at=None, in_service_at=None,
        ),
        lays=lays,
        conditions=c,
        candidates=candidates,
        agreement=ALL,
        starts=candidates.of(lays),
        below=nothing_below(1),
        film=None,
        promised={},
        first=0,
    )  # fmt: skip


@pytest.fixture
def week():
    return [
        prospect("rail", rail(), "oil_varnish_1k", brush="1 h", prepare_time="45 min"),
        prospect("door", door(), "urethane_alkyd_1k", brush="25 min", prepare_time="15 min"),
        prospect("bench", bench(), "pu_clear_2k", brush="36 min", prepare_time="45 min", priority=2),
    ]


def test_the_rail_gets_tuesday_the_bench_wednesday_and_the_door_thursday(week):
    made = make_plans(week, [Person(key="kim", hours="08:00-11:30")])
    days = {plan.piece: plan.planned[0].start.date() for plan in made.plans}
    assert days == {"rail": TUESDAY, "bench": WEDNESDAY, "door": THURSDAY}
    assert made.share.is_best


def test_alone_each_would_have_had_tuesday(week):
    for each in week:
        (plan,) = make_plans([each], [Person(key="kim", hours="08:00-11:30")]).plans
        assert plan.planned[0].start.date() == TUESDAY


def test_a_second_person_leaves_nobody_waiting_for_thursday(week):
    people = [Person(key=key, hours="08:00-11:30") for key in ("kim", "sasha")]
    days = {plan.piece: plan.planned[0].start.date() for plan in make_plans(week, people).plans}
    assert days == {"rail": TUESDAY, "bench": TUESDAY, "door": WEDNESDAY}
