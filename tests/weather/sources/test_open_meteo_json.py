import json

import pytest

from dryspell.errors import WeatherError
from dryspell.weather.sources.open_meteo_json import decode, reason_of

GOOD = json.dumps(
    {"hourly": {"time": ["2026-06-01T00:00", "2026-06-01T01:00"], "temperature_2m": [12.5, None, -1e-05, True]}}
)


def message_of(body):
    with pytest.raises(WeatherError) as caught:
        decode(body)
    return str(caught.value)


def test_good_json_becomes_plain_data():
    assert decode(GOOD.encode())["hourly"]["temperature_2m"] == [12.5, None, -1e-05, True]


def test_an_empty_body_is_said():
    assert message_of(b"") == message_of(b" \n") == "Open-Meteo sent an empty answer"


def test_html_instead_of_json_is_said():
    page = b"<html> <head><title>502 Bad Gateway</title></head> <body></body> </html>"
    assert message_of(page) == "Open-Meteo sent a web page instead of a forecast"


def test_a_bare_nan_means_that_the_place_is_not_covered():
    # Seen on places outside a model: python-open-meteo's recorded answers.
    assert message_of(b"nan") == message_of(b"NaN") == 'Open-Meteo has no forecast for this place (it answered "nan")'


@pytest.mark.parametrize("cut", range(1, len(GOOD)))
def test_half_a_body_is_said_wherever_it_was_cut(cut):
    assert (
        message_of(GOOD[:cut].encode())
        == f"Open-Meteo's answer stops in the middle, after {len(GOOD[:cut].strip())} characters"
    )


@pytest.mark.parametrize("cut", [GOOD.index("12.5") + 4, GOOD.index("12.5") + 5, GOOD.index(' "temp')])
def test_half_a_body_with_an_error_text_after_it_is_said_with_the_text(cut):
    text = message_of(GOOD[:cut].encode() + b"Unexpected error while streaming data: timeoutReached")
    assert (
        text == "Open-Meteo's answer is broken off by other text: Unexpected error while streaming data: timeoutReached"
    )


def test_a_whole_body_with_an_error_text_after_it_is_said_with_the_text():
    text = message_of(GOOD.encode() + b'{"error":true,"reason":"too late"}')
    assert text == 'Open-Meteo\'s answer is broken off by other text: {"error":true,"reason":"too late"}'


def test_plain_text_instead_of_json_is_shown_on_one_line_without_control_characters():
    text = message_of(b"Sorry,\n\x1b[31mwe are \x07closed")
    assert text == "Open-Meteo sent something that is not a forecast: Sorry, [31mwe are closed"


def test_long_text_is_cut_to_two_hundred_characters():
    shown = message_of(b"x" * 5000).removeprefix("Open-Meteo sent something that is not a forecast: ")
    assert shown == "x" * 199 + "…"


@pytest.mark.parametrize("body", [b"\xff\xfe\x00", GOOD.encode("utf-16")])
def test_bytes_that_are_no_text_are_said(body):
    assert message_of(body) == "Open-Meteo sent something that is not text"


@pytest.mark.parametrize("body", [b"[" * 100_000, b"9" * 5000])
def test_json_built_to_break_a_reader_is_said(body):
    assert message_of(body) == "Open-Meteo sent something that is not a forecast"


def test_nan_and_infinity_among_the_values_are_values_that_are_not_known():
    # Neither is JSON (RFC 8259, 6); Python's reader would take them.
    assert decode(b'{"a": [NaN, Infinity, -Infinity, 1]}') == {"a": [None, None, None, 1]}


def test_a_byte_order_mark_does_no_harm():
    assert decode(b"\xef\xbb\xbf{}") == {}


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        ({"error": True, "reason": "No data is available for this location"}, "No data is available for this location"),
        ({"reason": "late", "error": True}, "late"),
        ({"reason": "late"}, "late"),
        ({"error": True}, "no reason given"),
        ({"error": True, "reason": "x" * 300}, "x" * 199 + "…"),
        ({"hourly": {}}, None),
        ([], None),
        (None, None),
    ],
)
def test_the_reason_of_an_error_body_is_found(data, reason):
    assert reason_of(data) == reason
