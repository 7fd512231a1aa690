"""Trajectories cut into pieces are the trajectories whole."""

import numpy as np
import pytest

from dryspell.science import course
from dryspell.science.surface import solve
from science.boards import clear_day, face, instants


def members(times, count=5):
    rng = np.random.default_rng(6)
    columns = [np.tile(column, (count, 1)) for column in clear_day(times, dew_c=9.0)]
    columns[0] += rng.normal(0, 2, (count, 1))
    columns[1] = np.minimum(columns[1], columns[0])
    columns[2] *= rng.uniform(0, 3, (count, 1))
    rain = np.where(rng.uniform(size=columns[0].shape) < 0.03, 0.4, 0.0)
    return columns, rain


@pytest.mark.parametrize("steps", [1, 2, 31, 32, 33, 64, 100, 200])
def test_the_length_of_the_pieces_and_how_many_go_at_a_time_make_no_difference(monkeypatch, steps):
    times = instants(steps / 4)
    columns, rain = members(times)
    cut = solve(times, *columns, face(), rain_mm=rain)
    for long, at_a_time in ((10**6, 10**6), (24, 3), (50, 1)):
        monkeypatch.setattr(course, "_STEPS_IN_PIECE", long)
        monkeypatch.setattr(course, "_PIECES_AT_A_TIME", at_a_time)
        whole = solve(times, *columns, face(), rain_mm=rain)
        np.testing.assert_allclose(cut.temperature_c, whole.temperature_c, atol=2e-4)
        np.testing.assert_allclose(cut.water_mm, whole.water_mm, atol=2e-6)


def test_pieces_with_gaps_are_the_trajectories_with_gaps(monkeypatch):
    times = instants(60)
    columns, rain = members(times)
    columns[0][1, 70:80] = np.nan
    rain[3, 32] = np.nan
    cut = solve(times, *columns, face(), rain_mm=rain)
    monkeypatch.setattr(course, "_STEPS_IN_PIECE", 10**6)
    whole = solve(times, *columns, face(), rain_mm=rain)
    np.testing.assert_allclose(cut.temperature_c, whole.temperature_c, atol=2e-4)
    assert np.isnan(cut.temperature_c).sum() == 11


def test_weather_that_is_the_same_for_all_members_needs_no_copies():
    times = instants(48)
    air, dew, wind, sun, sky = clear_day(times, dew_c=9.0)
    winds = wind * np.array([[0.5], [2.0]])
    found = solve(times, air, dew, winds, sun, sky, face())
    for member, blown in enumerate(winds):
        alone = solve(times, air, dew, blown, sun, sky, face())
        np.testing.assert_allclose(found.temperature_c[member], alone.temperature_c, atol=1e-4)
