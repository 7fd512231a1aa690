import numpy as np
import pytest

from dryspell.weather.correction_fit import HALF_LIFE_DAYS, TRIAL_DAYS, learned

DAY = 24
PENALTIES = np.array([20.0, 20.0, 40.0])


def days_of(count, seed=0, lead_h=24):
    """Predictors, forecasts, readings and when the forecasts were made, in one band of lead times."""
    random = np.random.default_rng(seed)
    hours = DAY * count
    x = np.stack([np.ones(hours), random.standard_normal(hours), random.standard_normal(hours)], axis=-1)
    forecast = random.uniform(1.0, 9.0, hours)
    departure = x @ [0.5, -0.8, 0.3] + random.standard_normal(hours)
    issued_day = np.maximum(np.arange(hours) + 1 - lead_h, 0) // DAY
    return x[np.newaxis], forecast[np.newaxis], forecast + departure, issued_day[np.newaxis]


def weighed_least_squares(x, target, weight, penalties):
    """By numpy's own least squares, the penalties as rows of their own."""
    rows = np.concatenate([x * np.sqrt(weight)[:, np.newaxis], np.diag(np.sqrt(penalties))])
    return np.linalg.lstsq(rows, np.concatenate([target * np.sqrt(weight), np.zeros(penalties.size)]))[0]


def test_the_shares_are_those_of_penalised_weighed_least_squares():
    x, forecast, reading, issued = days_of(100)
    departure = reading - forecast[0]
    most = np.percentile(np.abs(departure), 99.5)
    weight = 0.5 ** ((99 - np.arange(100 * DAY) // DAY) / HALF_LIFE_DAYS)
    expected = weighed_least_squares(x[0], np.clip(departure, -most, most), weight, PENALTIES)
    found, _ = learned(x, forecast, reading, issued, PENALTIES, by_ratio=False)
    assert found.shares == pytest.approx(expected, abs=1e-9)


def test_a_ratio_without_a_course_is_that_of_the_means_as_penalties_go_to_nothing():
    x, forecast, _, issued = days_of(1)
    reading = 0.4 * forecast[0] + np.random.default_rng(1).uniform(0.0, 0.5, DAY)
    found, _ = learned(x[..., :1], forecast, reading, issued, np.array([1e-9]), by_ratio=True)
    assert 1.0 + found.shares[0] == pytest.approx(reading.mean() / forecast.mean(), abs=2e-3)


@pytest.mark.parametrize("lead_h", [1, 6, 24, 30])
@pytest.mark.parametrize("by_ratio", [False, True])
def test_a_trial_knows_nothing_of_what_was_read_after_its_forecast_was_made(lead_h, by_ratio):
    x, forecast, reading, issued = days_of(40, lead_h=lead_h)
    cut = 30 * DAY + 5
    departure = reading - forecast[0]
    # The same departures in another order: all that is said of the whole stays.
    shuffled = np.concatenate([departure[:cut], np.random.default_rng(9).permutation(departure[cut:])])
    _, one = learned(x, forecast, reading, issued, PENALTIES, by_ratio=by_ratio)
    found, other = learned(x, forecast, forecast[0] + shuffled, issued, PENALTIES, by_ratio=by_ratio)
    made_before = np.arange(one.size) - lead_h < cut
    assert one[made_before] == pytest.approx(other[made_before], nan_ok=True, rel=1e-9)
    assert np.nanmax(np.abs(one - other)) > 1e-3
    assert found.gains[0] == 1.0


def test_a_trial_is_of_the_last_days_and_of_what_is_known():
    x, forecast, reading, issued = days_of(TRIAL_DAYS + 20)
    reading[-30] = np.nan
    forecast[0, -40] = np.nan
    _, tried = learned(x, forecast, reading, issued, PENALTIES, by_ratio=False)
    known = np.isfinite(tried)
    assert not known[: 20 * DAY].any()
    assert np.flatnonzero(~known[21 * DAY :]).tolist() == [tried.size - 21 * DAY - 40, tried.size - 21 * DAY - 30]


def test_one_reading_out_of_a_thousand_that_is_far_off_hardly_counts():
    x, forecast, reading, issued = days_of(60)
    found, _ = learned(x, forecast, reading, issued, PENALTIES, by_ratio=False)
    reading[-20] += 400.0
    spoilt, _ = learned(x, forecast, reading, issued, PENALTIES, by_ratio=False)
    assert spoilt.shares == pytest.approx(found.shares, abs=0.02)
    assert spoilt.most < 5.0


def test_no_correction_is_larger_than_what_has_been_read():
    x, forecast, reading, issued = days_of(60)
    found, _ = learned(x, forecast, reading, issued, PENALTIES, by_ratio=False)
    far = found.correction(np.full((1, 3), 1e3), np.array([5.0]), np.array([1.0]))
    assert np.abs(far) == pytest.approx(found.most)


def test_gains_never_rise_with_lead_time():
    random = np.random.default_rng(2)
    x, forecast, reading, issued = days_of(60)
    later = np.stack([forecast[0] + random.normal(0.0, spread, reading.size) for spread in (0.0, 3.0, 0.0, 1.0)])
    found, _ = learned(np.repeat(x, 4, axis=0), later, reading, np.repeat(issued, 4, axis=0), PENALTIES, by_ratio=False)
    assert found.gains.shape == (5,)
    assert np.all(np.diff(found.gains) <= 0.0)
    assert 0.0 <= found.gains[-1] < found.gains[0] == 1.0
