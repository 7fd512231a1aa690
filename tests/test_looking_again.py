"""Until the next instant of the grid a look takes what was answered before, and sees what it would see afresh."""

import random
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from dryspell.outlook.model import Coat
from dryspell.tick import alike
from dryspell.tick.alike import Answers
from dryspell.tick.look import look
from dryspell.weather.error_model import DEFAULT_ERRORS
from dryspell.weather.odds import members_of
from yard import START, config, weather

MORE = """
piece.deck = { site = "harbour", shelter = "roof", coating = "pu_clear_2k", done = 2, area = "5 m^2" }
piece.hatch = { site = "harbour", shelter = "roof", coating = "pu_clear_2k", done = 2, area = "4.6 m^2" }
piece.done = { site = "harbour", coating = "oil_varnish_1k", coats = 3, done = 2 }
piece.tent = { site = "harbour", shelter = "tent", shut_by_day = true, coating = "oil_varnish_1k", shade = true }
piece.old = { site = "harbour", coating = "urethane_alkyd_1k" }
piece.seen = { site = "harbour", coating = "urethane_alkyd_1k", face = "vertical", facing = "N" }
"""


def changing(first_wet_h):
    """Return weather with days, nights, dew, rain and odds."""
    hours = np.arange(24 * 8)
    day = np.sin((hours - 9) / 24 * 2 * np.pi)
    rain = np.where((hours - first_wet_h) % 13 < 2, 0.6, 0.0)
    table = weather(
        air_temperature=12 + 6 * day, relative_humidity=80 - 20 * day, wind_speed=2 + 2 * day, precipitation_amount=rain
    )
    return members_of(table, START, DEFAULT_ERRORS, count=5, seed=7)


def coat(piece, number, hours_ago, **more):
    at = START - timedelta(hours=hours_ago, seconds=17)
    return Coat(piece=piece, number=number, finished_at=at, recorded_at=at, **more)


def coats():
    return {
        "deck": [coat("deck", 3, 20, note="in the morning")],
        "hatch": [coat("hatch", 3, 20, batch="B")],
        "done": [coat("done", 3, 1)],
        "rail": [coat("rail", 4, 30, thinner_parts=10), coat("rail", 5, 5, spoilt="dew")],
        "old": [coat("old", 1, 7 * 24 - 1)],
        "seen": [coat("seen", 1, 3, sandable_at=START - timedelta(hours=1))],
    }


@pytest.fixture
def judged(monkeypatch):
    """Return a list of the pieces that were judged."""
    calls, real = [], alike.make_answer

    def counted(piece, *rest, **named):
        calls.append(piece.key)
        return real(piece, *rest, **named)

    monkeypatch.setattr(alike, "make_answer", counted)
    return calls


@pytest.mark.parametrize("seed", range(2))
def test_a_look_after_others_sees_what_it_would_see_afresh(tmp_path, seed):
    chance, before = random.Random(seed), Answers()
    settings, on = config(tmp_path, MORE), coats()
    tables = {"harbour": changing(first_wet_h=47 + seed), "orchard": changing(first_wet_h=3)}
    now, risky, going = START + timedelta(seconds=chance.randrange(900)), set(), set()
    for _ in range(24):
        seen = look(settings, on, tables, now, before=before)
        assert seen == look(settings, on, tables, now)
        risky |= {risk.at for outlook in seen for risk in outlook.film_risk or ()}
        going |= {outlook.film.progress for outlook in seen if outlook.film}
        # Now and then it falls on an instant of the grid.
        step = chance.choice([1, 60, 60, 200, 900 - (now.minute * 60 + now.second) % 900])
        now += timedelta(seconds=step, microseconds=chance.randrange(2))
    assert len(risky) > 1
    assert len(going) > 24


def test_weather_that_gets_too_old_within_a_step_is_not_trusted_from_then_on(tmp_path):
    settings, before = config(tmp_path), Answers()
    table = weather()
    table = replace(
        table, issued_at=START - timedelta(hours=settings.weather.stale_after_h + table.cycle_h, minutes=-3)
    )
    words = []
    for minute in range(1, 6):
        seen = look(settings, {}, {"harbour": table, "orchard": None}, START + timedelta(minutes=minute), before=before)
        words.append(seen[0].word)
    assert words == ["coat", "coat", "coat", "unknown", "unknown"]


def test_nothing_is_judged_again_before_the_next_instant_of_the_grid(tmp_path, judged):
    settings, before = config(tmp_path, MORE), Answers()
    tables = {"harbour": changing(first_wet_h=47), "orchard": changing(first_wet_h=3)}
    asked = []
    for minute in range(1, 18):
        look(settings, coats(), tables, START + timedelta(minutes=minute), before=before)
        asked.append(len(judged))
        judged.clear()
    # What has a film is judged on the instant itself, and after it.
    assert [number for number in enumerate(asked, 1) if number[1]] == [(1, 7), (15, 5), (16, 7)]


def test_other_weather_coats_and_settings_are_judged_anew(tmp_path, judged):
    settings, before, on = config(tmp_path), Answers(), {"bench": [coat("bench", 1, 5)]}
    tables = {"harbour": weather(), "orchard": weather()}
    at = START + timedelta(minutes=1)

    def look_again(settings=settings, on=on, tables=tables, at=at):
        judged.clear()
        seen = look(settings, on, tables, at, before=before)
        assert seen == look(settings, on, tables, at)
        return judged[: -len(settings.piece)]

    assert look_again() == ["rail", "bench"]
    assert look_again() == []
    assert look_again(tables=tables | {"orchard": weather()}) == ["bench"]
    assert look_again(on={"bench": [coat("bench", 1, 6)]}, tables=tables) == ["bench"]
    told = {"bench": [coat("bench", 1, 6, note="told later")]}
    assert look_again(on=told) == []  # no film hangs on a note; it is told all the same
    assert look_again(settings=replace(settings, coating=dict(settings.coating)), on=told) == []
    slower = {key: coating.model_copy(update={"rain_max_mm": 0.1}) for key, coating in settings.coating.items()}
    assert look_again(settings=replace(settings, coating=slower), on=told) == ["rail", "bench"]
    assert look_again(settings=replace(settings, coating=slower), on=told, at=START) == ["rail", "bench"]


def test_what_is_asked_no_more_is_not_kept(tmp_path, judged):
    settings, before = config(tmp_path), Answers()
    tables = {"harbour": weather(), "orchard": weather()}
    look(settings, {}, tables, START, before=before)
    look(settings, {"rail": [coat("rail", 4, 5)]}, tables, START, before=before)
    judged.clear()
    look(settings, {}, tables, START, before=before)
    assert judged == ["rail"]
