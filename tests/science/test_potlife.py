"""How long a mix lasts, against the trade's table and sums worked by hand."""

import numpy as np
import pytest

from dryspell.science import potlife

# A two-part clear (common practice, no source): hours at degC.
CLEAR = potlife.fit_pot_life([10, 18, 25, 30], [6, 4, 2.5, 1.5])
NOON = np.datetime64("2026-06-01T12:00:00", "s")


def test_at_a_printed_temperature_it_lasts_as_printed():
    np.testing.assert_allclose(potlife.pot_life_h(CLEAR, [10, 18, 25, 30]), [6, 4, 2.5, 1.5])
    # between two of them the logarithm is even: at 26 degC a fifth of the way from 2.5 h to 1.5 h
    assert potlife.pot_life_h(CLEAR, 26) == pytest.approx(2.5 * (1.5 / 2.5) ** 0.2)
    assert np.isnan(potlife.pot_life_h(CLEAR, np.nan))


def test_a_longest_time_is_never_taken_for_longer_than_it_is():
    assert potlife.pot_life_h(CLEAR, 2) == 6
    # least squares through the four points give 48.4 kJ/mol: 0.829 from 30 to 33 degC (worked apart from this code)
    assert potlife.pot_life_h(CLEAR, 33) == pytest.approx(1.5 * 0.829, abs=0.002)
    assert potlife.pot_life_h(potlife.fit_pot_life([20], [4]), [10, 35])[1] < 2


def test_a_mix_that_warms_goes_off_by_the_sum_of_its_parts():
    # two hours at 18 degC use up half; then the pot stands in the sun at 30 degC, and half of 1.5 h is left
    hours = np.array([0, 2, 2 + 1 / 3600, 8])
    times = NOON + np.round(hours * 3600).astype("timedelta64[s]")
    mix_c = np.array([18.0, 18, 30, 30])
    ends = potlife.used_up_at(NOON, times, mix_c, CLEAR)
    assert (ends - NOON) / np.timedelta64(1, "h") == pytest.approx(2.75, abs=1e-3)
    # two thirds of it can be brushed: 2 h and a sixth of 1.5 h
    brush = potlife.used_up_at(NOON, times, mix_c, CLEAR, share=potlife.BRUSHABLE_SHARE)
    assert (brush - NOON) / np.timedelta64(1, "h") == pytest.approx(2.25, abs=1e-3)
    assert np.isnat(potlife.used_up_at(times[-1], times, mix_c, CLEAR))


def test_members_have_each_their_own():
    times = NOON + np.arange(9) * np.timedelta64(3600, "s")
    ends = potlife.used_up_at(np.array([NOON]), times, np.array([[18.0] * 9, [25.0] * 9]), CLEAR)
    np.testing.assert_array_equal((ends[:, 0] - NOON) / np.timedelta64(60, "s"), [240, 150])
