"""The weather a coat met: what was measured goes first, and nothing is better known than what it is worked out from."""

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.met import ReadHere, by_hand, course, instants_between
from dryspell.outlook.met_model import FIGURES, AtPiece, Met

BEGAN, FINISHED = np.datetime64("2026-06-03T08:00"), np.datetime64("2026-06-03T09:10")
INSTANTS = instants_between(BEGAN, FINISHED)
AXIS = np.arange("2026-06-03T06:00", "2026-06-03T12:00", 900, dtype="datetime64[s]")
FORECAST = {"air_c": 18.0, "humidity_pct": 55.0, "dew_point_c": 8.82, "surface_c": 20.0, "wind_m_s": 1.0}

psychrolib.SetUnitSystem(psychrolib.SI)


def conditions(**changes):
    series = {name: np.broadcast_to(value, (3, AXIS.size)) for name, value in (FORECAST | changes).items()}
    nothing = np.zeros((3, AXIS.size))
    always = np.ones(AXIS.size, bool)
    return Conditions(
        times=AXIS, rain_mm=nothing, rain_chance_pct=nothing, water_mm=nothing, in_hours=always, in_daylight=always,
        **series,
    )  # fmt: skip


def read(**values):
    return {name: np.broadcast_to(np.float64(value), INSTANTS.shape) for name, value in values.items()}


def known(at):
    return {name: getattr(at, name) and getattr(at, name).known for name in FIGURES}


def test_the_first_stroke_and_the_last_are_looked_at_and_the_time_between():
    assert [str(at)[11:16] for at in INSTANTS] == ["08:00", "08:30", "09:00", "09:10"]


def test_without_readings_all_is_by_the_forecast():
    start = course(INSTANTS, conditions(), ReadHere(), in_open_air=True).at(0)
    assert set(known(start).values()) == {"forecast"}
    assert start.air_c.value == 18.0
    assert start.margin_k.value == pytest.approx(20.0 - 8.82)


def test_without_readings_and_forecast_nothing_is_known():
    found = course(INSTANTS, None, ReadHere(), in_open_air=True)
    assert found.at(0) == found.least() == found.most() == AtPiece()
    assert not Met(began_at="2026-06-03T08:00Z", start=found.at(0)).is_known


def test_off_the_axis_of_the_weather_nothing_is_known():
    days_before = instants_between(BEGAN - np.timedelta64(3, "D"), FINISHED - np.timedelta64(3, "D"))
    assert course(days_before, conditions(), ReadHere(), in_open_air=True).at(-1) == AtPiece()


def test_readings_in_the_open_are_those_of_a_piece_in_the_open_and_the_surface_is_worked_out_with_them():
    found = course(
        INSTANTS,
        conditions(),
        ReadHere(in_open=read(air_temperature=16.0, relative_humidity=70.0, wind_speed=4.0)),
        in_open_air=True,
    ).at(0)
    assert known(found) == {
        "air_c": "sensor", "humidity_pct": "sensor", "dew_point_c": "sensor",
        "surface_c": "estimate", "margin_k": "estimate", "wind_m_s": "estimate",
    }  # fmt: skip
    # psychrolib (ASHRAE 2017), an independent implementation.
    assert found.dew_point_c.value == pytest.approx(psychrolib.GetTDewPointFromRelHum(16.0, 0.70), abs=0.1)


def test_readings_in_the_open_are_not_those_of_a_tent():
    found = course(
        INSTANTS, conditions(), ReadHere(in_open=read(air_temperature=16.0, relative_humidity=70.0)), in_open_air=False
    ).at(0)
    assert (found.air_c.value, found.air_c.known) == (18.0, "estimate")


def test_a_probe_on_the_piece_goes_before_what_is_worked_out():
    found = course(
        INSTANTS,
        conditions(),
        ReadHere(at_piece=read(surface_temperature=14.0), in_open=read(air_temperature=16.0, relative_humidity=70.0)),
        in_open_air=True,
    ).at(0)
    assert (found.surface_c.known, found.margin_k.known) == ("sensor", "sensor")
    assert found.margin_k.value == pytest.approx(14.0 - found.dew_point_c.value, abs=0.011)


