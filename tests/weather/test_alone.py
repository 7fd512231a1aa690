from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryspell.errors import WeatherError
from dryspell.weather.alone import foresee, relived
from dryspell.weather.table import WeatherTable

LAST = datetime(2026, 6, 20, 12, 0, tzinfo=UTC)
GLOBAL = "surface_downwelling_shortwave_flux_in_air"


def readings(days=10, step_min=60, last=LAST, **columns):
    """Readings up to `last`; a column is a function of the hours before it."""
    before = np.arange(days * 24 * 60 // step_min, -1, -1) * (step_min / 60.0)
    times = np.datetime64(last.replace(tzinfo=None), "s") - np.round(before * 3600).astype("timedelta64[s]")
    values = {name: np.broadcast_to(column(before), before.shape)[None].copy() for name, column in columns.items()}
    return WeatherTable(times, values, "sensor", last, "our own yard")


def swing(mean, size, late=0.0):
    """Return a variable that swings once a day about a mean, and is `late` hours late."""
    return lambda before: mean + size * np.cos(2.0 * np.pi * (before + late) / 24.0)


def summer(**changes):
    return {
        "air_temperature": swing(18.0, 6.0),
        "dew_point_temperature": swing(9.0, 1.0, late=6.0),
        "wind_speed": swing(3.0, 2.0),
        **changes,
    }


def test_where_every_day_is_like_the_last_so_is_the_next():
    outlook = foresee(readings(**summer()), LAST)
    ahead = -np.arange(37.0)
    for name, course in summer().items():
        assert outlook.columns[name][0] == pytest.approx(course(ahead), abs=1e-6)


def test_it_is_hourly_from_the_last_reading_on_and_reaches_as_far_as_asked_from_now():
    now = LAST + timedelta(minutes=100)
    outlook = foresee(readings(**summer()), now, 24)
    assert outlook.issued_at == LAST
    assert outlook.times[0] == np.datetime64("2026-06-20T12:00:00")
    assert set(np.diff(outlook.times)) == {np.timedelta64(3600, "s")}
    assert outlook.times[-1] == np.datetime64("2026-06-21T14:00:00")


def test_a_departure_fades():
    table = readings(days=4, **summer())
    table.columns["air_temperature"][0, -3:] += 5.0
    left = foresee(table, LAST).columns["air_temperature"][0] - swing(18.0, 6.0)(-np.arange(37.0))
    assert left[0] == pytest.approx(5.0)
    # At the hours at which it was, a day ahead, it has become a little usual.
    assert np.all(np.diff(left[:22]) < 0.0)
    assert 0.0 < left[21] < 5.0 * 0.6


def test_the_shape_of_the_day_is_learned_at_any_longitude_alike():
    here = foresee(readings(**summer()), LAST)
    far_away = foresee(readings(last=LAST + timedelta(hours=7), **summer()), LAST + timedelta(hours=7))
    assert far_away.times[0] - here.times[0] == np.timedelta64(7, "h")
    assert far_away.columns["air_temperature"] == pytest.approx(here.columns["air_temperature"], abs=1e-9)


def test_nothing_after_now_is_looked_at():
    rng = np.random.default_rng(1)
    table = readings(days=20, **summer())
    for column in table.columns.values():
        column[:] += rng.normal(0.0, 0.5, column.shape)
    now = LAST - timedelta(days=5)
    known = foresee(table, now)
    for column in table.columns.values():
        column[0, -5 * 24 :] = -50.0
    changed = foresee(table, now)
    assert known.times[0] == np.datetime64("2026-06-15T12:00:00")
    for name, column in known.columns.items():
        assert np.array_equal(column, changed.columns[name], equal_nan=True)


def test_rain_cannot_be_foreseen_so_and_is_unknown():
    table = readings(precipitation_amount=lambda before: 0.0 * before, **summer())
    outlook = foresee(table, LAST)
    assert not outlook.knows("precipitation_amount")
    assert "precipitation_amount" in outlook.columns
    assert "rain cannot be foreseen from readings: it is unknown" in outlook.notes


def test_no_rain_is_assumed_only_where_somebody_has_set_it_and_is_said_so():
    outlook = foresee(readings(**summer()), LAST, assume_no_rain=True)
    assert np.all(outlook.columns["precipitation_amount"] == 0.0)
    assert np.all(outlook.columns["probability_of_precipitation"] == 0.0)
    assert any("none is assumed, as you have set" in note for note in outlook.notes)


def test_it_is_marked_as_made_from_readings_alone_and_keeps_their_credit():
    outlook = foresee(readings(**summer()), LAST)
    assert (outlook.source, outlook.attribution) == ("the site's own readings", "our own yard")
    assert outlook.notes[0].startswith("no forecast: made from 10 days of the site's own readings alone")


@pytest.mark.parametrize("days", [1, 2])
def test_with_too_few_days_it_is_refused_with_how_many_are_needed(days):
    with pytest.raises(WeatherError, match=rf"needs 3 days of air temperature; there are {days}\.0 so far"):
        foresee(readings(days=days, **summer()), LAST)


def test_three_days_are_enough():
    assert foresee(readings(days=3, **summer()), LAST).knows("air_temperature")


def test_without_any_air_temperature_it_is_refused():
    with pytest.raises(WeatherError, match="needs 3 days of air temperature; there are none"):
        foresee(readings(wind_speed=swing(3.0, 1.0)), LAST)


def test_an_old_last_reading_is_refused_with_its_age():
    with pytest.raises(WeatherError, match=r"the last is of 2026-06-20T12:00Z, 7 h ago"):
        foresee(readings(**summer()), LAST + timedelta(hours=7))
    foresee(readings(**summer()), LAST + timedelta(hours=6))


def test_hours_of_the_day_that_were_never_read_are_refused():
    table = readings(days=20, **summer())
    hour = (table.times - table.times.astype("datetime64[D]")) / np.timedelta64(1, "h")
    table.columns["air_temperature"][0, (hour >= 1) & (hour < 9)] = np.nan
    with pytest.raises(WeatherError, match="each hour of the day read once in the last 30 days; 5 of the 24"):
        foresee(table, LAST)


def test_it_cannot_be_asked_for_more_hours_than_it_is_worth():
    with pytest.raises(ValueError, match="1 to 42, got 48"):
        foresee(readings(**summer()), LAST, 48)


def test_what_has_no_sensor_is_unknown_and_named():
    outlook = foresee(readings(air_temperature=swing(18.0, 6.0)), LAST)
    assert set(outlook.columns) == {"air_temperature", "precipitation_amount"}
    assert outlook.notes[-1] == "not known for want of readings: humidity, wind, cloud"


def test_the_dew_point_is_worked_out_where_humidity_is_read():
    outlook = foresee(readings(air_temperature=swing(18.0, 6.0), relative_humidity=swing(60.0, -20.0)), LAST)
    # At 60 % of a swing's middle: 18 degC and 60 % are a dew point of 10.1 degC (psychrolib in tests/science).
    assert outlook.columns["dew_point_temperature"][0, 6] == pytest.approx(10.1, abs=0.05)
    assert outlook.columns["relative_humidity"][0, 6] == pytest.approx(60.0, abs=1e-6)


def test_gaps_in_the_readings_do_no_harm():
    table = readings(days=20, **summer())
    whole = foresee(table, LAST)
    lost = np.random.default_rng(2).random(table.times.size) < 0.3
    lost[-1] = False
    table.columns["air_temperature"][0, lost] = np.nan
    table.columns["wind_speed"][0, -40:-4] = np.nan
    holed = foresee(table, LAST)
    assert holed.columns["air_temperature"] == pytest.approx(whole.columns["air_temperature"], abs=1.5)
    assert np.isfinite(holed.columns["wind_speed"]).all()


def test_readings_of_every_ten_minutes_tell_the_same_as_hourly_ones():
    often, hourly = (foresee(readings(step_min=step, **summer()), LAST) for step in (10, 60))
    for name, column in hourly.columns.items():
        assert often.columns[name] == pytest.approx(column, abs=1e-9, nan_ok=True)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(5, 40))  # a tenth of the readings is left out
