import math
from datetime import UTC, datetime

import numpy as np
import pytest

from dryspell.errors import WeatherError
from dryspell.weather.sources.fields import degrees_text, instant, number, shown, table


@pytest.mark.parametrize(
    ("degrees", "text"),
    [
        (59.9139, "59.9139"),
        (10.75220001, "10.7522"),
        (-33.86785, "-33.8678"),
        (30.0, "30"),
        (-85.5, "-85.5"),
        (0.00004, "0"),
        (-0.00004, "0"),
        (180.0, "180"),
        (-180.0, "-180"),
        (-179.99999, "-180"),
        (179.12346, "179.1235"),
        (90.0, "90"),
    ],
)
def test_degrees_have_four_decimals_at_the_most_and_none_that_says_nothing(degrees, text):
    assert degrees_text(degrees) == text


def test_a_number_is_a_number_and_null_is_not_known():
    assert number(3, "here") == 3.0
    assert number(-2.5, "here") == -2.5
    assert math.isnan(number(None, "here"))


@pytest.mark.parametrize("value", [math.inf, math.nan, 10**400])
def test_what_is_beyond_all_numbers_is_not_known(value):
    assert math.isnan(number(value, "here"))


@pytest.mark.parametrize("value", [True, "3", [3], {}])
def test_what_is_no_number_is_refused(value):
    with pytest.raises(WeatherError, match=r"^here is no number: "):
        number(value, "here")


def test_an_instant_is_brought_to_utc_and_cut_to_the_second():
    assert instant("2026-03-29T02:30:59.9+02:00", "here") == np.datetime64("2026-03-29T00:30:59", "s")
    assert instant("2026-03-29T00:30:59Z", "here") == np.datetime64("2026-03-29T00:30:59", "s")


@pytest.mark.parametrize(
    "value", ["2026-03-29T02:30:00", "2026-03-29", "soon", 1, None, "0001-01-01T00:00+23:59", "9999-12-31T23:00-23:00"]
)
def test_what_is_no_instant_is_refused(value):
    with pytest.raises(WeatherError, match=r"^here is no instant"):
        instant(value, "here")


def test_an_object_may_be_absent_but_not_something_else():
    assert table({"a": 1}, "here") == {"a": 1}
    assert table(None, "here") == {}
    with pytest.raises(WeatherError, match=r"^here is no JSON object: a list$"):
        table([{}], "here")


def test_what_is_shown_fits_on_a_line():
    assert shown({"a": 1}) == "an object"
    assert shown("two\nlines") == r"'two\nlines'"
    assert len(shown("x" * 1000)) == 200
    assert shown(datetime(2026, 1, 1, tzinfo=UTC).year) == "2026"
