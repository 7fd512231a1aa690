"""How charts look: inks for light and dark paper, letters, and an axis of the hours of the clock on the wall.

Lines have the colours of Okabe and Ito (Color Universal Design, 2008), which most colour-blind eyes tell apart, made
lighter for dark paper; windows have those of the page. Lines differ in their dashes too, bands have their name in them,
and a tight window is half as high as a good one.
"""

import json
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Any, Literal

from dryspell.outlook.figures import weekday_date

Spec = dict[str, Any]
Theme = Literal["light", "dark"]

FONT = "Liberation Sans, Arial, Helvetica, sans-serif"


@dataclass(frozen=True)
class Look:
    """The inks of a chart.

    Attributes
    ----------
    paper
        What it is drawn on.
    ink, faint
        Letters and rules; frames and grids.
    night, coat, tight
        Bands, and with what opacity a night is laid on.
    on_coat
        Letters on a filling of a good window.
    surface, air, dew, rain, sun
        Lines and fillings.
    """

    paper: str
    ink: str
    faint: str
    night: str
    night_opacity: float
    coat: str
    on_coat: str
    tight: str
    surface: str
    air: str
    dew: str
    rain: str
    sun: str

    @property
    def lines(self) -> tuple[tuple[str, str, list[float], float], ...]:
        """The temperatures: name, ink, dashes, width."""
        return (
            ("surface", self.surface, [1, 0], 3.0),
            ("air", self.air, [7, 3], 2.0),
            ("dew point", self.dew, [2, 2.5], 2.5),
        )


LIGHT = Look(
    paper="#ffffff",
    ink="#222222",
    faint="#d9d9d9",
    night="#5b6472",
    night_opacity=0.22,
    coat="#0b5f79",
    on_coat="#ffffff",
    tight="#e69f00",
    surface="#d55e00",
    air="#222222",
    dew="#0072b2",
    rain="#0072b2",
    sun="#b07400",
)
DARK = Look(
    paper="#1a2529",
    ink="#eef1ec",
    faint="#46545a",
    night="#9aa7b8",
    night_opacity=0.17,
    coat="#3fb0d0",
    on_coat="#0b1a1f",
    tight="#f0b13c",
    surface="#ff8f4d",
    air="#eef1ec",
    dew="#7cc0f7",
    rain="#7cc0f7",
    sun="#f0b13c",
)
LOOKS: dict[Theme, Look] = {"light": LIGHT, "dark": DARK}


def config_of(look: Look) -> Spec:
    """Return what holds for every mark and letter of a chart."""
    letters = {
        "labelFontSize": 13,
        "titleFontSize": 13,
        "labelColor": look.ink,
        "titleColor": look.ink,
        "titleFontWeight": "normal",
    }
    return {
        "font": FONT,
        "view": {"stroke": look.faint},
        "axis": letters | {"gridColor": look.faint, "tickColor": look.faint, "domain": False},
        "legend": letters | {"symbolSize": 500, "symbolStrokeWidth": 3},
        "title": {
            "fontSize": 13, "fontWeight": "bold", "color": look.ink, "anchor": "start", "offset": 6, "frame": "group",
        },
        "text": {"fontSize": 12, "color": look.ink},
    }  # fmt: skip


def wall_hours(start: datetime, end_h: float, zone: tzinfo, every_h: int) -> list[tuple[float, datetime]]:
    """Return every so many hours of the local day, as hours from the start, whatever the clocks do."""
    ticks: list[tuple[float, datetime]] = []
    # From one whole hour of UTC to the next: no local hour is passed over, and one that comes twice is marked once.
    at = start.replace(minute=0, second=0, microsecond=0)
    seen = set()
    while (hour := (at - start).total_seconds() / 3600.0) <= end_h:
        local = at.astimezone(zone)
        at += timedelta(minutes=15)
        mark = (local.date(), local.hour)
        if hour < 0 or local.minute or local.hour % every_h or mark in seen:
            continue
        seen.add(mark)
        ticks.append((hour, local))
    return ticks


def hour_axis(ticks: list[tuple[float, str | list[str]]], *, labels: bool) -> Spec:
    """Return an axis of hours with what stands at them."""
    axis: Spec = {"values": [hour for hour, _ in ticks], "title": None, "labels": labels, "ticks": labels}
    if labels:
        said = {f"{hour:g}": text for hour, text in ticks}
        axis |= {
            "labelExpr": f"({json.dumps(said)})[format(datum.value, '~g')]",
            "labelFlush": False,
            "labelOverlap": False,
            "labelLineHeight": 15,
        }
    return axis


def clock_ticks(start: datetime, end_h: float, zone: tzinfo, every_h: int) -> list[tuple[float, str | list[str]]]:
    """Return every so many hours with their time of day, midnights with the day that begins."""
    return [
        (hour, [f"{local:%H:%M}", weekday_date(local)] if local.hour == 0 else f"{local:%H:%M}")
        for hour, local in wall_hours(start, end_h, zone, every_h)
    ]


def scaled(value: float | None, scale: float, offset: float = 0.0) -> float | None:
    """Return a figure in the unit it is shown in."""
    return None if value is None else round(value * scale + offset, 2)
