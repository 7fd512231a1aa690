"""Starts judged with a turn for the worse: only those are asked again that pass as it is, and nothing comes of that."""

import numpy as np
import pytest

from dryspell.outlook import windows
from dryspell.outlook.agreement import ALL, Agreement
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.judge import NOMINAL, ROUNDING, Asked, judge
from dryspell.outlook.model import Limit
from dryspell.outlook.windows import judge_all
from outlook.test_judge import STEPS, random_coating, random_conditions, random_slowing


def all_asked_again(c, clock, starts, asked, agreement):
    """Return which starts are robust, and which in their weather, all of them judged under every strictness."""
    passes = []
    for weather_alone in (False, True):
        rulings = [
            ruling.passes
            for each in (NOMINAL, *agreement.worse)
            for ruling in judge(c, clock, clock.coating, starts, asked, each)
            if not (weather_alone and ruling.limit is Limit.COAT_BELOW)
        ]
        passes.append(np.logical_and.reduce(rulings).mean(axis=0) >= agreement.good - ROUNDING)
    return passes


@pytest.mark.parametrize("many", [windows.MANY, 0.0, 1.0])
@pytest.mark.parametrize("agreement", [ALL, Agreement.by_odds(0.6)])
def test_what_is_robust_does_not_hang_on_which_starts_are_asked_again(agreement, many, monkeypatch):
    monkeypatch.setattr(windows, "MANY", many)
    rng, seen = np.random.default_rng(5), set()
    for _ in range(80):
        members = int(rng.integers(1, 6)) if agreement.is_odds else 1
        c, coating = random_conditions(rng, members), random_coating(rng)
        ready = c.times[rng.integers(0, STEPS // 4, members)]
        asked = Asked(int(rng.integers(1, 5)), int(rng.integers(0, 5)), ready)
        clock, starts = DryingClock(c, coating, random_slowing(rng, c)), np.arange(STEPS)
        judged = judge_all(c, clock, coating, starts, asked, agreement=agreement)
        robust, in_its_weather = all_asked_again(c, clock, starts, asked, agreement)
        np.testing.assert_array_equal(judged.robust, robust)
        np.testing.assert_array_equal(judged.weather_robust, in_its_weather)
        seen |= {(bool(passes), bool(good)) for passes, good in zip(judged.passes, judged.robust, strict=True)}
    assert seen == {(False, False), (True, False), (True, True)}