def test_whatever_was_read_it_is_air_that_can_be(seed, days):
    rng = np.random.default_rng(seed)
    table = readings(days=days, **summer())
    for column in table.columns.values():
        column[:] += np.cumsum(rng.normal(0.0, 1.0, column.shape[1])) / 5.0
        column[0, rng.random(column.shape[1]) < 0.1] = np.nan
    table.columns["wind_speed"][:] = np.abs(table.columns["wind_speed"])
    table.columns["air_temperature"][0, -1] = 15.0
    table.columns["dew_point_temperature"][:] = np.fmin(
        table.columns["dew_point_temperature"], np.nan_to_num(table.columns["air_temperature"], nan=-20.0)
    )
    outlook = foresee(table, LAST)
    air, dew = outlook.column("air_temperature"), outlook.column("dew_point_temperature")
    assert np.isfinite(air).all()
    assert not np.any(dew > air)
    assert not np.any(outlook.column("wind_speed") < 0.0)
    assert not np.any(outlook.column("relative_humidity") > 100.0)


def sunny(share):
    """Return the means of ten days of hours of a clear sky's sunshine, less a share, at 40 N on the meridian."""
    import pandas as pd
    from pvlib import clearsky, solarposition

    ends = pd.date_range(end=LAST, periods=241, freq="h")
    zenith = solarposition.get_solarposition(ends - pd.Timedelta("30min"), 40.0, 0.0)["zenith"]
    return clearsky.haurwitz(zenith)["ghi"].to_numpy() * share


