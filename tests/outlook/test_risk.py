"""What comes to a wet film, against plain loops over the same weather, and against what really spoils a film."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryspell.outlook.agreement import ALL, Agreement
from dryspell.outlook.columns import STEP_S
from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.fate import Fate, fates
from dryspell.outlook.model import Coat, Limit
from dryspell.outlook.outlook import make_outlook
from dryspell.outlook.risk import film_risks
from outlook.build import MONDAY, built, coating, piece, site, weather

ODDS = Agreement.by_odds(0.8)
NOON, THREE = MONDAY + timedelta(hours=12), MONDAY + timedelta(hours=15)
STEP = timedelta(seconds=STEP_S)
HAZARDS = {Fate.DEW: "dew", Fate.RAIN: "rain", Fate.COLD: "cold", Fate.HEAT: "sun"}


def conditions(rng, members=1, steps=4 * 48, *, rain=0.02, calm=False):
    """Return weather that wanders about the limits of the varnish, from midnight on."""
    shape = (members, steps)
    hours = np.arange(steps) / 4.0
    day = np.cos((hours - 14) / 24 * 2 * np.pi)
    air = 12.0 + 6.0 * day + np.cumsum(rng.normal(0, 0.15, shape), axis=1)
    dew = np.minimum(air, 8.0 + np.cumsum(rng.normal(0, 0.12, shape), axis=1))
    surface = air + np.where(day > 0, 5.0 * day * rng.uniform(0, 1.8, (members, 1)), -3.0 * rng.uniform(0, 1.2))
    fallen = np.where(rng.uniform(size=shape) < rain, rng.uniform(0.02, 0.4, shape), 0.0)
    chance = np.full(shape, np.nan) if calm else rng.uniform(0, 36, shape)
    return Conditions(
        times=np.datetime64("2026-09-07T00:00:00", "s") + np.arange(steps) * np.timedelta64(STEP_S, "s"),
        air_c=air,
        humidity_pct=np.clip(100 - 5 * (air - dew), 30, 100),
        dew_point_c=dew,
        surface_c=surface,
        wind_m_s=np.full(shape, 2.0),
        rain_mm=fallen,
        rain_chance_pct=chance,
        water_mm=np.zeros(shape),
        in_hours=np.ones(steps, bool),
        in_daylight=np.ones(steps, bool),
    )


def coat_at(at, **more):
    return Coat(piece="rail", number=4, finished_at=at, recorded_at=at, **more)


def instant(stamp):
    return datetime.fromtimestamp(int(stamp.astype("datetime64[s]").astype(int)), UTC)


def met_plainly(c, clock, coat, now, member):
    """Return, by limit, when each danger first comes to the film in one member, by the rules and in plain loops."""
    of, reached = clock.coating, clock.of_films(np.array([np.datetime64(int(coat.finished_at.timestamp()), "s")]))

    def until(name):
        at = getattr(reached, name)[member, 0]
        end = instant(c.times[-1]) if np.isnat(at) else instant(at)
        return end if coat.sandable_at is None else min(end, coat.sandable_at)

    times = [instant(t) for t in c.times]
    surface, air = c.surface_c[member].tolist(), c.air_c[member].tolist()
    dew, rain, chance = (getattr(c, n)[member].tolist() for n in ("dew_point_c", "rain_mm", "rain_chance_pct"))
    cold_until = min(until("sandable"), coat.finished_at + timedelta(hours=24))
    found = {}

    def first(limit, end, fails):
        hits = [t for k, t in enumerate(times) if now < t < end and fails(k)]
        if hits:
            found[limit] = hits[0]

    first(Limit.MARGIN_HOLD, until("dew_safe"), lambda k: surface[k] - dew[k] < of.margin_hold_k)
    first(Limit.SUN, until("touch_dry"), lambda k: surface[k] - air[k] > of.sun_excess_k)
    first(Limit.SURFACE_HIGH, until("touch_dry"), lambda k: surface[k] > of.surface_c[1])
    first(Limit.COLD, cold_until, lambda k: surface[k] < of.film_low_c)
    wet = [k for k, t in enumerate(times) if t > coat.finished_at and t - STEP < until("rain_safe")]
    still = [k for k in wet if times[k] > now]
    fallen, to_come = sum(rain[k] for k in wet if k not in still), sum(rain[k] for k in still)
    least, hardest = of.rain_max_mm - 1e-9, max((4 * rain[k] for k in still), default=0.0)
    if max(to_come, hardest) >= least or (fallen < least and fallen + to_come >= least):
        rains = [times[k] - STEP for k in still if rain[k] > 0]
        if rains:
            found[Limit.RAIN] = max(rains[0], now)
    likely = [times[k] - STEP for k in still if chance[k] >= of.rain_chance_max_pct]
    if likely:
        found[Limit.RAIN_CHANCE] = max(likely[0], now)
    return found


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(0, 20), st.integers(0, 40), st.sampled_from([1, 5]))
def test_what_comes_and_when_is_what_plain_loops_find(seed, laid_h, later_quarters, members):
    rng = np.random.default_rng(seed)
    c = conditions(rng, members)
    clock, coat = DryingClock(c, coating()), coat_at(MONDAY + timedelta(hours=laid_h))
    now = coat.finished_at + later_quarters * STEP + timedelta(minutes=3)
    plainly = [met_plainly(c, clock, coat, now, m) for m in range(members)]
    risks = {risk.reason.limit: risk for risk in film_risks(c, clock, coat, now, ODDS)}
    hazards = {
        "rain": (Limit.RAIN, Limit.RAIN_CHANCE),
        "dew": (Limit.MARGIN_HOLD,),
        "sun": (Limit.SUN, Limit.SURFACE_HIGH),
        "cold": (Limit.COLD,),
    }
    for limits in hazards.values():
        told = [risks[limit] for limit in limits if limit in risks]
        met = {limit: [m[limit] for m in plainly if limit in m] for limit in limits}
        assert len(told) == any(met.values())  # one risk a hazard, where any of its limits is broken
        for risk in told:
            hits = sorted(met[risk.reason.limit])
            assert risk.at == hits[(len(hits) - 1) // 4]
            if risk.reason.limit is not Limit.RAIN_CHANCE:
                assert risk.share == pytest.approx(len(hits) / members, abs=1e-3)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(0, 80))
def test_whatever_spoils_a_film_was_a_risk_to_it_before(seed, start):
    """The fates of coats are judged by other code, by what spoils a film and not by the limits of a start."""
    c = conditions(np.random.default_rng(seed), calm=True)
    clock = DryingClock(c, coating())
    came = fates(c, clock, np.array([start]), 0)
    fate = came.of(0)
    at = int(came.spoiled_at[fate][0]) if fate.spoiled else 0
    if not fate.spoiled or at <= start + 1:
        return
    laid = instant(c.times[start])
    for now in (laid, instant(c.times[at - 1])):
        risks = {risk.hazard: risk for risk in film_risks(c, clock, coat_at(laid), now, ALL)}
        assert HAZARDS[fate] in risks
        assert risks[HAZARDS[fate]].at <= instant(c.times[at])
        assert risks[HAZARDS[fate]].odds == 1.0


def test_without_odds_one_way_in_which_it_comes_is_enough():
    c = conditions(np.random.default_rng(3), 4, calm=True, rain=0.0)
    c.surface_c[:] = c.air_c
    c.dew_point_c[:] = c.air_c - 5
    c.dew_point_c[2, 80:] = c.air_c[2, 80:]
    clock, coat = DryingClock(c, coating()), coat_at(MONDAY + timedelta(hours=17))
    (risk,) = film_risks(c, clock, coat, coat.finished_at, ALL)
    assert (risk.hazard, risk.share, risk.odds) == ("dew", None, 1.0)
    (risk,) = film_risks(c, clock, coat, coat.finished_at, ODDS)
    assert (risk.share, risk.odds) == (0.25, 0.25)
    assert risk.at == instant(c.times[80])
    assert (risk.reason.value, risk.reason.bound) == (0.0, 1.0)


def test_a_film_that_was_seen_to_be_hard_a_spoilt_one_and_one_a_week_old_are_not_looked_after():
    c = conditions(np.random.default_rng(1), rain=0.5, steps=4 * 24 * 9)
    clock = DryingClock(c, coating())
    laid = MONDAY + timedelta(hours=9)
    assert film_risks(c, clock, coat_at(laid), NOON, ALL)
    assert film_risks(c, clock, coat_at(laid, sandable_at=NOON), NOON, ALL) == ()
    assert film_risks(c, clock, coat_at(laid, spoilt="rain"), NOON, ALL) == ()
    assert film_risks(c, clock, coat_at(laid), laid + timedelta(days=7, minutes=1), ALL) == ()


class TestOutlook:
    """The field of an outlook, end to end."""

    clear_night = weather(days=4, air=(8.0, 18.0), dew_c=6.5, wind=1.0, cloud=0.0)

    def look(self, table, now=THREE, laid=THREE, **changes):
        of_stale = changes.pop("stale_after_h", 120)
        coats = [coat_at(laid)]
        return make_outlook(piece(**changes), site(), built(), coats, table, now, stale_after_h=of_stale)

    def test_dew_of_a_clear_night_comes_to_a_film_laid_in_the_afternoon(self):
        outlook = self.look(self.clear_night)
        dew = next(risk for risk in outlook.film_risk if risk.hazard == "dew")
        assert MONDAY + timedelta(hours=15) < dew.at < MONDAY + timedelta(hours=24)
        assert dew.at < (outlook.film.stages.dew_safe or dew.at + STEP)
        assert dew.reason.limit is Limit.MARGIN_HOLD

    def test_under_a_cover_there_is_none(self):
        covered = self.look(self.clear_night, cover="16:00-09:00")
        assert "dew" not in {risk.hazard for risk in covered.film_risk}

    def test_of_weather_that_is_too_old_or_not_there_nothing_is_told(self):
        assert self.look(self.clear_night, stale_after_h=3).film_risk is None
        assert self.look(None).film_risk is None
        assert self.look(weather(days=4, drop=["wind_speed"])).film_risk is None

    def test_a_last_coat_is_looked_after_like_any_other(self):
        last = [coat_at(THREE).model_copy(update={"number": 7})]
        outlook = make_outlook(piece(), site(), built(), last, self.clear_night, THREE, stale_after_h=120)
        assert (outlook.word, outlook.next_coat) == ("wait", 8)
        assert "dew" in {risk.hazard for risk in outlook.film_risk}

    def test_without_a_film_nothing_can_come_to_it(self):
        bare = make_outlook(piece(), site(), built(), [], self.clear_night, NOON, stale_after_h=120)
        assert bare.film_risk == ()
