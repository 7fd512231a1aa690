"""`dryspell review`: hand-made verdicts beside weather that came, with scores worked out by hand."""

import json
from datetime import timedelta

import numpy as np
import pytest

from dryspell.cli import main
from dryspell.outlook.model import Foretold
from dryspell.store import Store
from dryspell.store.store import FILE_NAME
from yard import START, weather

HOUR = timedelta(hours=1)
NOW = START + timedelta(days=5)
CONFIG = """
state = "state"
contact = "you@example.org"
site.harbour = { latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }
piece.rail = { name = "Rail", coating = "oil_varnish_1k", shelter = "shed" }
piece.bench = { name = "Bench", coating = "oil_varnish_1k", shelter = "roof" }
"""


def said(lead_h, start, word, share):
    return Foretold(lead_h=lead_h, start=start, coat=1, word=word, share=share, is_odds=True, quick=False)


@pytest.fixture
def place(tmp_path):
    (tmp_path / "dryspell.toml").write_text(CONFIG, "utf-8")
    return tmp_path


@pytest.fixture
def reviewed(place):
    """Mild days, with a day of gale from START + 24 h on: no coat then, and coats on all other days."""
    store = Store(place / "state" / FILE_NAME)
    met = weather(NOW, first=START - timedelta(days=2), wind_speed=1.0)
    gale = (met.times >= np.datetime64("2026-06-03T00:00")) & (met.times < np.datetime64("2026-06-04T00:00"))
    met.columns["relative_humidity"][0, gale] = 97.0
    store.keep_weather("harbour", met, NOW)
    mild, foul = START + timedelta(days=2), START + timedelta(days=1)
    verdicts = {
        "rail": [
            (1, mild, "coat", 0.9),  # hit
            (1, mild + HOUR, "wait", 0.2),  # miss
            (24, foul, "tight", 0.7),  # false alarm
            (24, foul + HOUR, "wait", 0.0),  # rightly so
            (24, NOW - HOUR, "coat", 1.0),  # what comes of it is not known yet
        ],
        "bench": [(1, mild, "coat", 1.0)],  # hit
    }
    for piece, of_piece in verdicts.items():
        for k, each in enumerate(of_piece):
            at = START + k * HOUR
            store.keep_foretold({piece: [said(*each)]}, at, since=START - timedelta(days=9))
    store.close()
    return place


def review(place, *more, code=0):
    now = f"{NOW:%Y-%m-%dT%H:%MZ}"
    assert main(["review", "--config", str(place / "dryspell.toml"), "--now", now, *more]) == code


def test_verdicts_are_counted_and_scored_by_what_came(reviewed, capsys):
    review(reviewed, "--json")
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "dryspell.review/1"
    rail, bench = document["pieces"]
    assert (rail["hits"], rail["misses"], rail["false_alarms"], rail["correct_waits"]) == (1, 1, 1, 1)
    assert rail["open"] == 1
    assert rail["brier"] == pytest.approx((0.1**2 + 0.8**2 + 0.7**2 + 0.0) / 4, abs=1e-4)
    assert rail["base_rate"] == 0.5
    assert (bench["starts"], bench["brier"]) == (1, 0.0)
    assert document["all"]["starts"] == 5
    assert document["all"]["right"] == pytest.approx(3 / 5)


def test_scores_are_told_by_how_far_ahead_it_was_said(reviewed, capsys):
    review(reviewed, "rail", "--json")
    (rail,) = json.loads(capsys.readouterr().out)["pieces"]
    one, day = rail["by_lead"]
    assert (one["lead_h"], one["hits"], one["misses"]) == (1, 1, 1)
    assert (day["lead_h"], day["false_alarms"], day["correct_waits"]) == (24, 1, 1)
    counts = [tenth["starts"] for tenth in rail["reliability"]]
    assert counts == [1, 0, 1, 0, 0, 0, 0, 1, 0, 1]
    assert rail["reliability"][7] == {"from": 0.7, "to": 0.8, "starts": 1, "said": 0.7, "came": 0.0}


def test_the_text_fits_80_columns_with_a_picture_of_the_odds(reviewed, capsys):
    review(reviewed, "--no-colour")
    lines = capsys.readouterr().out.splitlines()
    assert max(len(line) for line in lines) <= 80
    assert lines[0].startswith("How right it was")
    assert lines[0].endswith("1 more wait for their weather")
    (day,) = [line for line in lines if line.startswith("1 day ")]
    assert day.split()[2:] == ["2", "50%", "0", "0", "1", "1", "0.245", "-"]
    (tenth,) = [line for line in lines if line.strip().startswith("90-100 %")]
    # both of the tenth came: a bar to the end but for the mark, at 95 % in the mean
    assert tenth.count("█") == 49
    assert tenth.index("│") == 14 + round(0.95 * 50)
    assert tenth.split()[-2:] == ["2", "few"]


def test_before_anything_was_said_there_is_nothing_to_review(place, capsys):
    review(place, "--exit-code", code=1)
    assert "Nothing to review yet" in capsys.readouterr().out
    review(place)


def test_where_no_weather_was_met_everything_is_open(place, capsys):
    store = Store(place / "state" / FILE_NAME)
    store.keep_foretold({"rail": [said(1, START, "coat", 0.9)]}, START, since=START - timedelta(days=9))
    store.close()
    review(place, "rail", "--json")
    (rail,) = json.loads(capsys.readouterr().out)["pieces"]
    assert (rail["starts"], rail["open"], rail["brier"], rail["by_lead"]) == (0, 1, None, [])


def test_a_piece_that_is_not_there_is_told_with_the_one_that_is_meant(place, capsys):
    review(place, "rial", code=2)
    assert "did you mean rail?" in capsys.readouterr().err