@pytest.mark.parametrize(("share", "cloud"), [(1.0, 0.0), (0.25, 100.0), (0.5, 88.8)])
def test_cloud_is_estimated_from_sunshine_where_it_is_read(share, cloud):
    # Against the clear sky of pvlib (Haurwitz). Half of it comes through 88.8 % of cloud by 1 - 0.75 c^3.4 (Kasten and
    # Czeplak): 0.75 * 0.888^3.4 = 0.501.
    sunshine = sunny(share)
    table = readings(**summer(), **{GLOBAL: lambda _: sunshine})
    outlook = foresee(table, LAST, place=(40.0, 0.0))
    assert outlook.columns["cloud_area_fraction"] == pytest.approx(np.full((1, 37), cloud), abs=6.0)
    assert outlook.columns[GLOBAL][0, 24] == pytest.approx(sunshine[-1], rel=0.03)
    assert outlook.columns[GLOBAL][0, 12] == 0.0
    assert not foresee(table, LAST).knows("cloud_area_fraction")


def test_a_sunshine_sensor_that_has_not_seen_the_sun_tells_nothing_of_cloud():
    table = readings(**summer(), **{GLOBAL: lambda before: np.full(before.shape, np.nan)})
    table.columns[GLOBAL][0, 12] = 0.0
    outlook = foresee(table, LAST, place=(40.0, 0.0))
    assert not outlook.knows("cloud_area_fraction")
    assert outlook.notes[-1] == "not known for want of readings: cloud"


def test_what_is_lived_again_is_what_was_foreseen_then():
    rng = np.random.default_rng(3)
    table = readings(days=40, **summer())
    for column in table.columns.values():
        column[:] += np.cumsum(rng.normal(0.0, 0.3, column.shape[1]))
        column[:] -= column.min() - 1.0
    table.columns["dew_point_temperature"][:] -= 10.0
    again = relived(table, LAST, days=20)
    # The rule is fitted anew at the last reading's hour of each day, here at 13 hours UTC.
    then = datetime(2026, 6, 10, 13, tzinfo=UTC)
    outlook = foresee(table, then)
    for name in ("air_temperature", "wind_speed"):
        past = again[name]
        issued = past.valid - past.lead_h.astype(int) * np.timedelta64(3600, "s")
        mine = issued == np.datetime64("2026-06-10T13:00:00")
        assert past.lead_h[mine].tolist() == list(range(1, 37))
        assert past.forecast[mine] == pytest.approx(outlook.columns[name][0, 1:], abs=1e-9)
        assert past.reading[mine] == pytest.approx(table.columns[name][0, np.isin(table.times, past.valid[mine])])


def test_nothing_is_lived_again_of_the_days_before_there_were_enough_readings():
    past = relived(readings(days=10, **summer()), LAST, days=30)["air_temperature"]
    issued = past.valid - past.lead_h.astype(int) * np.timedelta64(3600, "s")
    assert issued.min() == np.datetime64("2026-06-13T11:00:00")
    assert past.valid.max() == np.datetime64("2026-06-20T12:00:00")
