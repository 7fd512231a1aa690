"""Several sources in order: who is asked, whose weather it is, what is filled in, and what is said of it."""

import json
import logging
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from dryspell.errors import WeatherError
from dryspell.weather.fill import filled_in, lacking
from dryspell.weather.sources.met_norway_answer import read_met_norway
from dryspell.weather.sources.nws_answer import read_nws
from dryspell.weather.sources.preferred import Preferred
from dryspell.weather.table import VARIABLES, WeatherTable

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
CLOUD, GUST, AIR = "cloud_area_fraction", "wind_speed_of_gust", "air_temperature"
WHOLE = {
    AIR: 12.0,
    "relative_humidity": 70.0,
    "precipitation_amount": 0.0,
    "wind_speed": 3.0,
    CLOUD: 50.0,
    GUST: 6.0,
    "probability_of_precipitation": 10.0,
    "surface_downwelling_shortwave_flux_in_air": 200.0,
}


def weather(source, *, age_h=0.0, begins_h=-2, without=(), members=1, notes=(), **columns):
    times = np.datetime64("2026-06-01T12:00", "s") + np.arange(begins_h, 48) * np.timedelta64(3600, "s")
    rows = {
        name: np.full((members, times.size), value) for name, value in (WHOLE | columns).items() if name not in without
    }
    issued_at = NOW - timedelta(hours=age_h)
    return WeatherTable(times, rows, source, issued_at, f"Weather by {source}", notes)


class Fake:
    def __init__(self, name, answer):
        self.name = name
        self.attribution = f"Weather by {name.title()}"
        self.answer = answer
        self.asked = 0

    def fetch(self, _now):
        self.asked += 1
        if isinstance(self.answer, Exception):
            raise self.answer
        return self.answer


def order(*answers, stale_after_h=6.0):
    """Sources called first, second and so on, their weather First, Second."""
    names = ("first", "second", "third")
    fakes = [Fake(name, answer) for name, answer in zip(names, answers, strict=False)]
    return Preferred(fakes, stale_after_h=stale_after_h), fakes


def down(reason="it is down", retry_after_s=None):
    return WeatherError(reason, retry_after_s=retry_after_s)


def asked(fakes):
    return [fake.asked for fake in fakes]


def test_it_names_its_sources_in_order_and_credits_all():
    source, _ = order(weather("First"), weather("Second"))
    assert source.name == "first then second"
    assert source.attribution == "Weather by First; Weather by Second"
    with pytest.raises(ValueError, match="needs a source"):
        Preferred([], stale_after_h=6.0)


def test_where_the_first_knows_all_nobody_else_is_asked():
    first = weather("First", notes=("a note",))
    source, fakes = order(first, weather("Second"))
    table = source.fetch(NOW)
    assert (table.source, table.notes, table.attribution, table.filled) == (
        "First",
        ("a note",),
        "Weather by First",
        {},
    )
    assert asked(fakes) == [1, 0]


def test_where_the_first_fails_the_next_steps_in_and_the_reason_is_kept():
    source, fakes = order(
        down("first.example cannot be reached"), weather("Second", notes=("so so",)), weather("Third")
    )
    table = source.fetch(NOW)
    assert (table.source, table.attribution) == ("Second", "Weather by Second")
    assert table.notes == ("first: first.example cannot be reached", "Second is used instead", "so so")
    assert asked(fakes) == [1, 1, 0]


def test_when_the_first_is_back_it_is_gone_by_again():
    source, fakes = order(down(), weather("Second"))
    source.fetch(NOW)
    fakes[0].answer = weather("First")
    assert source.fetch(NOW).source == "First"
    assert asked(fakes) == [2, 1]


def test_where_all_fail_every_reason_is_said_and_the_shortest_wait_holds():
    source, _ = order(down("one", 3600.0), down("two", 300.0), down("three", 1200.0))
    with pytest.raises(WeatherError) as caught:
        source.fetch(NOW)
    assert str(caught.value) == "first: one; second: two; third: three"
    assert caught.value.retry_after_s == 300.0


