"""What people write of a coat, read: when, how much thinner, how thick, in what air."""

import re
from collections.abc import Iterable
from datetime import UTC, datetime
from difflib import get_close_matches
from pathlib import Path
from zoneinfo import ZoneInfo

from dryspell.trade.system import read_abrasive
from dryspell.units import read_quantity

MOST_PARTS = 200.0
MOST_WET_FILM_UM = 2000.0
MOST_LITRES = 1000.0
MOST_WIND_M_S = 60.0
COLDEST_C, WARMEST_C = -60.0, 100.0
FIRST = datetime(2000, 1, 1, tzinfo=UTC)
"""No coat that is told of was put on before."""

_NUMBER = r"(\d+(?:[.,]\d+)?)"
_PARTS = re.compile(rf"{_NUMBER}\s*parts?(?:\s+(?:per|to)\s+(?:100|hundred))?", re.IGNORECASE | re.ASCII)
_OF_MIX = re.compile(rf"{_NUMBER}\s*(?:%|percent)\s+of\s+(?:the\s+)?mix", re.IGNORECASE | re.ASCII)
_BARE = re.compile(rf"{_NUMBER}\s*(?:%|percent)?", re.IGNORECASE | re.ASCII)
_RATIO = re.compile(rf"{_NUMBER}\s*:\s*{_NUMBER}", re.ASCII)
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})", re.ASCII)


def read_thinner(text: str) -> float:
    """Return parts of thinner to a hundred parts of coating.

    Raises
    ------
    ValueError
        When it cannot be read. The trade says "50 %" of two different mixes, so that one is asked back.
    """
    text = text.strip()
    if text.lower() in {"neat", "none"}:
        return 0.0
    if match := _PARTS.fullmatch(text):
        return _within(_float(match[1]), text)
    if match := _OF_MIX.fullmatch(text):
        share = _float(match[1])
        return _within(100.0 * share / (100.0 - share) if share < 100.0 else float("inf"), text)
    if match := _BARE.fullmatch(text):
        raise ValueError(f"{text!r} {_both(_float(match[1]))}")
    if match := _RATIO.fullmatch(text):
        one, other = _float(match[1]), _float(match[2])
        if one == other > 0:
            return 100.0
        raise ValueError(
            f"{text!r} does not say which of the two is thinner; write such as '25 parts' to 100 of coating"
        )
    raise ValueError(f"{text!r} is no amount of thinner; write such as '10 parts' (to 100 of coating) or 'neat'")


def _both(number: float) -> str:
    """Say what a bare number may mean, and how to write each."""
    if number == 0:
        return "is written as 'neat'"
    parts = f"'{number:g} parts' to 100 parts of coating ({100.0 * number / (100.0 + number):.0f} % of the mix)"
    if number >= 100.0:
        return f"has no unit; write {parts}"
    of_mix = f"'{number:g} % of the mix' ({100.0 * number / (100.0 - number):.0f} parts to 100)"
    return f"can mean two mixes; write {parts} or {of_mix}"


def _float(text: str) -> float:
    return float(text.replace(",", "."))


def _within(parts: float, text: str) -> float:
    if parts > MOST_PARTS:
        raise ValueError(f"{text!r} is more than {MOST_PARTS:g} parts of thinner to 100 of coating")
    return round(parts, 2)


def read_wet_film(text: str) -> float:
    """Return the depth of a wet film [um]; ValueError says what is wrong with it."""
    depth = _quantity(text, "um")
    if not 0.0 < depth <= MOST_WET_FILM_UM:
        raise ValueError(f"{text!r} is no depth of a wet film; such are more than 0 and up to {MOST_WET_FILM_UM:g} um")
    return depth


def read_litres(text: str) -> float:
    """Return a volume of the mix [L]; ValueError says what is wrong with it."""
    litres = _quantity(text, "litre")
    if not 0.0 < litres <= MOST_LITRES:
        raise ValueError(f"{text!r} is no volume of a mix; such are more than 0 and up to {MOST_LITRES:g} L")
    return litres


def read_temperature(text: str) -> float:
    """Return a temperature [degC]; ValueError says what is wrong with it."""
    return _bounded(text, "degC", COLDEST_C, WARMEST_C)


def read_humidity(text: str) -> float:
    """Return a relative humidity [%]; ValueError says what is wrong with it."""
    return _bounded(text, "percent", 1.0, 100.0)


def read_wind(text: str) -> float:
    """Return a speed of the wind [m/s]; ValueError says what is wrong with it."""
    return _bounded(text, "m/s", 0.0, MOST_WIND_M_S)


def _bounded(text: str, unit: str, least: float, most: float) -> float:
    value = _quantity(text, unit)
    if not least <= value <= most:
        raise ValueError(f"{text!r} is not within {least:g} to {most:g} {unit}")
    return value


def _quantity(text: str, unit: str) -> float:
    try:
        return read_quantity(text, unit)
    except ValueError as error:
        raise ValueError(f"{text!r} {error}") from None


def read_grit(text: str) -> str:
    """Return a grit, or "none"; ValueError says what is wrong with it."""
    text = text.strip()
    for grit in (text, text.upper(), text.lower()):
        try:
            return str(read_abrasive(grit))
        except ValueError as error:
            problem = f"{text!r} {error}"
    raise ValueError(problem)


def read_photo(text: str) -> str:
    """Return the whole path of a file that is there; ValueError where there is none."""
    problem = f"{text!r} is no file that is there; only its path is kept, so it has to stay where it is"
    try:
        file = Path(text).expanduser()
        if not file.is_file():
            raise ValueError(problem)
        return str(file.resolve())
    except (OSError, RuntimeError):  # a name too long for any file, the home of a user there is not
        raise ValueError(problem) from None


def read_plain(text: str) -> str:
    """Return text without what a terminal might obey."""
    return "".join(letter if letter.isprintable() else " " for letter in text).strip()


def read_coating(text: str, coatings: Iterable[str]) -> str:
    """Return the key of a coating there is; ValueError names those that are near."""
    known = list(coatings)
    if text in known:
        return text
    near = get_close_matches(text, known, n=1)
    hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(known)}"
    raise ValueError(f"{text!r} is the key of no coating; {hint}")


def read_past_instant(text: str, zone: ZoneInfo, present: datetime, day: datetime | None = None) -> datetime:
    """Return the instant a text names: with its offset, without one in `zone`, or as a time of day there.

    Parameters
    ----------
    day
        An instant of the day that a time of day is of; default: the present.

    Raises
    ------
    ValueError
        When it cannot be read, is yet to come, or is twice or never on the clocks of that zone.
    """
    text = text.strip()
    if match := _CLOCK.fullmatch(text):
        text = f"{(day or present).astimezone(zone):%Y-%m-%d}T{int(match[1]):02}:{match[2]}"
    try:
        named = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is no time; write such as 09:40, 2026-06-03T09:40 or 2026-06-03T07:40Z") from None
    if named.tzinfo is None:
        named = _on_clocks(named, zone)
    if named > present:
        raise ValueError(f"{text!r} is yet to come in {zone.key}; a coat is recorded when it is done")
    if named < FIRST:
        raise ValueError(f"{text!r} is too long ago; wanted a day of this century")
    return named.astimezone(present.tzinfo)


def _on_clocks(named: datetime, zone: ZoneInfo) -> datetime:
    first, second = (named.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() != second.utcoffset():
        raise ValueError(
            f"'{named:%Y-%m-%d %H:%M}' is twice or never on the clocks of {zone.key}, which change then; "
            f"write it with its offset, such as {first.isoformat(timespec='minutes')}"
        )
    return first
