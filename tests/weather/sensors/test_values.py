"""Values out of payloads, in whatever way devices write them."""

import contextlib
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.weather.sensors.model import OwnTime
from dryspell.weather.sensors.scale import read_scale
from dryspell.weather.sensors.values import read_instant, read_number, shown


@pytest.mark.parametrize(
    ("value", "scale", "unit", "number"),
    [
        (21.3, "degC", "degC", 21.3),
        (70, "degF", "degC", 21.111111111),  # (70 - 32) / 1.8, the definition of the Fahrenheit scale
        ("21.3", "degC", "degC", 21.3),
        (" -0.5 ", "degC", "degC", -0.5),
        ("\N{MINUS SIGN}3", "degC", "degC", -3),
        ("21.3 °C", None, "degC", 21.3),
        ("70°F", "degC", "degC", 21.111111111),  # the unit beside the number goes first
        (213, "0.1 degC", "degC", 21.3),
        (0.65, "100 %", "percent", 65),
        (5, "0.2794 mm", "mm", 1.397),  # five tips of 0.011 inch
        (0.01, "inch", "mm", 0.254),  # 25.4 mm to the inch, by definition
        (36, "km/h", "m/s", 10),
        ("1e1", "m/s", "m/s", 10),
        (29.92, "inHg", "hPa", 1013.2),  # the standard atmosphere, 29.92 inHg = 1013.25 hPa
    ],
)
def test_a_value_comes_into_the_unit_of_its_variable(value, scale, unit, number):
    assert read_number(value, read_scale(scale), unit) == pytest.approx(number, rel=1e-4, abs=1e-6)


@pytest.mark.parametrize(
    "value",
    [None, "", " ", "nan", "NaN", "null", "None", "unavailable", "unknown", "N/A", "--", "inf", "-Infinity",
     float("nan"), float("inf"), "1e999", 10**400],
)  # fmt: skip
def test_what_says_that_there_is_no_value_is_none(value):
    assert read_number(value, read_scale("degC"), "degC") is None


@pytest.mark.parametrize(
    ("value", "scale", "problem"),
    [
        (True, "degC", "is no number"),
        ([1], "degC", "is no number"),
        ({"t": 1}, "degC", "is no number"),
        ("warm", "degC", "is no number"),
        ("1,013", "degC", "is no number"),  # a thousand or a fraction: nobody can tell
        ("1_000", "degC", "is no number"),
        ("21.3", None, "has no unit beside it, and the configuration names none"),
        ("21.3 kg", "degC", "is a mass, not a temperature"),
        ("21.3 flubs", "degC", "has an unknown unit 'flubs'"),
    ],
)
def test_what_is_no_value_is_refused_in_words(value, scale, problem):
    with pytest.raises(ValueError, match="^" + problem):
        read_number(value, read_scale(scale), "degC")


def test_a_comma_is_the_point_where_fields_are_parted_by_semicolons():
    assert read_number("21,5", read_scale("degC"), "degC", decimal_comma=True) == 21.5


@given(st.floats(-80, 60), st.sampled_from(["{!r}", "{!r} degC", " {!r}°C"]))
def test_a_number_survives_being_written_as_text(number, form):
    assert read_number(form.format(number), read_scale("degC"), "degC") == pytest.approx(number, abs=1e-9)


@given(st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.lists(st.integers()))
def test_any_value_gives_a_finite_number_or_none_or_words(value):
    number = None
    with contextlib.suppress(ValueError):
        number = read_number(value, read_scale("degC"), "degC")
    assert number is None or abs(number) < float("inf")


AT = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)  # 1780315200 s since 1970, by `date -u -d 2026-06-01T12:00Z +%s`


@pytest.mark.parametrize(
    ("value", "how"),
    [
        (1780315200, {"format": "unix"}),
        ("1780315200", {"format": "unix"}),
        (1780315200000, {"format": "unix_ms"}),
        ("2026-06-01T12:00:00Z", {}),
        ("2026-06-01T14:00:00+02:00", {}),
        ("20260601T120000Z", {}),
        ("2026-06-01 14:00", {"zone": "Europe/Berlin"}),
        ("2026-06-01T12:00", {"zone": "UTC"}),
        ("2026-06-01T12:00Z", {"zone": "Europe/Berlin"}),  # an offset of its own goes first
    ],
)
def test_an_instant_is_read_in_every_form(value, how):
    at = read_instant(value, OwnTime.model_validate({"path": "ts"} | how))
    assert at == AT
    assert at.tzinfo is UTC


@pytest.mark.parametrize(
    ("value", "how", "problem"),
    [
        ("2026-06-01T12:00", {}, "has no offset from UTC; name the zone"),
        ("yesterday", {}, "is no time in the form of ISO 8601"),
        (1780315200, {}, "is no time in the form of ISO 8601"),
        ("noon", {"format": "unix"}, "is no time since 1970 as a number"),
        (True, {"format": "unix"}, "is no time since 1970 as a number"),
        (1e300, {"format": "unix"}, "is no time since 1970 as a number"),
        (float("nan"), {"format": "unix"}, "is no time since 1970 as a number"),
        ([1], {"format": "unix_ms"}, "is no time since 1970 as a number"),
    ],
)
def test_what_is_no_instant_is_refused_in_words(value, how, problem):
    with pytest.raises(ValueError, match="^" + problem):
        read_instant(value, OwnTime.model_validate({"path": "ts"} | how))


def test_no_time_is_none():
    assert read_instant(None, OwnTime(path="ts")) is None
    assert read_instant("unknown", OwnTime(path="ts")) is None


def test_what_a_message_shows_of_a_payload_is_short_and_on_one_line():
    assert shown("a\nb\x1b[31m") == r"'a\nb\x1b[31m'"
    assert shown("x" * 500) == "'" + "x" * 39 + "…"
    assert shown([1, 2]) == "[1, 2]"
