"""A table of any step on an even grid: totals are kept, nothing is invented."""

from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.weather.resample import at_points, even_grid, most_in_cells, over_cells
from dryspell.weather.table import WeatherTable

START = np.datetime64("2026-09-07T00:00:00", "s")
RAIN, SUN, AIR, CHANCE = (
    "precipitation_amount",
    "surface_downwelling_shortwave_flux_in_air",
    "air_temperature",
    "probability_of_precipitation",
)


def table(minutes, **columns):
    times = START + np.asarray(minutes) * np.timedelta64(60, "s")
    rows = {name: np.atleast_2d(np.asarray(values, dtype=float)) for name, values in columns.items()}
    return WeatherTable(times, rows, source="invented", issued_at=datetime(2026, 9, 7, tzinfo=UTC))


def test_the_grid_has_whole_quarters_of_an_hour_within_the_axis():
    grid = even_grid(table([7, 67], **{AIR: [1, 2]}).times, 900)
    assert [str(t)[11:16] for t in grid] == ["00:15", "00:30", "00:45", "01:00"]


def test_between_stamps_a_point_value_lies_on_the_straight_line():
    hourly = table([0, 60, 120], **{AIR: [10, 14, 12]})
    grid = even_grid(hourly.times, 900)
    np.testing.assert_allclose(at_points(hourly, AIR, grid)[0], [10, 11, 12, 13, 14, 13.5, 13, 12.5, 12])


def test_an_unknown_stamp_leaves_its_neighbours_standing_and_the_time_between_unknown():
    hourly = table([0, 60, 120, 180], **{AIR: [10, np.nan, 12, 13]})
    values = at_points(hourly, AIR, even_grid(hourly.times, 900))[0]
    assert np.isfinite(values).tolist() == [True] + [False] * 7 + [True] * 5


@pytest.mark.parametrize(("step", "known"), [(180, True), (181, False)])
def test_more_than_three_hours_between_stamps_hide_what_happens(step, known):
    sparse = table([0, step, 2 * step], **{AIR: [10, 14, 12], RAIN: [0, 1, 1]})
    grid = even_grid(sparse.times, 900)
    assert np.isfinite(at_points(sparse, AIR, grid)[0, 4]) == known
    assert np.isfinite(over_cells(sparse, RAIN, grid, mean=False)[0, 4]) == known


@given(
    st.lists(st.tuples(st.sampled_from([15, 30, 60, 120, 180]), st.floats(0, 20)), min_size=2, max_size=30),
    st.integers(0, 14),
)
def test_no_rain_is_lost_or_made_up(steps, offset):
    minutes = offset + np.cumsum([0, *(step for step, _ in steps)])
    rainy = table(minutes, **{RAIN: [0.0, *(mm for _, mm in steps)]})
    grid = even_grid(rainy.times, 900)
    fallen = np.interp((grid[[0, -1]] - START) / np.timedelta64(60, "s"), minutes, np.cumsum(rainy.columns[RAIN][0]))
    cells = over_cells(rainy, RAIN, grid, mean=False)[0, 1:]
    assert cells.sum() == pytest.approx(fallen[1] - fallen[0], abs=1e-9)
    assert np.all(cells >= 0)


def test_rain_of_an_hour_falls_in_the_cells_before_its_stamp():
    hourly = table([0, 60, 120], **{RAIN: [9, 0, 4]})
    cells = over_cells(hourly, RAIN, even_grid(hourly.times, 900), mean=False)[0, 1:]
    np.testing.assert_allclose(cells, [0, 0, 0, 0, 1, 1, 1, 1])


def test_an_hour_of_unknown_rain_makes_just_its_cells_unknown():
    hourly = table([0, 60, 120, 180], **{RAIN: [0, 1, np.nan, 1]})
    cells = over_cells(hourly, RAIN, even_grid(hourly.times, 900), mean=False)[0, 1:]
    assert np.isfinite(cells).tolist() == [True] * 4 + [False] * 4 + [True] * 4


def test_a_mean_shared_out_by_the_height_of_the_sun_keeps_its_hour_and_follows_the_sun():
    hourly = table([0, 60, 120], **{SUN: [0, 100, 300]})
    grid = even_grid(hourly.times, 900)
    ticks = np.concatenate([hourly.times, grid])
    clock = ((ticks - START) / np.timedelta64(1, "h")) ** 2
    cells = over_cells(hourly, SUN, grid, clock=clock, mean=True)[0, 1:]
    assert cells[:4].mean() == pytest.approx(100)
    assert cells[4:].mean() == pytest.approx(300)
    assert np.all(np.diff(cells) > 0)


def test_stamps_off_the_quarter_hour_are_shared_between_the_cells_they_touch():
    odd = table([5, 65, 125], **{RAIN: [0, 6, 0], CHANCE: [0, 80, 10]})
    grid = even_grid(odd.times, 900)  # 00:15 to 02:00
    cells = over_cells(odd, RAIN, grid, mean=False)[0, 1:]
    np.testing.assert_allclose(cells, [1.5, 1.5, 1.5, 0.5, 0, 0, 0])
    np.testing.assert_allclose(most_in_cells(odd, CHANCE, grid)[0, 1:], [80, 80, 80, 80, 10, 10, 10])
