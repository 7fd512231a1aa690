"""What became of a coat, on invented weather whose dew, rain, cold and sun come at known hours.

What spoils a film (condensed water, rain, cold, sun on a wet film) is common practice, no source; the figures are the
coating's own.
"""

from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryspell.outlook.agreement import ALL
from dryspell.outlook.conditions import conditions_at
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.fate import Fate, fates
from dryspell.outlook.judge import Asked
from dryspell.outlook.windows import judge_all
from outlook.build import MONDAY, coating, piece, site, weather

BRUSH = 4
"""An hour."""


def of(table, hour, *, shelter="open", of_coating=None, **changes):
    """The fate of a coat begun some hours into the weather, and the hours after the first stroke that it came at."""
    c = conditions_at(piece(shelter=shelter, **changes), site(), table)
    found = fates(c, DryingClock(c, of_coating or coating()), np.array([hour * 4]), BRUSH)
    fate = found.of(0)
    return fate, (found.spoiled_at[fate][0] - hour * 4) / 4 if fate.spoiled else None


def mild(days=4, **changes):
    # Warm, dry and under cloud: nothing can happen to a coat.
    return weather(days, **{"air": (17.0, 19.0), "dew_c": 5.0, "cloud": 100.0} | changes)


def test_in_mild_dry_weather_a_coat_is_good():
    assert of(mild(), 10, shelter="shed")[0] is Fate.GOOD
    assert of(mild(), 10)[0] is Fate.GOOD


def test_rain_before_it_is_rain_safe_spoils_it_and_rain_after_does_not():
    # 10 h to rain-safe at 18 degC; the rain falls in the hour that ends 6 h, or 30 h, after the first stroke
    assert of(mild(rain=[(16, 1, 1.0)]), 10) == (Fate.RAIN, 5.25)
    assert of(mild(rain=[(40, 1, 1.0)]), 10)[0] is Fate.GOOD
    assert of(mild(rain=[(16, 1, 1.0)]), 10, shelter="roof")[0] is Fate.GOOD


def test_less_rain_than_the_coating_takes_spoils_nothing_and_as_much_does():
    assert of(mild(rain=[(14, 1, 0.19)]), 10)[0] is Fate.GOOD
    assert of(mild(rain=[(14, 2, 0.1)]), 10)[0] is Fate.RAIN


def test_a_clear_calm_night_lays_dew_on_a_film_that_is_not_dew_safe():
    damp = mild(air=(9.0, 19.0), dew_c=7.5, cloud=0.0, wind=1.0)
    fate, after_h = of(damp, 19)
    assert fate is Fate.DEW
    assert 1 < after_h < 10
    assert of(damp, 19, shelter="roof")[0] is not Fate.DEW


def test_a_coat_on_a_wet_surface_is_spoiled_as_it_is_laid():
    assert of(mild(rain=[(9, 1, 3.0)]), 10) == (Fate.DEW, 0.0)


def test_cold_before_it_is_sandable_spoils_it_in_the_first_day_only():
    cold = mild(air=(2.0, 12.0), dew_c=-6.0)
    assert of(cold, 12, shelter="roof")[0] is Fate.COLD
    # The same nights, from the second on: the first one is mild.
    table = mild(6)
    air = np.where(np.arange(table.times.size) > 52, 2.0, table.columns["air_temperature"])
    table.columns["air_temperature"][:] = air
    assert of(table, 12, shelter="roof")[0] is Fate.GOOD


def test_sun_on_a_wet_film_spoils_it_and_shade_does_not():
    sunny = mild(cloud=0.0, wind=0.5, air=(17.0, 22.0), start=MONDAY.replace(month=6))
    assert of(sunny, 10, colour="black")[0] is Fate.HEAT
    assert of(sunny, 10, colour="black", shelter="roof", face="vertical", facing="N")[0] is Fate.GOOD


def test_where_the_weather_is_not_known_the_fate_is_not_known_unless_it_came_before():
    holes = mild()
    holes.columns["air_temperature"][:, 20:22] = np.nan
    assert of(holes, 10)[0] is Fate.UNKNOWN
    assert of(holes, 30)[0] is Fate.GOOD
    spoiled_first = mild(rain=[(13, 1, 1.0)])
    spoiled_first.columns["air_temperature"][:, 20:22] = np.nan
    assert of(spoiled_first, 10)[0] is Fate.RAIN
    spoiled_later = mild(rain=[(24, 1, 1.0)])
    spoiled_later.columns["air_temperature"][:, 12:14] = np.nan
    assert of(spoiled_later, 10)[0] is Fate.UNKNOWN


def test_a_coat_whose_days_lie_beyond_the_weather_has_no_known_fate():
    assert of(mild(2), 40)[0] is Fate.UNKNOWN


@settings(max_examples=25, deadline=None)
@given(
    low=st.floats(2, 16), swing=st.floats(2, 14), dew=st.floats(-2, 14), wind=st.floats(0.2, 6),
    cloud=st.floats(0, 100),
    rain=st.lists(st.tuples(st.integers(0, 90), st.integers(1, 4), st.floats(0.05, 2)), max_size=3),
)  # fmt: skip
def test_a_start_that_passes_every_limit_in_the_weather_that_came_is_never_spoiled(low, swing, dew, wind, cloud, rain):
    table = weather(4, air=(low, low + swing), dew_c=dew, wind=wind, cloud=cloud, rain=rain)
    c = conditions_at(piece(), site(), table)
    clock, starts = DryingClock(c, coating()), np.arange(c.times.size - 8)
    asked = Asked(BRUSH, 4, np.full(1, c.times[0]))
    judged = judge_all(c, clock, coating(), starts, asked, agreement=ALL)
    assert fates(c, clock, starts, BRUSH).good[judged.passes].all()


@pytest.mark.parametrize("hours", [0, 12])
def test_of_several_ways_the_weather_may_have_been_the_worst_counts(hours):
    wet, dry = mild(rain=[(16, 1, 1.0)]), mild()
    both = {name: np.concatenate([dry.columns[name], wet.columns[name]]) for name in dry.columns}
    table = type(dry)(dry.times, both, "two ways", MONDAY + timedelta(hours=hours))
    assert of(table, 10)[0] is Fate.RAIN
