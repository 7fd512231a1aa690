"""Turns the body of an answer of Open-Meteo into plain data, and says plainly when it is none."""

import json
import re

from dryspell.errors import WeatherError

_LONGEST_REASON = 200
_BEGUN = re.compile(r"-|\.|[eE][+-]?|[a-zA-Z]{1,4}")  # a number, true, false or null that does not end


def decode(body: bytes, service: str = "Open-Meteo") -> object:
    """Turn the body of an answer of `service`, as messages name it, into plain data.

    Raises
    ------
    WeatherError
        For an empty body, a web page, half an answer, and anything else that is not JSON.
    """
    try:
        text = body.decode("utf-8-sig").strip()
    except UnicodeDecodeError:
        raise WeatherError(f"{service} sent something that is not text") from None
    if not text:
        raise WeatherError(f"{service} sent an empty answer")
    if text.startswith("<"):
        raise WeatherError(f"{service} sent a web page instead of a forecast")
    if text.lower() == "nan":
        raise WeatherError(f'{service} has no forecast for this place (it answered "nan")')
    try:
        # Python's reader would take NaN and Infinity for numbers; they are not JSON, and mean that nothing is known.
        return json.loads(text, parse_constant=lambda _: None)
    except json.JSONDecodeError as error:
        raise WeatherError(_what_broke(text, error, service)) from None
    except (ValueError, RecursionError):
        raise WeatherError(f"{service} sent something that is not a forecast") from None


def reason_of(data: object) -> str | None:
    """Return the reason that an error body gives, cut to 200 characters; None where it is no error body."""
    if not isinstance(data, dict) or not (data.get("error") or "reason" in data):
        return None
    return one_line(str(data.get("reason") or "no reason given"))


def _what_broke(text: str, error: json.JSONDecodeError, service: str) -> str:
    """Tell half an answer from one with an error text in it: the service can fail after it has begun to send."""
    rest = text[error.pos :].strip()
    if not rest or error.msg.startswith(("Unterminated", "Invalid \\")) or _BEGUN.fullmatch(rest):
        return f"{service}'s answer stops in the middle, after {len(text)} characters"
    if error.pos == 0:
        return f"{service} sent something that is not a forecast: {one_line(rest)}"
    return f"{service}'s answer is broken off by other text: {one_line(rest)}"


def one_line(text: str) -> str:
    """Make text from outside fit for one line of a terminal or a log."""
    line = "".join(letter for letter in " ".join(text.split()) if letter.isprintable())
    return line if len(line) <= _LONGEST_REASON else line[: _LONGEST_REASON - 1] + "…"
