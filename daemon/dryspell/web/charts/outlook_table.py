"""What the outlook's chart shows as a table, and what is said of an hour that somebody points at.

Both are made of the chart's own numbers, rounded once: who reads the table is told what who looks at the chart sees.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from zoneinfo import ZoneInfo

from dryspell.alerts.picture_look import Spec
from dryspell.outlook.figures import Units, clock, quantity, scale_of, weekday_date
from dryspell.outlook.model import Outlook, Window
from dryspell.outlook.window_words import OFF, OFF_TEXT, block_text, in_order, window_text
from dryspell.outlook.words import capital, reason_text
from dryspell.web.charts.days import Days

UNKNOWN = "–"
WET = " wet"
EVERY_H = 3
"""Rows are so far apart where the table is of more days than `HOURLY_UP_TO`."""
HOURLY_UP_TO = 4
_SHORT = {
    "margin": ("over dew point", "K"),
    "range": ("in 8 of 10 ways", "K"),
    "surface": ("surface", "degC"),
    "dew": ("dew point", "degC"),
    "air": ("air", "degC"),
    "humidity": ("humidity", "%"),
    "rain": ("rain in 1 h", "mm"),
    "chance": ("chance of rain", "%"),
    "wind": ("wind", "m/s"),
    "sun": ("sun on it", ""),
}
"""The columns in a word or two, and the units that their figures have inside."""


@dataclass(frozen=True)
class Row:
    """An hour: its time of day, and the cells by the keys of `headings`."""

    time: str
    hour: float
    cells: tuple[str, ...]
    mark: str


@dataclass(frozen=True)
class Part:
    """A local day with its rows."""

    day: str
    date: date
    rows: tuple[Row, ...]


def headings(days: Days, units: Units) -> dict[str, str]:
    """Return the columns: what each is, with its unit, by key."""
    degrees, kelvin, speed, depth = (scale_of(unit, units)[2] for unit in ("degC", "K", "m/s", "mm"))
    spread = {"range": f"in 8 of 10 ways, {kelvin}"} if days.members > 1 else {}
    return {
        "margin": f"surface over dew point, {kelvin}",
        **spread,
        "surface": f"surface, {degrees}",
        "dew": f"dew point, {degrees}",
        "air": f"air, {degrees}",
        "humidity": "humidity, %",
        "rain": f"rain in the hour, {depth}",
        "chance": "chance of rain, %",
        "wind": f"wind, {speed}",
        "sun": "sun on it, W/m²",
    }


def table(outlook: Outlook, days: Days, units: Units, *, every_h: int = 1) -> tuple[Part, ...]:
    """Return the chart's numbers by local day, a row every so many hours of the clock."""
    zone = ZoneInfo(outlook.timezone)
    rows = [
        (local, Row(clock(days.at(hour), zone), hour, cells(days, index, units), _mark(outlook, days.at(hour))))
        for index, hour in enumerate(days.hours)
        if (local := days.at(hour).astimezone(zone)).hour % every_h == 0
    ]
    return tuple(
        Part(weekday_date(day), day, tuple(row for _, row in group))
        for day, group in groupby(rows, key=lambda pair: pair[0].date())
    )


def cells(days: Days, index: int, units: Units) -> tuple[str, ...]:
    """Return the figures of a point in the order of `headings`."""
    spread = []
    if days.members > 1:
        low, high = (_figure(each[index], "K", units) for each in (days.margin_low_k, days.margin_high_k))
        spread = [UNKNOWN if UNKNOWN in (low, high) else f"{low} to {high}"]
    return (
        _figure(days.margin_k[index], "K", units) + (WET if days.is_wet[index] else ""),
        *spread,
        _figure(days.surface_c[index], "degC", units),
        _figure(days.dew_point_c[index], "degC", units),
        _figure(days.air_c[index], "degC", units),
        _figure(days.humidity_pct[index], "%", units),
        _figure(days.rain_mm[index], "mm", units),
        _figure(days.chance_pct[index], "%", units),
        _figure(days.wind_m_s[index], "m/s", units),
        UNKNOWN if (sun := days.sun_w_m2[index]) is None else f"{max(sun, 0.0):.0f}",
    )


def _figure(value: float | None, unit: str, units: Units) -> str:
    if value is None:
        return UNKNOWN
    return quantity(value, unit, units).partition(" ")[0].replace("-", "−")


def _mark(outlook: Outlook, at: datetime) -> str:
    """Return what a brush may do at an instant: "coat", "tight", or nothing."""
    for window in outlook.windows:
        if window.start <= at < window.tight_until:
            good = window.word == "coat" and (window.good_from or window.start) <= at < window.brush_down_by
            return "coat" if good else "tight"
    return ""


def told(outlook: Outlook, days: Days, units: Units) -> Spec:
    """Return what is said of each hour that is pointed at: its figures, and the spans that it may lie in with a reason.

    It goes with the chart as its `usermeta`, which is there for who makes a specification to use.
    """
    zone = ZoneInfo(outlook.timezone)
    shown = [_SHORT[key] for key in headings(days, units)]
    marks = [scale_of(unit, units)[2] for _, unit in shown]
    return {
        "end_h": days.end_h,
        "now_h": round(days.now_h, 3),
        "headings": [name for name, _ in shown],
        "hours": list(days.hours),
        "times": [f"{weekday_date(days.at(h).astimezone(zone))} {clock(days.at(h), zone)}" for h in days.hours],
        "cells": [
            [_with_unit(cell, mark) for cell, mark in zip(cells(days, index, units), marks, strict=True)]
            for index in range(len(days.hours))
        ],
        "spans": [
            {"from": round(low, 3), "to": round(high, 3), "word": word, "said": said}
            for low, high, word, said in _spans(outlook, days, units)
            if high > 0 and low <= days.end_h
        ],
    }


def _with_unit(cell: str, unit: str) -> str:
    figure, wet, _ = cell.partition(WET)
    return cell if figure == UNKNOWN else f"{figure} {unit or 'W/m²'}" + ("," + wet if wet else "")


def _spans(outlook: Outlook, days: Days, units: Units) -> Iterator[tuple[float, float, str, str]]:
    zone = ZoneInfo(outlook.timezone)
    brushing_to = days.start
    for span in in_order(outlook):
        if isinstance(span, Window):
            odds = "" if span.probability is None else f", odds {100 * span.probability:.0f} %"
            binding = reason_text(span.binding, zone, units, on=span.start)
            said = f"{capital(span.word)}{odds}: {window_text(outlook, span)}. Nearest limit: {binding}."
            yield days.hour(span.start), days.hour(span.tight_until), span.word, said
            brushing_to = span.tight_until
            continue
        start = max(span[0].start, brushing_to)
        is_off = span[0].reason.limit in OFF
        said = f"{capital(OFF_TEXT)}." if is_off else f"Wait. {block_text(outlook, span[0], units, on=start)}"
        if start < span[-1].end:
            yield days.hour(start), days.hour(span[-1].end), "off" if is_off else "wait", said
