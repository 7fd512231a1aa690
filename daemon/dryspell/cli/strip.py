"""The days ahead as strips: a mark for each half hour, so that windows are seen before a word is read.

A mark stands for its half hour. Where a brush can be in hand in any part of it, the window shows; otherwise the first
reason against a start does, as a letter.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import groupby
from zoneinfo import ZoneInfo

from dryspell.outlook import words
from dryspell.outlook.figures import Units
from dryspell.outlook.model import Block, Limit, Outlook, Window
from dryspell.outlook.window_words import OFF

COAT, TIGHT = "█", "▒"

_MARKS = {
    Limit.KNOWN: ("?", "not known"),
    Limit.BUILT_UP: ("·", "night or off work"),
    Limit.COAT_BELOW: ("b", "coat below not ready"),
    Limit.HOURS: ("·", "night or off work"),
    Limit.COVER: ("u", "under cover"),
    Limit.DAYLIGHT: ("·", "night or off work"),
    Limit.DRY: ("w", "wet surface"),
    Limit.AIR_LOW: ("c", "cold"),
    Limit.AIR_HIGH: ("h", "heat"),
    Limit.SURFACE_LOW: ("c", "cold"),
    Limit.SURFACE_HIGH: ("h", "heat"),
    Limit.HUMIDITY: ("m", "damp air"),
    Limit.MARGIN_APPLY: ("d", "dew"),
    Limit.WIND: ("g", "wind"),
    Limit.SUN: ("s", "sun"),
    Limit.MARGIN_HOLD: ("d", "dew"),
    Limit.RAIN: ("r", "rain"),
    Limit.RAIN_CHANCE: ("r", "rain"),
    Limit.COLD: ("c", "cold"),
}
_RANK = {COAT: 4, TIGHT: 3, "·": 1, "": 0, " ": 0}
_OF_A_REASON = 2
_WIDEST = 36
_USUAL = 16, 35
"""The half hours from 8 to 18 o'clock are shown whatever happens in them."""


@dataclass
class Day:
    """One local day: its marks by half hour, its windows, and its blocks with their length on this day."""

    date: date
    marks: dict[int, str] = field(default_factory=dict)
    windows: list[Window] = field(default_factory=list)
    blocks: list[tuple[timedelta, Block]] = field(default_factory=list)

    def main_block(self) -> Block | None:
        """Return the block that takes the most of the day; the night counts only where nothing else is there."""
        by_length = sorted(self.blocks, key=lambda pair: (pair[1].reason.limit not in OFF, pair[0]))
        return by_length[-1][1] if by_length else None


