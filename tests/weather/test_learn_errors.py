from datetime import UTC, datetime

import numpy as np
import pytest

from dryspell.weather.error_model import DEFAULT_ERRORS, LEVELS, SCORES, error_between, with_error
from dryspell.weather.history import History
from dryspell.weather.learn_errors import learn_errors
from dryspell.weather.odds import members_of
from dryspell.weather.table import WeatherTable

AIR, DEW, WIND = "air_temperature", "dew_point_temperature", "wind_speed"
HOUR = np.timedelta64(3600, "s")


def record(days, error, variable=AIR, forecast=15.0, every_h=6, reach_h=49):
    """A record of forecasts made every few hours; `error(rng, shape)` gives reading less forecast, (issues, leads)."""
    rng = np.random.default_rng(4)
    issued = np.datetime64("2026-05-01", "s") + np.arange(0, days * 24, every_h) * HOUR
    leads = np.arange(reach_h)
    valid = (issued[:, None] + leads * HOUR).ravel()
    order = np.argsort(valid, kind="stable")
    off = error(rng, (issued.size, leads.size)).ravel()
    lead_h = np.broadcast_to(leads, (issued.size, leads.size)).ravel().astype(float)
    made = np.full(valid.size, forecast)
    return History(variable, valid[order], lead_h[order], made, (made + off)[order])


def white(deviation):
    return lambda rng, shape: rng.normal(0.0, deviation, shape)


def remembering(memory_h, deviation=1.0):
    def error(rng, shape):
        apart = np.abs(np.subtract.outer(np.arange(shape[1]), np.arange(shape[1])))
        return rng.normal(0.0, deviation, shape) @ np.linalg.cholesky(np.exp(-apart / memory_h)).T

    return error


def breadth(model, name, lead):
    return float(np.diff(model.at(name, np.full(2, float(lead)), np.array([-1.0, 1.0])))[0])


def test_without_a_record_it_is_the_default():
    assert learn_errors({}) is DEFAULT_ERRORS
    nothing = record(10, white(np.nan))
    assert learn_errors({AIR: nothing}) is DEFAULT_ERRORS


def test_a_long_record_is_believed():
    model = learn_errors({AIR: record(60, white(1.0))})
    for lead in (1, 6, 24, 48):
        # A month and more: within a tenth of the normal curve the errors were drawn from.
        assert breadth(model, AIR, lead) == pytest.approx(2.0, rel=0.1)
    assert model.source.startswith("60 days of this site's own record")
    assert np.array_equal(model.errors[WIND], DEFAULT_ERRORS.errors[WIND])


def test_a_short_record_is_shrunk_to_the_default():
    widths = [breadth(learn_errors({AIR: record(days, white(0.5))}), AIR, 24) for days in (1, 3, 7, 20, 60)]
    assert widths == sorted(widths, reverse=True)
    # With seven or eight days the half of it; the default has 2 * 1.43 K at 24 h.
    assert widths[2] == pytest.approx(0.5 * 2.86 + 0.5 * 1.0, abs=0.3)
    assert widths[0] == pytest.approx(2.86, abs=0.3)


def test_only_the_last_sixty_days_count():
    old, new = record(60, white(4.0)), record(60, white(1.0))
    later = History(AIR, new.valid + 24 * 63 * HOUR, new.lead_h, new.forecast, new.reading)
    both = History(
        AIR, *(np.concatenate([getattr(old, n), getattr(later, n)]) for n in ("valid", "lead_h", "forecast", "reading"))
    )
    assert breadth(learn_errors({AIR: both}), AIR, 24) == breadth(learn_errors({AIR: later}), AIR, 24)


