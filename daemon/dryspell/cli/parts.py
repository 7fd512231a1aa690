"""What `dryspell check` says of a configuration by itself: each part in a sentence, and every figure of a coating."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from dryspell.cli.standing import standing
from dryspell.config import Config
from dryspell.outlook.figures import Units, duration, limit_figure
from dryspell.outlook.sun_class import usual_coats, usual_coats_text
from dryspell.trade.coating import FACTORS, NO_SOURCE, OUR_CHOICE, YOURS, Coating
from dryspell.trade.factors import factor_keys
from dryspell.trade.hours import working_hours_text
from dryspell.trade.person import Person
from dryspell.trade.piece import Piece, Site

Word = Literal["good", "look", "bad", "skipped"]
"""How a part is: good; good, but look at it; bad; not looked at."""

NO_BREAK = "\N{NO-BREAK SPACE}"
"""Between words that stay on one line."""


@dataclass(frozen=True)
class Finding:
    """One part of the configuration, how it is, and what there is to say of it."""

    part: Literal[
        "config", "site", "coating", "piece", "person", "weather", "state", "broker", "sensor", "alert", "mqtt_out",
        "daemon", "queue", "next", "backup",
    ]  # fmt: skip
    word: Word
    text: str


def report(config: Config, now: datetime) -> list[Finding]:
    """Return what there is to say of a configuration that could be read, without looking beyond it."""
    in_use = {key for piece in config.piece.values() for key in config.coatings_of(piece)}
    return [
        Finding("config", "good", str(config.file)),
        *(Finding("config", "look", caution) for caution in config.cautions),
        *(Finding("site", "good", _site(site, now)) for site in config.site.values()),
        *(Finding("coating", "good", _coating(coating, coating.key in in_use)) for coating in coatings_shown(config)),
        *(Finding("piece", "good", _piece(config, piece)) for piece in config.piece.values()),
        *(Finding("person", "good", _person(config, person, now)) for person in config.person.values()),
    ]


def coatings_shown(config: Config) -> list[Coating]:
    """Return the coatings that pieces have, and the user's own."""
    in_use = {key for piece in config.piece.values() for key in config.coatings_of(piece)}
    return [coating for key, coating in config.coating.items() if key in in_use or key != coating.family]


def _site(site: Site, now: datetime) -> str:
    north = "N" if site.latitude_deg >= 0 else "S"
    east = "E" if site.longitude_deg >= 0 else "W"
    place = f"{abs(site.latitude_deg):.4f}° {north} {abs(site.longitude_deg):.4f}° {east}, {site.elevation_m:g} m"
    sky = "" if site.diffuse_sky == "even" else f"; sky {site.diffuse_sky}"
    afloat = ", afloat" if site.afloat else ""
    return f"{site.key}: {place}{afloat}; {now.astimezone(site.zone):%H:%M} in {site.zone.key}{sky}"


def _person(config: Config, person: Person, now: datetime) -> str:
    hours = "in the hours of each piece" if person.hours is None else working_hours_text(person.hours)
    today = min(now.astimezone(site.zone).date() for site in config.site.values())
    ahead = [span for span in person.days_off if span[1] >= today]
    off = [str(first) if first == last else f"{first} to {last}" for first, last in sorted(ahead)]
    named = f" ({person.name})" if person.label else ""
    said = [hours, *([f"off {', '.join(off)}"] if off else [])]
    does = "all pieces" if person.pieces is None else ", ".join(person.pieces)
    return f"{person.key}{named}: {'; '.join(said)}; {does}"


def _piece(config: Config, piece: Piece) -> str:
    done = f", {piece.done} on before the first one recorded" if piece.done else ""
    how = standing(piece, config.alerting.units)
    brush = f"{piece.area_m2:.3g} m2, {duration(timedelta(hours=piece.brushing_h))} of brushing"
    of = config.coatings_of(piece)
    coats = f"{piece.coats} coats of {' and '.join(of)}"
    lays = config.lays_of(piece)
    finish = lays[-1].coating.key if len(of) > 1 else ""
    usual = usual_coats_text(usual_coats(piece, config.site_of(piece), lays), finish)
    few = f"; {usual}" if usual else ""
    return f"{piece.key}: {coats}{done}{few}; at {piece.site}; {how}; {brush}"


