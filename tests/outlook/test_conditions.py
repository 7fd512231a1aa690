"""What reaches a piece: sky and shelter, sun on its face, hours and daylight at its site."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dryspell.outlook.conditions import conditions_at, face_weather, needed_variables
from dryspell.outlook.daytime import in_hours
from dryspell.outlook.exposure import exposure_of, wind_factor
from dryspell.trade.hours import read_hours
from dryspell.weather.table import WeatherTable
from outlook.build import MONDAY, piece, site, weather

GLOBAL = "surface_downwelling_shortwave_flux_in_air"


def at(c, hour):
    moment = MONDAY + timedelta(hours=hour)
    return int(np.searchsorted(c.times, np.datetime64(moment.replace(tzinfo=None))))


def test_a_deck_under_a_clear_sky_is_colder_than_the_air_by_night_and_hotter_by_day():
    c = conditions_at(piece(), site(), weather(cloud=0, air=(8, 20)))
    assert c.surface_c[0, at(c, 28)] < c.air_c[0, at(c, 28)] - 1.0
    assert c.surface_c[0, at(c, 12)] > c.air_c[0, at(c, 12)] + 8.0


def test_in_a_shed_the_surface_follows_the_air_and_the_air_follows_the_day_late():
    table = weather(cloud=0, air=(8, 20))
    shed = conditions_at(piece(shelter="shed"), site(), table)
    assert np.argmax(shed.air_c[0, 96:192]) > np.argmax(conditions_at(piece(), site(), table).air_c[0, 96:192]) + 4
    assert np.all(np.abs(shed.surface_c - shed.air_c) < 1.5)
    assert not shed.rain_mm.any()


def test_warm_damp_air_makes_cold_wood_in_a_shed_sweat():
    # 4 degC and dry for two days, then 14 degC with a dew point of 12.7 (common practice: the worst case indoors).
    hours = np.arange(97)
    mild = hours >= 48
    damp = weather(days=4, cloud=100, dew_c=np.where(mild, 12.7, 1.0), air=(4.0, 4.0))
    damp.columns["air_temperature"][0] = np.where(mild, 14.0, 4.0)
    damp.columns["dew_point_temperature"][0] = np.where(mild, 12.7, 1.0)
    c = conditions_at(piece(shelter="shed", body="heavy timber"), site(), damp)
    assert c.water_mm[0, at(c, 50)] > 0
    assert c.margin_k[0, at(c, 49)] < 0.5
    assert c.water_mm[0, at(c, 46)] == 0


def test_a_west_wall_gets_its_sun_in_the_afternoon_and_an_east_wall_in_the_morning():
    table = weather(cloud=0, air=(12, 20))
    west, east = (
        conditions_at(piece(face="vertical", facing=facing), site(), table).surface_c[0] for facing in ("W", "E")
    )
    c = conditions_at(piece(), site(), table)
    assert west[at(c, 16)] > east[at(c, 16)] + 5
    assert east[at(c, 9)] > west[at(c, 9)] + 5


def test_the_sun_of_the_forecast_is_taken_before_that_of_cloud_and_clear_sky():
    table = weather(cloud=0, air=(12, 20))
    dull = dict(table.columns) | {GLOBAL: np.full_like(table.columns["air_temperature"], 60.0)}
    c = conditions_at(piece(), site(), WeatherTable(table.times, dull, source="invented", issued_at=MONDAY))
    assert c.surface_c[0, at(c, 12)] < conditions_at(piece(), site(), table).surface_c[0, at(c, 12)] - 10


def test_a_hung_shade_takes_the_beam_away():
    table = weather(cloud=0, air=(12, 20))
    door = piece(face="vertical", facing="SW", colour="dark")
    bare, hung = conditions_at(door, site(), table), conditions_at(door, site(), table, shaded=True)
    assert hung.surface_c[0, at(bare, 15)] < bare.surface_c[0, at(bare, 15)] - 10
    np.testing.assert_allclose(hung.surface_c[0, : at(bare, 3)], bare.surface_c[0, : at(bare, 3)])


def beam_hours(changes):
    """Return the hours of the first day in which the beam warms a dark south wall by more than with it shaded."""
    table = weather(cloud=0, air=(12, 20))
    wall = piece(face="vertical", facing="S", colour="dark", **changes)
    bare, shaded = face_weather(wall, site(), table), face_weather(wall, site(), table, shaded=True)
    lit = (bare.plane_w_m2 - shaded.plane_w_m2)[0, :97] > 20.0
    return np.flatnonzero(lit) / 4


def test_direct_sun_reaches_a_piece_in_its_hours_only():
    assert beam_hours({})[[0, -1]] == pytest.approx([6.5, 17.5], abs=1.0)
    # Between two cells of a quarter of an hour the sun comes and goes within one.
    assert beam_hours({"sun": ["12:45-15:00"]})[[0, -1]] == pytest.approx([12.75, 15.0], abs=0.25)
    both = beam_hours({"sun": ["08:00-10:00", "12:45-15:00"]})
    assert not ((both > 10.25) & (both < 12.5)).any()
    assert both[0] < 8.3


def test_the_hours_of_sun_are_read_by_the_clock_of_the_site():
    table = weather(cloud=0, air=(12, 20))
    wall = piece(face="vertical", facing="S", sun="12:00-14:00")
    lit = face_weather(wall, site(timezone="Europe/Berlin"), table).plane_w_m2[0, :97] > 250
    assert np.flatnonzero(lit)[[0, -1]] / 4 == pytest.approx([10.0, 12.0], abs=0.26)  # two hours ahead of UTC in summer


def test_a_skyline_keeps_the_sun_off_until_it_stands_over_it():
    # 54 N on 7 September: noon height 90 - 54 + 6.0 degrees (declination from memory) = 42.
    assert beam_hours({"horizon": {"S": "45 deg"}}).size == 0
    whole = beam_hours({})
    low = beam_hours({"horizon": {"S": "35 deg"}})
    assert 3 < low[-1] - low[0] < 6
    west_walled = beam_hours({"horizon": {"E": "0 deg", "S": "0 deg", "SW": "60 deg", "W": "60 deg"}})
    assert west_walled[0] == whole[0]
    assert 12 < west_walled[-1] < 14.5


def test_a_sky_that_is_brighter_round_the_sun_gives_a_sunny_wall_more_and_a_shady_one_less():
    table = weather(cloud=0, air=(12, 20))
    uneven = site(diffuse_sky="brighter round the sun")

    def noon(where, **changes):
        w = face_weather(piece(face="vertical", **changes), where, table)
        return w.plane_w_m2[0, 48]

    # Check values of the plane, pvlib 0.16.1: a south wall 744 W/m2 in place of 706, an east one 82 in place of 111.
    assert noon(uneven, facing="S") > 1.03 * noon(site(), facing="S")
    assert noon(uneven, facing="N") < 0.9 * noon(site(), facing="N")


def test_what_shades_the_sun_shades_the_bright_sky_round_it():
    table = weather(cloud=0, air=(12, 20))
    wall = {"face": "vertical", "facing": "S"}
    even, uneven = (
        face_weather(piece(sun="06:00-07:00", **wall), site(diffuse_sky=sky), table)
        for sky in ("even", "brighter round the sun")
    )
    assert not uneven.beam_w_m2[0, 48]
    assert uneven.plane_w_m2[0, 48] < even.plane_w_m2[0, 48]
    hung = face_weather(piece(**wall), site(diffuse_sky="brighter round the sun"), table, shaded=True)
    np.testing.assert_allclose(hung.plane_w_m2[0, 48], uneven.plane_w_m2[0, 48])


def test_under_a_cover_there_is_no_sky_no_rain_and_no_sun():
    table = weather(cloud=0, air=(8, 20), rain=[(10, 2, 3.0)])
    c = conditions_at(piece(shelter="cover"), site(), table)
    assert not c.rain_mm.any()
    assert np.abs(c.surface_c - c.air_c).max() < 1.5
    np.testing.assert_array_equal(c.air_c, conditions_at(piece(), site(), table).air_c)
    assert c.surface_c[0, at(c, 28)] > conditions_at(piece(), site(), table).surface_c[0, at(c, 28)] + 1


def test_an_electric_heater_in_a_tent_opens_the_margin_of_scenario_c():
    # Trade notes, section 9 C: outdoors 9 degC at 90 %, in a tent at 18 degC 50 % and a margin of about 10 K.
    damp = weather(air=(9.0, 9.0), dew_c=7.45, cloud=100)
    cold, heated = (conditions_at(piece(shelter="tent", heat=heat), site(), damp) for heat in ("0 K", "9 K"))
    late = at(cold, 24)
    assert cold.margin_k[0, late] < 2.0
    assert heated.air_c[0, late] == pytest.approx(18.0)
    assert heated.humidity_pct[0, late] == pytest.approx(50.0, abs=1.5)
    assert heated.margin_k[0, late] == pytest.approx(10.0, abs=0.8)


def test_what_a_probe_found_goes_before_what_the_words_say():
    table = weather(cloud=0, air=(8, 20))
    plain, told = piece(), piece(wind_share="10 %", back_conductance="12 W/m^2/K")
    assert exposure_of(told, site()).wind_factor == wind_factor(told, site()) == 0.1
    assert exposure_of(told, site()).back_conductance_w_m2_k == 12.0
    c = conditions_at(told, site(), table)
    assert c.wind_m_s[0, at(c, 12)] == pytest.approx(0.2)
    assert c.surface_c[0, at(c, 28)] != conditions_at(plain, site(), table).surface_c[0, at(c, 28)]


def test_what_is_needed_depends_on_what_reaches_the_piece():
    table = weather()
    assert "precipitation_amount" in needed_variables(piece(), table)
    assert "cloud_area_fraction" in needed_variables(piece(), table)
    shed = needed_variables(piece(shelter="shed"), table)
    assert set(shed) == {"air_temperature", "wind_speed", "dew_point_temperature"}


def test_unknown_rain_is_unknown_and_not_dry():
    table = weather()
    table.columns["precipitation_amount"][0, 40] = np.nan
    c = conditions_at(piece(), site(), table)
    assert not c.known[0, at(c, 39.5)]
    assert c.known[0, at(c, 41.5)]


@pytest.mark.parametrize(
    ("day", "first", "last"),
    [
        # On the day the clocks go forward work from 01:00 to 04:00 is two hours, on the day they go back four.
        (datetime(2026, 3, 29, tzinfo=UTC), "2026-03-29T00:00", "2026-03-29T02:00"),
        (datetime(2026, 10, 25, tzinfo=UTC), "2026-10-24T23:00", "2026-10-25T03:00"),
    ],
)
def test_working_hours_keep_to_the_local_clock_when_it_changes(day, first, last):
    grid = np.datetime64(day.replace(tzinfo=None), "s") + np.arange(-16, 60) * np.timedelta64(900, "s")
    inside = grid[in_hours(grid, read_hours("Sun 01:00-04:00"), ZoneInfo("Europe/Berlin"))]
    assert (inside[0], inside[-1]) == (np.datetime64(first), np.datetime64(last))


def test_daylight_begins_the_given_time_after_sunrise():
    c = conditions_at(piece(after_sunrise="2 h"), site(), weather())
    plain = conditions_at(piece(after_sunrise="0 h"), site(), weather())
    first, sunrise = c.times[c.in_daylight][0], plain.times[plain.in_daylight][0]
    assert first - sunrise == np.timedelta64(2, "h")
    # 54 N 0 E on 7 September: sunrise 05:21 UTC (from memory, a national almanac's formula gives 05:19 to 05:23)
    assert abs(sunrise - np.datetime64("2026-09-07T05:21")) <= np.timedelta64(15, "m")
