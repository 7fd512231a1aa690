import numpy as np
import pytest

from dryspell.science.bounds import within


def test_a_value_out_of_bounds_is_refused_by_name_with_the_value_and_what_would_be_right():
    with pytest.raises(ValueError, match=r"^t_c is out of range: 200 degC where it is within -100 to 150 degC$"):
        within("t_c", [20.0, np.nan, 200.0], -100.0, 150.0, "degC")
    with pytest.raises(ValueError, match="t_c"):
        within("t_c", -101, -100.0, 150.0, "degC")


def test_nan_and_the_bounds_themselves_pass_and_nothing_at_all_passes_too():
    given = np.array([np.nan, -100.0, 150.0])
    np.testing.assert_array_equal(within("t_c", given, -100.0, 150.0, "degC"), given)
    assert within("t_c", [np.nan], 0.0, 1.0, "degC").dtype == np.float64
    assert within("t_c", [], 0.0, 1.0, "degC").size == 0
