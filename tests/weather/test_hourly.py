import numpy as np
import pytest

from dryspell.weather.history import History
from dryspell.weather.hourly import laid_out

AIR, HUMIDITY, DEW = "air_temperature", "relative_humidity", "dew_point_temperature"
NOW = np.datetime64("2026-06-01T12:20:00")
HOUR = np.timedelta64(3600, "s")


def history(rows, name=AIR):
    """From rows of hours before noon, lead time, forecast and reading."""
    rows = sorted(rows, key=lambda row: -row[0])
    back, lead_h, forecast, reading = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    valid = np.datetime64("2026-06-01T12:00:00") - HOUR * back.astype(int)
    return {name: History(name, valid, lead_h, forecast, reading)}


def test_the_days_are_whole_and_end_with_the_last_reading():
    found = laid_out(history([(30, 1, 8.0, 9.0), (2, 1, 10.0, 11.0), (0, 1, 10.0, np.nan)]), NOW)
    assert found.days == 2
    assert found.stamps[-1] == np.datetime64("2026-06-01T10:00:00")
    assert np.all(np.diff(found.stamps) == HOUR)
    assert found.forecast[AIR].shape == (1, 48)
    assert found.reading[AIR][[-1, -29]].tolist() == [11.0, 9.0]
    assert np.isfinite(found.reading[AIR]).sum() == 2


def test_of_several_forecasts_for_an_hour_the_latest_of_each_band_is_taken():
    rows = [(0, lead, lead / 10.0, 5.0) for lead in (36, 3, 24, 6, 25, 200)] + [(0, 1, np.nan, 5.0)]
    found = laid_out(history(rows), NOW)
    assert found.forecast[AIR][:, -1] == pytest.approx([0.3, 2.5, np.nan, np.nan, 20.0], nan_ok=True)


@pytest.mark.parametrize(
    # Two days: the first is over 23 h before the last hour, which is therefore the second day's.
    ("lead_h", "days_over"),
    [(0.0, 1), (1.0, 1), (23.0, 1), (24.0, 1), (24.5, 0), (25.0, 0), (100.0, 0)],
)
def test_a_forecast_knows_the_days_that_were_over_when_it_was_made(lead_h, days_over):
    found = laid_out(history([(47, 1, 8.0, 9.0), (0, lead_h, 10.0, 11.0)]), NOW)
    assert found.days == 2
    assert found.issued_day[AIR].max(axis=0)[-1] == days_over


def test_what_cannot_be_is_taken_as_not_known():
    found = laid_out(history([(1, 1, 900.0, 9.0), (0, 1, 10.0, -300.0)]), NOW)
    assert np.isfinite(found.forecast[AIR]).sum() == 1
    assert np.isfinite(found.reading[AIR]).sum() == 1


def test_a_dew_point_is_worked_out_where_only_humidity_is_known():
    # 20 degC at 50 %: dew point 9.3 degC (WMO-No. 8, Annex 4.B formula).
    found = laid_out(history([(0, 1, 20.0, 20.0)]) | history([(0, 1, 100.0, 50.0)], HUMIDITY), NOW)
    assert found.forecast[DEW][0, -1] == pytest.approx(20.0, abs=0.01)
    assert found.reading[DEW][-1] == pytest.approx(9.26, abs=0.05)
    assert np.isnan(found.reading[DEW][:-1]).all()


def test_a_forecast_of_what_is_not_read_is_kept():
    found = laid_out(history([(0, 1, 20.0, 21.0)]) | history([(0, 1, 3.0, np.nan)], "wind_speed"), NOW)
    assert found.forecast["wind_speed"][0, -1] == 3.0
    assert np.isnan(found.forecast_of(DEW)).all()


def test_nothing_read_is_nothing_to_lay_out():
    assert laid_out({}, NOW) is None
    assert laid_out(history([(0, 1, 20.0, np.nan)]), NOW) is None
    assert laid_out(history([(0, 1, 20.0, 21.0)]), NOW - HOUR) is None


def test_what_is_older_than_a_year_and_a_month_is_left():
    assert laid_out(history([(24 * 900, 1, 20.0, 21.0), (0, 1, 20.0, 21.0)]), NOW).days == 400