def test_a_source_that_names_no_wait_leaves_it_to_the_caller():
    source, _ = order(down("one", 3600.0), down("two"))
    with pytest.raises(WeatherError) as caught:
        source.fetch(NOW)
    assert caught.value.retry_after_s is None


def test_weather_that_is_too_old_does_not_stand_in_the_way_of_younger():
    source, _ = order(weather("First", age_h=7.0), weather("Second", age_h=1.0))
    table = source.fetch(NOW)
    assert (table.source, table.issued_at) == ("Second", NOW - timedelta(hours=1))
    assert table.notes == (
        "first: its weather of 2026-06-01T05:00Z is not within the 6 h that are acted on",
        "Second is used instead",
    )


@pytest.mark.parametrize(("age_h", "used"), [(5.8, "First"), (5.9, "Second"), (-0.9, "First"), (-1.1, "Second")])
def test_the_next_steps_in_before_the_weather_is_too_old_and_where_a_clock_is_wrong(age_h, used):
    source, _ = order(weather("First", age_h=age_h), weather("Second"))
    assert source.fetch(NOW).source == used


def test_weather_that_is_still_good_goes_before_younger_weather_of_a_source_further_down():
    source, fakes = order(weather("First", age_h=4.0), weather("Second"))
    assert source.fetch(NOW).source == "First"
    assert asked(fakes) == [1, 0]


def test_where_all_weather_is_too_old_the_youngest_is_given_with_its_true_age():
    source, _ = order(weather("First", age_h=9.0), weather("Second", age_h=8.0), down("gone"))
    table = source.fetch(NOW)
    assert (table.source, table.issued_at) == ("Second", NOW - timedelta(hours=8))
    assert table.notes[-1] == "third: gone"


@pytest.mark.parametrize("useless", [{"begins_h": -100, AIR: np.nan}, {"without": (AIR,)}])
def test_a_source_without_a_temperature_for_the_time_ahead_is_no_weather(useless):
    source, _ = order(weather("First", **useless), weather("Second"))
    table = source.fetch(NOW)
    assert table.source == "Second"
    assert table.notes[0] == "first: it knows no temperature from now on"


def test_a_fault_in_one_reader_keeps_no_other_source_from_being_asked(caplog):
    source, _ = order(ZeroDivisionError("in the middle of it"), weather("Second"))
    with caplog.at_level(logging.ERROR):
        table = source.fetch(NOW)
    assert table.source == "Second"
    assert table.notes[0] == "first: it failed in a way that nobody foresaw (ZeroDivisionError)"
    assert caplog.records[0].getMessage() == "first failed"


def test_a_variable_that_the_first_does_not_have_is_filled_in_and_marked():
    source, fakes = order(weather("First", without=(CLOUD,)), weather("Second", **{CLOUD: 80.0}), weather("Third"))
    table = source.fetch(NOW)
    assert (table.source, table.filled) == ("First", {CLOUD: "Second"})
    assert table.attribution == "Weather by First; Weather by Second"
    assert table.notes == ("cloud_area_fraction from Second",)
    assert (table.column(CLOUD) == 80.0).all()
    assert asked(fakes) == [1, 1, 0]


def test_what_the_second_leaves_open_is_asked_of_the_third():
    source, fakes = order(weather("First", without=(CLOUD, GUST)), weather("Second", without=(GUST,)), weather("Third"))
    assert source.fetch(NOW).filled == {CLOUD: "Second", GUST: "Third"}
    assert asked(fakes) == [1, 1, 1]


def test_a_source_that_cannot_fill_in_is_said_and_the_weather_is_used_as_it_is():
    source, _ = order(weather("First", without=(GUST,)), down("no luck"))
    table = source.fetch(NOW)
    assert (table.source, table.filled) == ("First", {})
    assert table.notes == ("wind_speed_of_gust not filled in from second: no luck",)