def test_errors_are_learned_with_their_bias_and_their_lean():
    model = learn_errors({AIR: record(60, lambda rng, shape: rng.exponential(2.0, shape))})
    middle = model.at(AIR, 12.0, 0.0)
    assert middle == pytest.approx(2.0 * np.log(2.0), abs=0.15)  # the median of an exponential of mean 2
    low, high = (float(model.at(AIR, 12.0, SCORES[level])) for level in (2, 6))
    # Its tenths, and a fortieth of the default (7 of 60 days) of 2.8 K by 1.28.
    assert low == pytest.approx(-2.0 * np.log(0.9), abs=0.15)
    assert high == pytest.approx(-2.0 * np.log(0.1), abs=0.5)


def test_a_lead_time_without_a_record_follows_those_with_one_in_proportion():
    model = learn_errors({AIR: record(60, white(1.0))})
    shrunk = breadth(model, AIR, 48) / breadth(DEFAULT_ERRORS, AIR, 48)
    assert breadth(model, AIR, 240) == pytest.approx(shrunk * breadth(DEFAULT_ERRORS, AIR, 240), rel=0.02)


@pytest.mark.parametrize("memory_h", [2.0, 10.0, 40.0])
def test_the_memory_of_errors_is_learned(memory_h):
    assert learn_errors({AIR: record(60, remembering(memory_h))}).memory_h[AIR] == pytest.approx(memory_h, rel=0.2)


def test_how_far_the_dew_point_is_wrong_together_with_the_temperature_is_learned():
    air, other = record(60, white(2.0)), record(60, white(2.0), DEW)
    mixed = air.reading * 0.8 + np.random.default_rng(9).permutation(other.reading) * 0.6
    dew = History(DEW, air.valid, air.lead_h, air.forecast, mixed - 0.4 * 15.0)
    assert learn_errors({AIR: air, DEW: dew}).dew_follows == pytest.approx(0.8, abs=0.05)


def test_a_forecast_that_is_never_wrong_is_taken_for_nearly_that():
    model = learn_errors({AIR: record(60, white(0.0)), DEW: record(60, white(0.0), DEW)})
    assert 0.0 < breadth(model, AIR, 24) < 0.1


def test_errors_of_wind_are_of_its_root_and_give_the_reading_back():
    forecast, reading = np.array([0.0, 1.0, 4.0, 9.0]), np.array([4.0, 1.0, 0.0, 16.0])
    error = error_between(WIND, forecast, reading)
    assert error.tolist() == [2.0, 0.0, -2.0, 1.0]
    assert with_error(WIND, forecast, error).tolist() == reading.tolist()
    assert with_error(WIND, forecast, np.full(4, -5.0)).tolist() == [0.0] * 4


def test_a_band_holds_as_much_as_it_says_of_what_comes_next():
    # Eight days of record, one draw each: a tenth of the next draws is to fall below the lowest level of a tenth.
    rng = np.random.default_rng(6)
    inside = []
    for _ in range(400):
        drawn = rng.normal(0.0, 1.43, 9)
        valid = np.datetime64("2026-05-01", "s") + np.arange(8 * 24) * HOUR
        history = History(AIR, valid, np.full(192, 24.0), np.zeros(192), np.repeat(drawn[:8], 24))
        model = learn_errors({AIR: history})
        low, high = model.at(AIR, np.full(2, 24.0), SCORES[[2, 6]])
        inside.append(low <= drawn[8] <= high)
    assert np.mean(inside) == pytest.approx(LEVELS[6] - LEVELS[2], abs=0.05)


def test_members_are_made_of_what_was_learned():
    times = np.datetime64("2026-07-01", "s") + np.arange(40) * HOUR
    table = WeatherTable(times, {AIR: np.full((1, 40), 20.0)}, "forecast", datetime(2026, 7, 1, tzinfo=UTC))
    errors = learn_errors({AIR: record(60, lambda rng, shape: rng.normal(1.5, 0.5, shape))})
    members = members_of(table, table.issued_at, errors, count=2001, seed=3).columns[AIR][1:, 24]
    assert np.median(members) == pytest.approx(21.5, abs=0.1)
    assert np.quantile(members, 0.9) == pytest.approx(21.5 + 1.28 * 0.5, abs=0.25)
