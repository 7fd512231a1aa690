import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.store.packing import STEPS, UNKNOWN, coded, decoded, pack_day, pack_issue, unpack_day, unpack_issue
from dryspell.weather.table import VARIABLES

HOUR = np.timedelta64(3600, "s")
FIRST = np.datetime64("2026-06-02T00:00:00", "s")


def issue(times, values, name="air_temperature", about=None):
    return coded(times, {name: np.atleast_2d(np.asarray(values, dtype=np.float64))}, about or {})


@given(
    st.lists(st.integers(0, 86_399), min_size=1, max_size=200, unique=True).map(sorted),
    st.data(),
)
def test_a_packed_day_comes_back_to_the_last_bit(seconds, data):
    size = len(seconds)
    value = st.floats(-1e6, 1e6) | st.integers(-500, 500).map(lambda n: n / 10)
    values = np.array(data.draw(st.lists(value, min_size=size, max_size=size)))
    flags = np.array(data.draw(st.lists(st.integers(0, 8), min_size=size, max_size=size)), dtype=np.uint8)
    times = np.array(seconds, dtype=np.int64) + 1_780_000_000
    back = unpack_day(pack_day(times, values, flags))
    for before, after in zip((times, values, flags), back, strict=True):
        np.testing.assert_array_equal(after, before)


def test_readings_of_a_minute_in_tenths_pack_to_about_a_byte_each():
    times = 1_780_000_000 + np.arange(1440) * 60
    values = np.round(15 + 5 * np.sin(np.arange(1440) / 229), 1)
    assert len(pack_day(times, values, np.zeros(1440, np.uint8))) < 1440


# What services print, by their documentation and recorded answers: tenths of a degree, a percent, a hectopascal,
# hundredths of a metre per second and of a millimetre, tenths of a watt.
PRINTED = {"degC": 0.1, "percent": 0.1, "m/s": 0.01, "mm": 0.01, "W/m^2": 0.1, "hPa": 0.1}


@pytest.mark.parametrize("name", VARIABLES)
def test_a_forecast_comes_back_as_the_service_printed_it(name):
    variable = VARIABLES[name]
    printed = PRINTED[variable.unit]
    values = np.round(np.arange(np.ceil(variable.low / printed), np.floor(variable.high / printed) + 1) * printed, 2)
    times = FIRST + np.arange(values.size) * HOUR
    found = decoded(issue(times, values, name))[name]
    np.testing.assert_allclose(found, values[np.newaxis], atol=1e-6)


@pytest.mark.parametrize("name", VARIABLES)
def test_every_possible_value_has_a_code_and_comes_back_within_half_a_step(name):
    variable = VARIABLES[name]
    values = np.linspace(variable.low, variable.high, 10_001)
    packed = issue(FIRST + np.arange(values.size) * HOUR, values, name)
    assert not np.any(packed.codes == UNKNOWN)
    np.testing.assert_allclose(decoded(packed)[name][0], values, atol=STEPS[variable.unit] / 2 + 1e-6)


def test_what_is_not_known_stays_so():
    found = decoded(issue(FIRST + np.arange(3) * HOUR, [1.0, np.nan, np.inf]))["air_temperature"][0]
    np.testing.assert_array_equal(found, [1.0, np.nan, np.nan])


@given(
    st.integers(0, 2**32 - 1),
    st.integers(1, 3),
    st.integers(2, 40),
    st.integers(-30, 30),
    st.integers(2, 40),
)
def test_an_issue_comes_back_from_what_differs_from_the_one_before_wherever_its_hours_lie(
    seed, members, size, shift, other
):
    rng = np.random.default_rng(seed)

    def some(first, size, names):
        columns = {name: rng.uniform(0, 50, (members, size)) for name in names}
        for column in columns.values():
            column[rng.uniform(size=column.shape) < 0.1] = np.nan
        return coded(FIRST + (first + np.arange(size)) * HOUR, columns, {"notes": ["é", "\n"]})

    before = some(0, other, ["air_temperature", "wind_speed"])
    after = some(shift, size, ["relative_humidity", "air_temperature"])
    for one in (None, before):
        back = unpack_issue(pack_issue(after, one), one)
        assert (back.names, back.about) == (after.names, after.about)
        np.testing.assert_array_equal(back.times, after.times)
        np.testing.assert_array_equal(back.codes, after.codes)


def test_an_issue_that_repeats_the_one_before_is_next_to_nothing():
    times = FIRST + np.arange(384) * HOUR
    values = np.round(np.random.default_rng(1).normal(10, 5, 384), 1)
    first = issue(times, values)
    again = issue(times[1:], values[1:])
    assert len(pack_issue(again, first)) < 110 < len(pack_issue(again, None)) / 4


@pytest.mark.parametrize("unpack", [unpack_day, lambda body: unpack_issue(body, None)])
def test_bytes_that_are_not_packed_are_refused(unpack):
    with pytest.raises(ValueError, match="not packed"):
        unpack(b"something else")
