"""What many ways in which the weather may go make of a start: odds, and the member that speaks for them."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from dryspell.outlook.agreement import ALL, Agreement
from dryspell.outlook.cloud import every_way
from dryspell.outlook.model import Limit
from dryspell.outlook.outlook import make_outlook
from dryspell.outlook.words import open_window
from dryspell.weather.table import WeatherTable
from outlook.build import MONDAY, built, piece, site, weather

TEN = MONDAY + timedelta(hours=10)
DRY = weather(cloud=100, air=(14, 20))
WET = weather(cloud=100, air=(14, 20), rain=[(15, 2, 1.0)])


def mixed(dries, wets):
    columns = {name: np.concatenate([DRY.columns[name]] * dries + [WET.columns[name]] * wets) for name in DRY.columns}
    return WeatherTable(times=DRY.times, columns=columns, source="invented", issued_at=MONDAY)


def look(table, **changes):
    door = piece(face="vertical", facing="N", body="door", **changes)
    return make_outlook(door, site(), built(), [], table, TEN, stale_after_h=120)


@pytest.mark.parametrize(("dries", "word"), [(10, "coat"), (8, "coat"), (7, "tight"), (6, "wait"), (0, "wait")])
def test_eight_of_ten_are_a_coat_and_seven_are_tight(dries, word):
    outlook = look(mixed(dries, 10 - dries))
    assert outlook.word == word
    if word == "wait":
        assert outlook.reason.limit is Limit.RAIN
    else:
        assert open_window(outlook).probability == pytest.approx(dries / 10)
    assert outlook.weather.members == 10


def test_a_finisher_can_ask_for_better_odds_or_for_worse():
    assert look(mixed(8, 2), odds="95 %").word == "tight"
    assert look(mixed(7, 3), odds="95 %").word == "wait"
    assert look(mixed(6, 4), odds="60 %").word == "coat"


def test_a_single_forecast_has_no_odds():
    outlook = look(DRY)
    assert (outlook.word, open_window(outlook).probability, outlook.weather.members) == ("coat", None, 1)


def test_the_member_that_decides_gives_the_number():
    """Of ten members with 0 to 0.9 mm of rain the eighth driest decides whether eight of ten are dry enough."""
    rains = [weather(cloud=100, air=(14, 20), rain=[(15, 1, tenths / 10)]) for tenths in range(10)]
    columns = {name: np.concatenate([table.columns[name] for table in rains]) for name in DRY.columns}
    outlook = look(WeatherTable(times=DRY.times, columns=columns, source="invented", issued_at=MONDAY))
    assert (outlook.word, outlook.reason.limit) == ("wait", Limit.RAIN)
    assert outlook.reason.value == pytest.approx(0.6)  # of ten members, the seventh: 65 % would make it tight


def test_which_member_speaks_for_a_share_of_them():
    assert [ALL.among(members, 1.0) for members in (1, 4, 21)] == [0, 0, 0]
    assert Agreement.by_odds(0.8).among(10, 0.8) == 2  # two may fail
    assert Agreement.by_odds(0.8).among(21, 0.8) == 4
    assert Agreement.by_odds(0.1).among(10, 0.0) == 9
    assert Agreement.by_odds(0.1).least == 0.0


def test_a_window_on_weather_that_can_hide_a_night_is_tight_at_best():
    coarse = np.arange(DRY.times.size) >= 24
    outlook = look(replace(DRY, coarse=coarse))
    assert (outlook.word, open_window(outlook).coarse) == ("tight", True)
    far = look(replace(weather(days=8, cloud=100, air=(14, 20)), coarse=np.arange(8 * 24 + 1) > 120))
    assert (far.word, open_window(far).coarse) == ("coat", False)
    assert {window.word for window in far.windows if window.start > MONDAY + timedelta(days=5)} == {"tight"}


def test_the_members_of_an_ensemble_take_the_ways_of_unknown_cloud_by_turns():
    cloud = np.array(weather().columns["cloud_area_fraction"])
    cloud[0, 30:34] = np.nan
    single = replace(weather(), columns=weather().columns | {"cloud_area_fraction": cloud})
    five = replace(single, columns={name: np.repeat(values, 5, axis=0) for name, values in single.columns.items()})
    ways = every_way(single, site()).columns["cloud_area_fraction"]
    assert ways.shape[0] == 4
    assert np.array_equal(every_way(five, site()).columns["cloud_area_fraction"], ways[[0, 1, 2, 3, 0]])
