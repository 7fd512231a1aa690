"""Text with a unit becomes a float in the unit that is wanted, or an error that says what would be right."""

from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from dryspell.units import _USUAL, Celsius, Latitude, _worked_out, convert, read_quantity, within

# The factors are exact by definition: international yard and pound (1959), international nautical mile (1929), and the
# Fahrenheit scale on 32 and 212 degrees.
KNOWN = [
    ("1.5 / hour", "1/hour", 1.5),
    ("36/day", "1/hour", 1.5),
    ("12 K m^2/kW", "K m^2/W", 0.012),
    ("18 degC", "degC", 18.0),
    ("64.4 degF", "degC", 18.0),
    ("64.4 °F", "degC", 18.0),
    ("291.15 K", "degC", 18.0),
    ("43 square feet", "m^2", 43 * 0.3048**2),
    ("43 sq ft", "m^2", 43 * 0.3048**2),
    ("43 ft2", "m^2", 43 * 0.3048**2),
    ("4 m²", "m^2", 4.0),
    ("4m2", "m^2", 4.0),
    ("10 knots", "m/s", 10 * 1852 / 3600),
    ("10 mph", "m/s", 4.4704),
    ("5 m s-1", "m/s", 5.0),
    ("3 mil", "um", 76.2),
    ("3 mils", "um", 76.2),
    ("0.1 in", "mm", 2.54),
    ("85 %", "percent", 85.0),
    ("85\u00a0%", "percent", 85.0),
    ("54.3 deg", "degree", 54.3),
    ("54.3°", "degree", 54.3),
    ("\N{MINUS SIGN}4.6 deg", "degree", -4.6),
    ("2 weeks", "hour", 336.0),
    ("90 min", "hour", 1.5),
    (".5 d", "hour", 12.0),
    ("6 m2/h", "m^2/hour", 6.0),
]


@pytest.mark.parametrize(("text", "unit", "magnitude"), KNOWN)
def test_a_quantity_is_read_in_any_unit_of_its_kind(text, unit, magnitude):
    assert read_quantity(text, unit) == pytest.approx(magnitude, rel=1e-9)


@pytest.mark.parametrize(("text", "kelvins"), [("3 K", 3.0), ("5 degF", 5 / 1.8), ("3 degC", 3.0), ("3 °C", 3.0)])
def test_a_difference_of_temperatures_has_no_zero_of_its_own(text, kelvins):
    assert read_quantity(text, "K", difference=True) == pytest.approx(kelvins)


WRONG = [
    (18, "degC", 'needs a unit: wanted text such as "18 degC"'),
    ("18", "degC", 'has no unit; wanted such as "18 degC"'),
    ("warm", "degC", 'is not a number with a unit; wanted such as "18 degC"'),
    ("18 C", "degC", "is measured in coulomb, not a temperature; did you mean degC?"),
    ("65 F", "degC", "is measured in farad, not a temperature; did you mean degF?"),
    ("3 delta_degC", "degC", 'cannot be a temperature; wanted such as "18 degC"'),
    ("4 kg", "m^2", 'is a mass, not an area; wanted such as "4.5 m^2"'),
    ("4 hectoacer", "m^2", "has an unknown unit 'hectoacer'; wanted such as \"4.5 m^2\""),
    ("5 m", "hour", 'is a length, not a time; wanted such as "9 h"'),
    ("54 %", "degree", 'is a share, not an angle; wanted such as "54.3 deg"'),
    ("54 deg", "percent", 'is an angle, not a share; wanted such as "85 %"'),
    ("10 W", "degree", "is measured in watt, not an angle; west is written as -10.2 deg"),
    ("10 E", "degree", "has an unknown unit 'E'; east is written as 10.2 deg"),
    ("1e999 h", "hour", "is not a finite number"),
    ("2 h", "1/hour", 'is a time, not a rate; wanted such as "1.2 / hour"'),
    ("2 / ", "1/hour", "has an unknown unit '/'; wanted such as \"1.2 / hour\""),
    ("4 W/m^2/K", "K m^2/W", 'is a heat conductance, not a heat resistance; wanted such as "12 K m^2/kW"'),
    (
        "5 W",
        "W/m^2",
        "is measured in watt, not a power on an area; wanted a quantity that converts to W/m^2",
    ),
]


@pytest.mark.parametrize(("text", "unit", "message"), WRONG)
def test_what_is_no_such_quantity_is_answered_with_what_would_be(text, unit, message):
    with pytest.raises(ValueError) as caught:
        read_quantity(text, unit)
    assert str(caught.value) == message


@pytest.mark.parametrize("unit", ["h^9^9^9^9", "9^9^9", "(((", "h" * 5000, "__import__", "h**-999999999"])
def test_a_unit_that_would_keep_the_parser_busy_is_none(unit):
    with pytest.raises(ValueError, match="unknown unit"):
        convert(1.0, unit, "hour")


@given(st.text(max_size=20))
def test_any_text_is_a_quantity_or_a_plain_error(text):
    try:
        answer = read_quantity(text, "hour")
    except ValueError as error:
        answer = str(error).split()[0]
    assert isinstance(answer, float) or answer in ("is", "has", "needs", "cannot")


Seconds = Annotated[float, within("second", 0, 86400 * 400)]


def message(kind, value):
    with pytest.raises(ValidationError) as caught:
        TypeAdapter(kind).validate_python(value)
    return str(caught.value.errors()[0]["ctx"]["error"])


def test_a_range_is_told_in_the_unit_that_was_written():
    assert message(Latitude, "95 deg") == "is not within -90 to 90 deg"
    assert message(Celsius, "250 degF") == "is not within -76 to 212 degF"
    assert message(Seconds, "9e9 min") == "is not within 0 to 576000 min"
    assert message(Seconds, "9 centuries") == "is not within 0 to 3.456e+07 second"


def test_a_float_of_the_program_is_taken_as_it_is():
    assert TypeAdapter(Celsius).validate_python(18.0) == 18.0
    assert message(Celsius, 180.0) == "is not within -60 to 100 degC"


@pytest.mark.parametrize(("name", "unit"), _USUAL)
def test_a_usual_unit_is_read_as_the_unit_library_reads_it_to_the_last_bit(name, unit):
    assert _USUAL[name, unit] == _worked_out(name, unit)