def test_what_is_too_old_fills_nothing_in():
    source, _ = order(weather("First", without=(CLOUD,)), weather("Second", age_h=7.0))
    table = source.fetch(NOW)
    assert (table.filled, table.issued_at, table.knows(CLOUD)) == ({}, NOW, False)
    assert table.notes == (
        (
            "cloud_area_fraction not filled in from second: "
            "its weather of 2026-06-01T05:00Z is not within the 6 h that are acted on"
        ),
    )


def test_the_age_is_that_of_the_oldest_part_that_is_needed():
    source, _ = order(weather("First", without=(CLOUD,)), weather("Second", age_h=4.0))
    assert source.fetch(NOW).issued_at == NOW - timedelta(hours=4)


def test_an_ensemble_is_filled_in_all_its_members_by_a_single_forecast():
    source, _ = order(weather("First", members=40, without=(CLOUD,)), weather("Second", **{CLOUD: 80.0}))
    table = source.fetch(NOW)
    assert table.members == 40
    assert (table.column(CLOUD) == 80.0).all()


def test_the_source_that_stepped_in_is_filled_in_too_and_the_failed_one_is_not_asked_twice():
    source, fakes = order(down("gone"), weather("Second", without=(CLOUD,)), weather("Third"))
    table = source.fetch(NOW)
    assert (table.source, table.filled) == ("Second", {CLOUD: "Third"})
    assert table.notes == ("first: gone", "Second is used instead", "cloud_area_fraction from Third")
    assert asked(fakes) == [1, 1, 1]


# --- on recorded answers ---


def hourly(start, days):
    """Whole weather of another source over the same time, and two days before it."""
    times = np.datetime64(start.replace(tzinfo=None), "s") + np.arange(-48, 24 * days) * np.timedelta64(3600, "s")
    rows = {name: np.full((1, times.size), value) for name, value in WHOLE.items()}
    return WeatherTable(times, rows, "Second", start, "Weather by Second")


def recorded(samples, name):
    data = json.loads((samples / name).read_bytes())
    return data.get("data", data)


@pytest.mark.measured
def test_what_a_recorded_forecast_of_met_norway_does_not_tell_is_filled_in(samples):
    # It has no gusts, no chance of rain and no sunshine for London; six days of it are six hours apart.
    fetched = datetime(2020, 7, 20, 11, 20, tzinfo=UTC)
    name = "met-norway-locationforecast/london-complete-with-headers-2020-07-20.json"
    mine = read_met_norway(recorded(samples, name), fetched)
    filled = filled_in(mine, hourly(fetched.replace(minute=0), 16), fetched)
    sun = {name for name in VARIABLES if "shortwave" in name}
    assert set(filled.filled) == {GUST, "probability_of_precipitation", *sun}
    assert lacking(filled, fetched) == []
    for name, column in mine.columns.items():
        assert np.array_equal(filled.column(name), column, equal_nan=True)
    assert filled.issued_at == mine.issued_at


@pytest.mark.measured
def test_rain_that_a_recorded_grid_forecast_stops_telling_is_filled_in_to_its_end(samples):
    # Its rain ends on 25 February at 0:00 UTC, its temperature three and a half days later.
    fetched = datetime(2024, 2, 20, 14, tzinfo=UTC)
    mine = read_nws(recorded(samples, "nws-gridpoints/gridpoint-lzk-83-73-2024-02-20.json"), fetched)
    rain, air = ("precipitation_amount", "air_temperature")
    known = [mine.times[np.isfinite(mine.column(name)[0])][-1] for name in (rain, air)]
    assert known[0] == np.datetime64("2024-02-25T00:00")
    filled = filled_in(mine, hourly(fetched, 16), fetched)
    assert filled.times[np.isfinite(filled.column(rain)[0])][-1] == known[1]
    assert filled.filled[rain] == "Second"
    told = np.isfinite(mine.column(rain))
    assert np.array_equal(filled.column(rain)[told], mine.column(rain)[told])
