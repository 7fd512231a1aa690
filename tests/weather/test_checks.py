from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.weather.checks import as_datetime, as_instant, disagreement, gaps, horizon, in_order


def hours(*numbers):
    return np.datetime64("2026-06-01T00:00", "s") + np.array(numbers, dtype=np.int64) * np.timedelta64(1, "h")


@given(st.lists(st.integers(0, 30), max_size=40))
def test_ordering_keeps_of_each_time_the_row_written_last(written):
    rows = np.arange(len(written), dtype=float)
    times, columns, _notes = in_order(hours(*written), {"air_temperature": np.vstack([rows, -rows])})
    last = dict(zip(written, rows.tolist(), strict=True))
    assert np.array_equal(times, hours(*sorted(last)))
    assert columns["air_temperature"].tolist() == [
        [last[hour] for hour in sorted(last)],
        [-last[hour] for hour in sorted(last)],
    ]


def test_of_very_many_rows_that_share_a_time_the_last_is_kept_too():
    written = np.random.default_rng(1).integers(0, 50, 5000)  # so many that a sort that is not stable would show
    times, columns, notes = in_order(hours(*written), {"air_temperature": np.arange(5000.0)[np.newaxis]})
    last = {hour: row for row, hour in enumerate(written.tolist())}
    assert columns["air_temperature"][0].tolist() == [last[hour] for hour in range(50)]
    assert times.size == 50
    assert notes[-1] == "4950 rows shared a time with a later one, which is used"


@pytest.mark.parametrize("times", [(), (0,), (0, 1), (0, 3, 6, 9), (0, 1, 2, 3, 4)])
def test_even_steps_have_no_gap(times):
    assert gaps(hours(*times)) == ()


def test_a_step_that_leaves_no_whole_step_out_is_a_gap_all_the_same():
    times = np.append(hours(0, 1, 2, 3), hours(4) + np.timedelta64(30, "m"))
    assert gaps(times) == (
        "1 gap in the times: 1 step of 1 h missing, the first between 2026-06-01T03:00Z and 2026-06-01T04:30Z",
    )


def test_the_horizon_is_that_of_the_needed_column_that_ends_first_in_any_member():
    nan = np.nan
    columns = {
        "air_temperature": np.array([[1.0, nan, nan], [1.0, 2.0, nan]]),
        "precipitation_amount": np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 0.0]]),
        "cloud_area_fraction": np.array([[50.0, nan, nan], [nan, nan, nan]]),  # its end does not end the forecast
    }
    assert horizon(hours(0, 1, 2), columns) == (datetime(2026, 6, 1, 1, tzinfo=UTC), "air_temperature")


def test_where_nothing_needed_is_known_there_is_no_horizon():
    assert horizon(hours(0, 1), {"cloud_area_fraction": np.zeros((1, 2))}) is None
    assert horizon(hours(0, 1), {"air_temperature": np.full((1, 2), np.nan)}) is None


@given(st.integers(-2_000_000_000, 7_000_000_000))
def test_an_instant_and_its_datetime_are_the_same(second):
    moment = datetime.fromtimestamp(second, UTC)
    assert as_datetime(as_instant(moment)) == moment


def test_humidity_that_does_not_go_with_temperature_and_dew_point_is_noted():
    # 20 degC and 50 % have a dew point of 9.26 degC (WMO-No. 8 formula); 9 degC is rounding, 15 degC another air.
    columns = {
        "air_temperature": np.array([[20.0, 20.0, 20.0, np.nan]]),
        "relative_humidity": np.array([[50.0, 50.0, 50.0, 50.0]]),
        "dew_point_temperature": np.array([[9.26, 9.0, 15.0, 9.0]]),
    }
    wanted = "humidity, temperature and dew point disagree at 1 time: the dew point is gone by"
    assert disagreement(columns) == (wanted,)
    columns.pop("relative_humidity")
    assert disagreement(columns) == ()