@dataclass(frozen=True)
class Strips:
    """All days of an outlook over one range of the day.

    Attributes
    ----------
    first, count, step
        First half hour shown, how many there are, and how many of them a mark stands for.
    """

    days: list[Day]
    first: int
    count: int
    step: int

    def row(self, day: Day) -> str:
        """Return the marks of a day; a space where the day has not begun or nothing is known of it."""
        return "".join(_strongest(day, half, self.step) for half in self._halves())

    def ruler(self) -> str:
        """Return the hours over the marks, every third one."""
        line = ""
        for half in self._halves():
            if half % 6 == 0:
                line = line.ljust((half - self.first) // self.step) + str(half // 2)
        return line

    def used(self) -> set[str]:
        """Return the marks that occur."""
        return {mark for day in self.days for mark in self.row(day)}

    def _halves(self) -> range:
        return range(self.first, self.first + self.count, self.step)


def legend(used: Iterable[str]) -> list[str]:
    """Return what the marks that are used stand for: "d dew"."""
    known = [(COAT, "coat"), (TIGHT, "tight"), *_MARKS.values()]
    return [f"{mark} {meaning}" for mark, meaning in dict.fromkeys(known) if mark in set(used)]


def strips_of(outlook: Outlook) -> Strips:
    """Return the strips of an outlook, in its site's own days."""
    zone = ZoneInfo(outlook.timezone)
    days: dict[date, Day] = {}
    for block in outlook.blocks:
        for start, end in _by_day(block.start, block.end, zone):
            local = start.astimezone(zone).date()
            day = days.setdefault(local, Day(local))
            day.blocks.append((end - start, block))
            _mark(day, start, end, zone, _MARKS[block.reason.limit][0])
    for window in outlook.windows:
        local = window.start.astimezone(zone).date()
        days.setdefault(local, Day(local)).windows.append(window)
        spans = [(window.start, window.tight_until, TIGHT)]
        if window.word == "coat":
            spans.append((window.good_from or window.start, window.brush_down_by, COAT))
        for opens, shuts, mark in spans:
            for start, end in _by_day(opens, shuts, zone):
                local = start.astimezone(zone).date()
                _mark(days.setdefault(local, Day(local)), start, end, zone, mark)
    ordered = [days[key] for key in sorted(days)]
    while len(ordered) > 1 and set(ordered[-1].marks.values()) == {"·"}:
        ordered.pop()  # the forecast ends in the night that begins this day
    halves = [half for day in ordered for half, mark in day.marks.items() if mark not in "·?"]
    first, last = min([*halves, _USUAL[0]]) // 2 * 2, max([*halves, _USUAL[1]])
    step = 1 if last - first < _WIDEST else 2
    count = -(-(last + 1 - first) // step) * step
    shown = [day for day in ordered if any(first <= half < first + count for half in day.marks)]
    return Strips(shown, first, count, step)


def note(day: Day, outlook: Outlook, units: Units) -> str:
    """Return in words what a day offers: its windows, or else its main reason against."""
    zone = ZoneInfo(outlook.timezone)
    if day.windows:
        return ", ".join(_window_note(window, zone) for window in day.windows)
    block = day.main_block()
    if block is None:
        return ""
    if block.reason.limit is Limit.DRY and Limit.RAIN in block.others:
        return "rain, and " + words.short_text(block.reason, zone, units, on=block.start)
    return words.short_text(block.reason, zone, units, on=block.start)


def _window_note(window: Window, zone: ZoneInfo) -> str:
    start, end = words.clock(window.start, zone), words.clock(window.brush_down_by, zone)
    tight = words.clock(window.tight_until, zone)
    if window.word == "tight":
        return f"tight {start} to {tight}"
    return f"{start} to {end}" + (f", tight to {tight}" if window.tight_until > window.brush_down_by else "")


def painted_runs(row: str) -> Iterator[tuple[str, str]]:
    """Yield the runs of like marks of a row with the role they are painted in."""
    roles = {COAT: "coat", TIGHT: "tight", "·": "aside", "?": "aside", " ": "aside"}
    for role, run in groupby(row, key=lambda mark: roles.get(mark, "")):
        yield "".join(run), role


def _by_day(start: datetime, end: datetime, zone: ZoneInfo) -> Iterator[tuple[datetime, datetime]]:
    """Cut a span at local midnights."""
    while start < end:
        midnight = datetime.combine(
            start.astimezone(zone).date() + timedelta(days=1), datetime.min.time(), tzinfo=zone
        ).astimezone(start.tzinfo)
        yield start, min(end, midnight)
        start = midnight


def _mark(day: Day, start: datetime, end: datetime, zone: ZoneInfo, mark: str) -> None:
    while start < end:
        local = start.astimezone(zone)
        half = local.hour * 2 + local.minute // 30
        day.marks[half] = _stronger(day.marks.get(half, ""), mark)
        start += timedelta(minutes=30 - local.minute % 30)


def _stronger(one: str, other: str) -> str:
    """Return which of two marks shows: a window before a reason, a reason before the night, else the earlier one."""
    return other if _RANK.get(other, _OF_A_REASON) > _RANK.get(one, _OF_A_REASON) else one


def _strongest(day: Day, half: int, step: int) -> str:
    shown = " "
    for each in range(half, half + step):
        shown = _stronger(shown, day.marks.get(each, " "))
    return shown
