"""Draws the pictures of the page: a measured surface, a night's margin, a coat through a cold night, ranks of odds."""  # noqa: INP001  (beside a script)

import io
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.dates import DateFormatter, HourLocator
from matplotlib.figure import Figure

from dryspell.outlook.conditions import Conditions, conditions_at
from dryspell.outlook.drying import DryingClock
from dryspell.science.fit import Fit, fit_exposure
from dryspell.science.surface import surface_temperature

# What the tests measure is what is drawn.
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "tests"))
from outlook import build
from science import test_measured_surface as grass
from science.boards import face
from weather.test_odds_airports import rank_histogram

STYLE = {
    "svg.fonttype": "none",
    "svg.hashsalt": "dryspell",
    "font.family": "sans-serif",
    "font.size": 11,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#dddddd",
    "legend.frameon": False,
    "lines.linewidth": 1.6,
}
# Told apart by the colour-blind and in grey (Okabe and Ito), and by their dashes.
MEASURED: dict[str, Any] = {"color": "#000000"}
MODEL: dict[str, Any] = {"color": "#0072b2", "linestyle": (0, (5, 1.5))}
AIR: dict[str, Any] = {"color": "#d55e00", "linestyle": (0, (1.2, 1.2))}
NIGHT = "#eceff4"


def measured_surface() -> Figure:
    """Draw measured against modelled surface temperature over the days that were not fitted."""
    times, weather, skin, modelled = _payerne()
    air, sun = weather[0], weather[3]
    figure, (above, below) = _panels("Surface of a meadow: measured, modelled, and the air over it", (3, 2))
    for axes in (above, below):
        _shade(axes, times, sun < 5.0)
    above.plot(times, air, label="air, 2 m", **AIR)
    above.plot(times, skin, label="surface, measured", **MEASURED)
    above.plot(times, modelled, label="surface, modelled", **MODEL)
    above.set_ylabel("temperature [°C]")
    below.axhline(0.0, **MEASURED)
    below.plot(times, air - skin, label="air taken for the surface", **AIR)
    below.plot(times, modelled - skin, label="modelled", **MODEL)
    below.set_ylabel("error [K]")
    below.xaxis.set_major_locator(HourLocator(byhour=12))
    below.xaxis.set_minor_locator(HourLocator(byhour=0))
    below.xaxis.set_major_formatter(DateFormatter("%-d June, 12 UTC"))
    _keys(above, below)
    return figure


def margin_of_a_night() -> Figure:
    """Draw the margin over the dew point by the air, by the measured and by the modelled surface."""
    times, weather, skin, modelled = _payerne()
    span = (times >= np.datetime64("2016-06-06T15:00")) & (times <= np.datetime64("2016-06-07T08:00"))
    air, dew, sun = (weather[k][span] for k in (0, 1, 3))
    figure, (axes,) = _panels("A night over that meadow: margin over the dew point", (1,))
    _shade(axes, times[span], sun < 5.0)
    by_air, by_surface = air - dew, skin[span] - dew
    wrong = (by_air >= 3.0) & (by_surface < 3.0)
    axes.plot(times[span], by_air, label="air − dew point", **AIR)
    axes.plot(times[span], by_surface, label="surface − dew point, measured", **MEASURED)
    axes.plot(times[span], modelled[span] - dew, label="surface − dew point, modelled", **MODEL)
    axes.fill_between(
        times[span], by_surface, by_air, where=wrong, color="#d55e00", alpha=0.25, lw=0, label="passed by the air alone"
    )
    axes.axhline(3.0, color="#777777", linewidth=1)
    axes.axhline(0.0, color="#777777", linewidth=1)
    midnight, evening = np.datetime64("2016-06-06T23:00"), np.datetime64("2016-06-06T15:15")
    axes.annotate("3 K: the usual least for coating", (midnight, 3.0), (0, 4), textcoords="offset points")
    axes.annotate("0 K: dew", (evening, 0.0), (0, 4), textcoords="offset points")
    axes.set_ylabel("margin [K]")
    axes.set_ylim(-3.0, 10.0)
    axes.xaxis.set_major_locator(HourLocator(byhour=range(0, 24, 3)))
    axes.xaxis.set_major_formatter(DateFormatter("%H UTC"))
    _keys(axes)
    return figure