def _coating(coating: Coating, in_use: bool) -> str:
    marks = [coating.mark_of(key) for key in coating.figures()]
    ours = sum(mark != YOURS for mark in marks)
    sourced = sum(mark not in (YOURS, NO_SOURCE, OUR_CHOICE) for mark in marks)
    theirs = ", ".join(_named(coating, key) for key in coating.figures() if coating.mark_of(key) == YOURS)
    start = "" if coating.key == coating.family else f" on {coating.family}"
    said = f"yours: {theirs}; the other {ours} figures are ours" if theirs else f"all {ours} figures are ours"
    unused = "" if in_use else "; no piece has it"
    return f"{coating.key}{start}: {said} ({NO_SOURCE}; {sourced} with a source){unused}"


def _named(coating: Coating, key: str) -> str:
    points = coating.figures()[key]
    if key.startswith(FACTORS) or not _is_stage(points):
        return key
    common_rule = ": at others the common rule, twice the time for 10 K colder"
    return f"{key} ({len(points)} temperature{'s' if len(points) > 1 else common_rule})"


def figures_text(coating: Coating, units: Units) -> Iterator[tuple[str, str, str]]:
    """Yield each figure of a coating: its key, its value, and where it is from."""
    for key, value in coating.figures().items():
        text = _factor_text(value, units) if key.startswith(FACTORS) and not _unit_of(key) else None
        yield key, text or _value_text(value, _unit_of(key), units), coating.mark_of(key)


def figures_document(coating: Coating) -> list[dict[str, Any]]:
    """Return the figures for other programs; each number has its unit in its key."""
    return [
        {"figure": key, "mark": coating.mark_of(key), **_numbers(_FIELDS[key], value)}
        for key, value in coating.figures().items()
    ]


def _numbers(field: str, value: Any) -> dict[str, Any]:
    if field == "damp":
        return {"points": [{"humidity_pct": at_pct, "factor": factor} for at_pct, factor in value]}
    if _is_stage(value):
        return {"points": [{"film_c": at_c, "time_h": hours} for at_c, hours in value]}
    return {field: list(value) if isinstance(value, tuple) else value}


_FIELDS = {field.alias or name: name for name, field in Coating.model_fields.items()}
_FIELDS |= {FACTORS + key: field for key, field in factor_keys().items()}
_UNITS = {
    "_c": "degC", "_pct": "%", "_k": "K", "_m_s": "m/s", "_mm": "mm", "_um": "um", "_min": "min", "_g_kg": "g/kg",
    "_m2_per_l": "m2/L",
}  # fmt: skip


def _unit_of(key: str) -> str:
    return next((unit for suffix, unit in _UNITS.items() if _FIELDS[key].endswith(suffix)), "")


def _is_stage(value: Any) -> bool:
    return isinstance(value, tuple) and isinstance(value[0], tuple)


def _factor_text(value: Any, units: Units) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    points = [f"{factor:g} at {limit_figure(at_pct, '%', units)}" for at_pct, factor in value]
    return ", ".join(point.replace(" ", NO_BREAK) for point in points)


def _value_text(value: Any, unit: str, units: Units) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if isinstance(value, float):
        return limit_figure(value, unit, units)
    if _is_stage(value):
        times = _times([hours for _, hours in value])
        points = [
            f"{time} at {limit_figure(at_c, 'degC', units)}" for time, (at_c, _) in zip(times, value, strict=True)
        ]
        return ", ".join(point.replace(" ", NO_BREAK) for point in points)
    return (" to " if unit else ", ").join(limit_figure(each, unit, units) for each in value)


def _times(hours: list[float]) -> list[str]:
    """Return times in hours, or in days where they go beyond a week."""
    in_days = max(hours) >= 7 * 24
    return [f"{each / 24:.3g} d" if in_days else f"{each:g} h" for each in hours]
