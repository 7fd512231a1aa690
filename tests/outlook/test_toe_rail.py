"""A day of a toe rail, worked by hand in 5-minute steps: an oil varnish, early September, dew at both ends of the day.

The table and the answers are a worked example of the trade rules (common practice, no source), computed from it outside
this project's code: go from 09:40, brush down by 12:00, tight until 12:30, lost from 13:00 on.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.judge import Asked
from dryspell.outlook.model import Limit
from dryspell.outlook.windows import judge_all, windows_of
from dryspell.science import air
from outlook.build import coating

# Local hour, air degC, relative humidity %, surface degC, wind at the rail m/s; hours past 23 are of the next morning.
HOURS = """
    6 9.0 95 6.5 1   7 9.5 94 8.0 1   8 11.5 88 11.0 1.5   9 13.5 80 14.0 2
    10 15.5 72 17.0 2.5   11 17.0 66 19.5 3   12 18.0 62 21.0 3.5   13 18.5 59 22.0 4
    14 19.0 57 22.5 4   15 19.0 58 22.0 4   16 18.5 60 20.5 3.5   17 17.5 65 18.5 3
    18 16.0 72 16.0 2   19 14.0 80 13.0 1.5   20 12.5 86 10.5 1   21 11.5 90 9.0 1
    22 10.8 92 8.3 1   23 10.2 93 7.7 1   24 9.8 94 7.2 1   25 9.5 95 6.9 1
    26 9.2 95 6.7 1   27 9.0 95 6.5 1   28 8.9 95 6.4 1   29 8.9 95 6.4 1
"""
MIDNIGHT = datetime(2026, 9, 5, tzinfo=UTC)


@pytest.fixture
def rail():
    day = np.array(HOURS.split(), dtype=float).reshape(-1, 5)
    later = np.array([24, 0, 0, 0, 0])
    hour, *columns = np.vstack([day, day + later, day[:1] + 2 * later]).T
    grid = np.arange(6, 54.01, 0.25)
    air_c, humidity, surface_c, wind = (np.interp(grid, hour, column)[None] for column in columns)
    zero = np.zeros_like(air_c)
    return Conditions(
        times=np.datetime64("2026-09-05T00:00:00", "s") + (grid * 3600).astype("timedelta64[s]"),
        air_c=air_c,
        humidity_pct=humidity,
        dew_point_c=air.dew_point(air_c, humidity),
        surface_c=surface_c,
        wind_m_s=wind,
        rain_mm=zero,
        rain_chance_pct=zero,
        water_mm=zero,
        in_hours=np.ones(grid.size, dtype=bool),
        in_daylight=(grid % 24 >= 8.5) & (grid % 24 <= 19.66),
    )


def laid_at(rail, hour, minute):
    laid = MIDNIGHT + timedelta(hours=hour, minutes=minute)
    reached = DryingClock(rail, coating()).of_films(np.array([np.datetime64(laid.replace(tzinfo=None), "s")]))
    return reached.dew_safe[0, 0].astype("datetime64[m]").astype(datetime)


@pytest.mark.parametrize(
    ("laid", "dew_safe"),
    [
        ((9, 30), (15, 50)),
        ((10, 0), (16, 10)),
        ((11, 0), (17, 5)),
        ((12, 0), (18, 20)),
        ((12, 30), (19, 15)),
    ],
)
def test_a_film_is_dew_safe_at_the_hour_worked_out_by_hand(rail, laid, dew_safe, figure):
    wanted = MIDNIGHT.replace(tzinfo=None) + timedelta(hours=dew_safe[0], minutes=dew_safe[1])
    apart = abs(laid_at(rail, *laid) - wanted)
    assert apart <= timedelta(minutes=10)
    source = "a finisher's worked day in steps of 5 minutes (common practice, no source)"
    name = f"dew-safe on a September rail, laid at {laid[0]:02d}:{laid[1]:02d}"
    figure(name, apart / timedelta(minutes=1), bar=10, unit="min", source=source)


def test_the_day_has_one_window_from_twenty_to_ten_with_the_last_stroke_at_noon(rail):
    asked = Asked(brush_steps=4, settle_steps=4, ready_at=rail.times[:1])
    judged = judge_all(rail, DryingClock(rail, coating()), coating(), np.arange(72), asked)
    (window,) = windows_of(judged)
    quarter = timedelta(minutes=15)
    assert abs(window.start - (MIDNIGHT + timedelta(hours=9, minutes=40))) <= quarter
    assert abs(window.good_from - (MIDNIGHT + timedelta(hours=9, minutes=40))) <= quarter
    assert abs(window.brush_down_by - (MIDNIGHT + timedelta(hours=12))) <= quarter
    assert abs(window.tight_until - (MIDNIGHT + timedelta(hours=12, minutes=30))) <= quarter


def test_a_stroke_at_one_is_lost_to_the_dew_though_the_air_stays_dry_till_evening(rail):
    asked = Asked(brush_steps=4, settle_steps=4, ready_at=rail.times[:1])
    judged = judge_all(rail, DryingClock(rail, coating()), coating(), np.arange(72), asked)
    noon = int(np.searchsorted(rail.times, np.datetime64("2026-09-05T12:00:00")))  # one hour's brushing: last at 13:00
    failing = [ruling.limit for ruling in judged.nominal if not ruling.passes[0, noon]]
    assert failing == [Limit.MARGIN_HOLD]


@pytest.mark.parametrize(("laid", "dew_safe"), [((13, 0), (20, 20)), ((14, 0), (24, 5))])
def test_under_a_cover_from_five_on_the_afternoon_is_not_lost(rail, laid, dew_safe):
    # A cover on from 17:00 keeps the rail half a kelvin over the air at the least (common practice, no source).
    covered = rail.times >= np.datetime64("2026-09-05T17:00")
    under = replace(rail, surface_c=np.where(covered, np.maximum(rail.surface_c, rail.air_c + 0.5), rail.surface_c))
    apart = abs(
        laid_at(under, *laid) - (MIDNIGHT.replace(tzinfo=None) + timedelta(hours=dew_safe[0], minutes=dew_safe[1]))
    )
    assert apart <= timedelta(minutes=15)
    hold = slice(*np.searchsorted(rail.times, [np.datetime64("2026-09-05T13:00"), np.datetime64("2026-09-06T05:00")]))
    assert under.margin_k[0, hold].min() > 1.0
    assert rail.margin_k[0, hold].min() < 0.0


def ready_to_sand(rail, **factors):
    laid = np.array([np.datetime64("2026-09-05T09:30:00")])
    return DryingClock(rail, coating(factors=factors)).of_films(laid).sandable[0, 0]


def test_ready_to_sand_is_told_by_the_cold_night_and_not_by_the_clock(rail):
    # A clock says 09:30 the next day. Damp air counts fully until dew-safe and at most 1.25 after.
    by_rule = ready_to_sand(rail)
    assert np.datetime64("2026-09-06T15:30") < by_rule < np.datetime64("2026-09-06T17:00")
    # Worked by hand with damp air counted fully all night: 18:15.
    assert abs(ready_to_sand(rail, damp_late=2.2) - np.datetime64("2026-09-06T18:15")) <= np.timedelta64(5, "m")
