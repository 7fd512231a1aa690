import numpy as np
import pytest

from dryspell.weather.predictors import COURSE, PENALTIES, Usual, predictors

TIMES = np.datetime64("2026-06-01T00:00:00") + np.timedelta64(3600, "s") * np.arange(72)
USUAL = Usual(air_c=10.0, dryness_k=5.0, root_wind=2.0)


def of(air_c, dew_c=None, wind_m_s=4.0, times=TIMES):
    air_c = np.broadcast_to(np.asarray(air_c, dtype=float), times.shape)
    return predictors(times, air_c, air_c - 5.0 if dew_c is None else dew_c, np.full(times.shape, wind_m_s), USUAL)


def test_usual_weather_leaves_only_the_course_of_the_day():
    found = of(10.0)
    assert found.shape == (72, PENALTIES.size)
    assert np.all(found[:, COURSE:] == 0.0)
    assert found[:24, :COURSE] == pytest.approx(found[24:48, :COURSE])
    assert found[:24, 1:COURSE].sum(axis=0) == pytest.approx(0.0, abs=1e-12)


def test_what_is_unknown_counts_as_usual_and_what_is_beyond_all_weather_as_far():
    assert np.all(of(np.nan, wind_m_s=np.nan)[:, COURSE:] == 0.0)
    assert np.abs(of(np.linspace(-500.0, 500.0, 72), wind_m_s=500.0)).max() == 4.0


def test_a_day_is_held_against_its_own_mean_to_the_very_ends():
    day = 6.0 * np.cos(2.0 * np.pi * np.arange(72) / 24.0)
    from_mean = of(10.0 + day)[:, COURSE + 3]
    assert from_mean == pytest.approx(day / 4.0, abs=1e-9)


def test_stamps_of_quarter_and_three_hours_give_the_same_weather():
    quarter = TIMES[0] + np.timedelta64(900, "s") * np.arange(288)
    course = lambda times: 12.0 + 5.0 * np.sin(2.0 * np.pi * ((times - TIMES[0]) / np.timedelta64(24 * 3600, "s")))  # noqa: E731
    every, third = of(course(quarter), times=quarter), of(course(TIMES[::3]), times=TIMES[::3])
    assert every[::12] == pytest.approx(third, abs=0.02)


def test_members_are_told_apart():
    air_c = np.stack([np.full(72, 10.0), np.full(72, 18.0)])
    found = predictors(TIMES, air_c, air_c - 5.0, np.full((2, 72), 4.0), USUAL)
    assert found.shape == (2, 72, PENALTIES.size)
    assert found[:, :, COURSE] == pytest.approx(np.array([[0.0], [1.0]]) * np.ones(72))


def test_usual_weather_is_the_mean_of_what_is_known():
    found = Usual.of(np.array([8.0, 12.0, np.nan]), np.array([4.0, 8.0, 1.0]), np.array([4.0, np.nan, 16.0]))
    assert found == Usual(10.0, 4.0, 3.0)
    nothing = np.full(2, np.nan)
    assert Usual.of(nothing, nothing, nothing) == Usual(0.0, 0.0, 0.0)
