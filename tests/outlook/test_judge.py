"""The vectorised judgement against plain loops, limit by limit, for every start of random weather."""

import numpy as np
import pytest

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.judge import NOMINAL, ONE_DEGREE, SLOWER, Asked, judge
from dryspell.outlook.model import Limit
from dryspell.outlook.slowing import Slowing
from dryspell.trade.coating import Coating
from outlook.plainly import Plain

CASES = 2000
STEPS = 48
LIMITS = [limit for limit in Limit if limit is not Limit.BUILT_UP]


def random_coating(rng, *, quick=True):
    scale = rng.uniform(0.02, 0.25) if quick else 1.0
    temperatures = np.sort(rng.choice([5, 8, 10, 15, 18, 20, 25, 30], size=rng.integers(2, 5), replace=False))
    pace = np.exp(-0.06 * (temperatures - 18))

    def stage(hours):
        return tuple((float(t), float(hours * scale * p)) for t, p in zip(temperatures, pace, strict=True))

    low = float(rng.uniform(2, 8))
    return Coating.model_construct(
        key="random",
        air_c=(low, float(rng.uniform(20, 30))),
        surface_c=(low, float(rng.uniform(22, 30))),
        humidity_max_pct=float(rng.uniform(70, 95)),
        margin_apply_k=float(rng.uniform(1, 3)),
        margin_hold_k=float(rng.uniform(0, 1)),
        wind_stop_m_s=float(rng.uniform(3, 8)),
        film_low_c=float(rng.uniform(0, 6)),
        sun_excess_k=float(rng.uniform(2, 8)),
        rain_max_mm=float(rng.choice([0.1, 0.2, 0.5])),
        rain_chance_max_pct=float(rng.choice([20, 30, 50])),
        below_coldest=str(rng.choice(["stops", "slows"])),
        humidity_slows=bool(rng.integers(2)),
        cures_by=str(rng.choice(["oxidation", "oxidation", "reaction", "coalescence", "moisture"])),
        touch_dry=stage(4),
        dew_safe=stage(7),
        rain_safe=stage(10),
        sandable=stage(24),
        recoat=stage(24),
        overcoat_max=None,
    )


def random_conditions(rng, members):
    shape = (members, STEPS)

    def walk(start, spread, low, high):
        return np.clip(start + np.cumsum(rng.normal(0, spread, shape), axis=1), low, high)

    air_c = walk(rng.uniform(4, 24), 0.7, -8, 35)
    dew_c = air_c - walk(rng.uniform(1, 8), 0.4, 0, 20)
    surface_c = air_c + walk(rng.uniform(-2, 4), 0.5, -5, 12)
    humidity = 100 * np.exp(17.62 * dew_c / (243.12 + dew_c) - 17.62 * air_c / (243.12 + air_c))
    rain = np.where(rng.random(shape) < rng.choice([0.0, 0.02, 0.2]), rng.choice([0.025, 0.05, 0.1, 0.3], shape), 0.0)
    water = np.where(rng.random(shape) < rng.choice([0.0, 0.02]), rng.uniform(0, 0.1, shape), 0.0)
    chance = np.where(rng.random(shape) < 0.9, rng.choice([0, 10, 20, 30, 40], shape), np.nan)
    if rng.random() < 0.3:
        air_c[:, rng.integers(STEPS)] = np.nan
    if rng.random() < 0.2:
        rain[:, rng.integers(STEPS) :] = np.nan
    if rng.random() < 0.1:
        surface_c[:, rng.integers(STEPS)] = np.nan
    hours = rng.random(STEPS) < 0.97
    return Conditions(
        times=np.datetime64("2026-05-01T00:00:00", "s") + np.arange(STEPS) * np.timedelta64(900, "s"),
        air_c=air_c,
        humidity_pct=humidity,
        dew_point_c=dew_c,
        surface_c=surface_c,
        wind_m_s=walk(rng.uniform(0, 5), 0.4, 0, 12),
        rain_mm=rain,
        rain_chance_pct=chance,
        water_mm=water,
        in_hours=hours,
        in_daylight=np.arange(STEPS) % 41 < 38,
        under_cover=rng.random(STEPS) < 0.03 if rng.random() < 0.5 else None,
    )


def random_slowing(rng, c):
    soon = c.times[rng.integers(0, STEPS, c.air_c.shape[0])]
    soon[rng.random(soon.size) < 0.1] = np.datetime64("NaT", "s")
    return Slowing(
        {"thinned_first": float(rng.choice([1.0, 1.0, 0.8, 1.5, 2.3]))},
        {"pace": float(rng.choice([1.0, 0.7]))},
        in_still_air=bool(rng.random() < 0.3),
        quick=float(rng.choice([1.0, 1.1, 1.4])),
        quick_until=soon if rng.random() < 0.5 else None,
    )


def disagreements(rng):
    members = int(rng.integers(1, 3))
    c, coating = random_conditions(rng, members), random_coating(rng)
    strictness = (NOMINAL, SLOWER, ONE_DEGREE)[rng.integers(3)]
    ready = c.times[rng.integers(0, STEPS, members)] + np.timedelta64(int(rng.integers(0, 900)), "s")
    ready[rng.random(members) < 0.5] = c.times[0]
    ready[rng.random(members) < 0.1] = np.datetime64("NaT", "s")
    soft = None
    if rng.random() < 0.4:
        opens = c.times[rng.integers(0, STEPS, members)]
        closes = opens + np.timedelta64(1, "s") * rng.integers(0, 6 * 3600, members)
        closes[rng.random(members) < 0.1] = np.datetime64("NaT", "s")
        soft = opens, closes
    asked = Asked(int(rng.integers(1, 5)), int(rng.integers(0, 5)), ready, soft)
    slowing = random_slowing(rng, c)
    rulings = judge(c, DryingClock(c, coating, slowing), coating, np.arange(STEPS), asked, strictness)
    found = {ruling.limit: ruling.passes for ruling in rulings}
    assert list(found) == LIMITS, "every limit is tested, in the order of the list"
    for member in range(members):
        plain = Plain(
            c, coating, member, slowing.factors["thinned_first"], slowing.in_still_air, slowing.quick,
            slowing.quick_until[member] if slowing.quick_until is not None else None, slowing.late["pace"],
        )  # fmt: skip
        for start in range(STEPS):
            wanted = plain.verdicts(
                start, asked.brush_steps, asked.settle_steps, ready[member], strictness.reserve,
                strictness.guard_k, soft and tuple(instants[member] for instants in soft),
            )  # fmt: skip
            for limit, passes in wanted.items():
                yield limit, member, start, passes, bool(found[limit][member, start])


@pytest.mark.parametrize("seed", range(20))
def test_every_limit_of_every_start_is_judged_as_plain_loops_judge_it(seed):
    rng = np.random.default_rng(seed)
    passed = dict.fromkeys(LIMITS, 0)
    failed = dict.fromkeys(LIMITS, 0)
    for case in range(CASES // 20):
        for limit, member, start, wanted, got in disagreements(rng):
            assert wanted == got, f"case {case}, member {member}, start {start}: {limit} is {wanted}, judged {got}"
            (passed if wanted else failed)[limit] += 1
    assert all(passed.values()), passed
    assert all(failed.values()), failed