def test_the_worst_between_the_first_stroke_and_the_last_is_found():
    wind = np.where(np.datetime64("2026-06-03T08:30") == AXIS, 5.0, 1.0)
    found = course(INSTANTS, conditions(wind_m_s=wind), ReadHere(), in_open_air=True)
    assert (found.at(0).wind_m_s.value, found.at(-1).wind_m_s.value) == (1.0, 1.0)
    assert (found.least().wind_m_s.value, found.most().wind_m_s.value) == (1.0, 5.0)


def test_of_several_ways_the_weather_may_go_the_one_in_the_middle_is_told():
    air = np.array([[10.0], [18.0], [40.0]]) * np.ones(AXIS.size)
    assert course(INSTANTS, conditions(air_c=air), ReadHere(), in_open_air=True).at(0).air_c.value == 18.0


# Dew points of the quick table of the trade notes, worked out there: 20 degC at 70 % 14.4, 10 degC at 80 % 6.7.
@pytest.mark.parametrize(("air_c", "humidity", "dew_c"), [(20.0, 70.0, 14.4), (10.0, 80.0, 6.7), (25.0, 90.0, 23.2)])
def test_the_dew_point_follows_from_what_was_measured_by_hand(air_c, humidity, dew_c):
    found = by_hand(AtPiece(), air_c=air_c, humidity_pct=humidity, surface_c=air_c)
    assert set(known(found).values()) == {"hand", None}
    assert found.dew_point_c.value == pytest.approx(dew_c, abs=0.1)
    assert found.margin_k.value == pytest.approx(air_c - dew_c, abs=0.1)


def test_what_follows_from_a_measured_part_is_no_better_known_than_the_rest():
    other = course(INSTANTS, conditions(), ReadHere(), in_open_air=True).at(0)
    surface = by_hand(other, surface_c=12.0)
    assert known(surface) | {"surface_c": "hand", "margin_k": "forecast"} == known(surface)
    assert surface.margin_k.value == pytest.approx(12.0 - 8.82)
    assert surface.air_c is None
    air = by_hand(other, air_c=16.0)
    assert (air.dew_point_c.value, air.dew_point_c.known) == (pytest.approx(8.82), "forecast")
    # The same vapour in colder air: psychrolib again.
    humidity = 100 * psychrolib.GetRelHumFromTDewPoint(16.0, 8.82)
    assert air.humidity_pct.value == pytest.approx(humidity, abs=0.3)
    assert air.humidity_pct.known == "forecast"


def test_the_figures_named_first_are_by_hand_then_of_the_first_stroke():
    start = course(INSTANTS, conditions(), ReadHere(), in_open_air=True).at(0)
    met = Met(began_at="2026-06-03T08:00Z", start=start, by_hand=by_hand(start, surface_c=12.0))
    assert (met.told.surface_c.known, met.told.air_c.known) == ("hand", "forecast")


@given(air=st.floats(-20, 40), dew_below=st.floats(0, 30), surface=st.floats(-20, 60), size=st.integers(0, 200))
def test_figures_are_of_one_air(air, dew_below, surface, size):
    instants = instants_between(BEGAN, BEGAN + np.timedelta64(size, "m"))
    c = conditions(air_c=air, dew_point_c=air - dew_below, surface_c=surface)
    found = course(instants, c, ReadHere(), in_open_air=True)
    for at in (found.at(0), found.at(-1)):
        assert at.dew_point_c.value <= at.air_c.value
        assert at.margin_k.value == pytest.approx(at.surface_c.value - at.dew_point_c.value, abs=0.02)
        assert 0 < at.humidity_pct.value <= 100
    assert found.least().margin_k.value <= found.most().margin_k.value