def coat_through_a_cold_night() -> Figure:
    """Draw how far a coat comes through an invented cold night, by the temperatures it meets and by the clock."""
    weather, varnish, laid = _cold_night()
    drying = DryingClock(weather, varnish)
    times = weather.times[(weather.times >= laid) & (weather.times <= laid + np.timedelta64(38, "h"))]
    inside = np.isin(weather.times, times)
    done = 100.0 * np.minimum([drying.progress(laid, at) for at in times], 1.0)
    reached = drying.of_films(np.array([laid]))
    figure, (above, below) = _panels("A coat of varnish through a cold night (invented)", (2, 3))
    for axes in (above, below):
        _shade(axes, times, ~weather.in_daylight[inside])
    above.plot(times, weather.air_c[0, inside], label="air", **AIR)
    above.plot(times, weather.surface_c[0, inside], label="surface, modelled", **MODEL)
    above.set_ylabel("temperature [°C]")
    hours = (times - laid) / np.timedelta64(1, "h")
    below.plot(times, np.minimum(100.0 * hours / 24.0, 100.0), label="by the clock: 24 h, as printed for 18 °C", **AIR)
    below.plot(times, done, label="by the temperatures of the film", **MODEL)
    for name, at in (("dew-safe", reached.dew_safe[0, 0]), ("sandable", reached.sandable[0, 0])):
        below.axvline(at, color="#777777", linewidth=1)
        below.annotate(name, (at, 4.0), (4, 0), textcoords="offset points")
    below.set_ylabel("of the way to sandable [%]")
    below.set_ylim(0.0, 105.0)
    below.xaxis.set_major_locator(HourLocator(byhour=range(0, 24, 6)))
    below.xaxis.set_major_formatter(DateFormatter("%H:%M"))
    _keys(above, below)
    return figure


PICTURES: dict[str, Callable[[], Figure]] = {
    "surface.svg": measured_surface,
    "margin.svg": margin_of_a_night,
    "coat.svg": coat_through_a_cold_night,
    "ranks.svg": rank_histogram,
}


def as_svg(draw: Callable[[], Figure]) -> bytes:
    """Return a picture, the same bytes for the same thing."""
    with mpl.rc_context(STYLE):
        out = io.BytesIO()
        draw().savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return b"\n".join(line.rstrip() for line in out.getvalue().splitlines()) + b"\n"


def _payerne() -> tuple[Any, ...]:
    """Return instants, weather, measured and modelled surface of the days that were not fitted."""
    times, weather, skin, _, rest = grass.week()
    early = np.where(times < grass.FIRST_SCORED, skin, np.nan)
    find = ("convection_scale", "evaporating_share")
    found = fit_exposure(times, *weather, early, face(**grass.GRASS), find=find, **rest)
    if not isinstance(found, Fit):
        raise SystemExit(f"the meadow could not be fitted: {found.detail}")
    modelled = surface_temperature(times, *weather, found.exposure, **rest)
    late = times > grass.FIRST_SCORED
    return times[late], [column[late] for column in weather], skin[late], modelled[late]


def _cold_night() -> tuple[Conditions, Any, np.datetime64]:
    """Return what reaches an invented board (mild days, nights of 4 degC), its varnish, and when a coat is laid on."""
    rail = build.piece(after_sunrise="0 h")
    weather = build.weather(days=4, air=(4.0, 15.0), dew_c=-2.0, wind=2.5, cloud=75.0)
    return conditions_at(rail, build.site(), weather), build.coating(), np.datetime64("2026-09-07T10:00:00")


def _panels(title: str, heights: tuple[int, ...]) -> tuple[Figure, npt.NDArray[Any]]:
    figure = Figure(figsize=(9.0, 0.7 + 1.15 * max(sum(heights), 4)), layout="constrained", facecolor="white")
    axes = figure.subplots(len(heights), sharex=True, height_ratios=heights, squeeze=False)[:, 0]
    figure.suptitle(title, fontsize=12, x=0.01, ha="left")
    return figure, axes


def _shade(axes: Axes, times: npt.NDArray[np.datetime64], dark: npt.NDArray[np.bool_]) -> None:
    axes.fill_between(times, 0, 1, where=dark, transform=axes.get_xaxis_transform(), color=NIGHT, lw=0, zorder=0)
    axes.set_xlim(times[0], times[-1])


def _keys(*panels: Axes) -> None:
    for axes in panels:
        axes.legend(
            loc="lower right",
            bbox_to_anchor=(1.0, 1.0),
            ncols=4 if len(axes.get_legend_handles_labels()[1]) < 4 else 2,
            borderaxespad=0.1,
            fontsize=10,
        )
