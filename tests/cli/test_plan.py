"""`dryspell plan`: what it prints, the document it writes, and how it stays with what it said before."""

import json
import re
import shutil
from datetime import UTC, datetime, timedelta

import pytest

from cli.test_windows import BARE, UNITS, issue, numbers, texts
from dryspell.bundled import bundled
from dryspell.cli import main
from dryspell.cli.paint import Paint
from dryspell.cli.plan_text import plans_text
from dryspell.outlook.model import Limit, Reason
from dryspell.outlook.plan_model import Beyond, Moved, Plans, Share
from dryspell.store.store import open_store

NOW = "2026-09-03T11:15+02:00"


@pytest.fixture
def place(tmp_path, monkeypatch):
    """The demo's pieces and weather as somebody's own configuration, with a state folder of its own."""
    monkeypatch.setenv("DRYSPELL_STATE", str(tmp_path / "state"))
    monkeypatch.delenv("NO_COLOR", raising=False)
    for name in ("demo.toml", "demo-weather.csv"):
        shutil.copy(bundled(name), tmp_path / name)
    issue(tmp_path, "2026-09-03T08:00Z")
    return tmp_path


def plan(place, capsys, *more, now=NOW, code=0):
    assert main(["plan", "--config", str(place / "demo.toml"), "--now", now, *more]) == code
    return capsys.readouterr().out


def document(place, capsys, *more, **how):
    return json.loads(plan(place, capsys, "--json", *more, **how))


def test_it_begins_with_when_each_piece_is_done_and_goes_on_with_its_coats(place, capsys):
    text = plan(place, capsys)
    lines = text.splitlines()
    assert lines[0] == "Thu 3 Sep 2026 11:15  Europe/Berlin"
    assert re.match(r"  Toe rail +4 of 5 coats within the forecast, the next one today \d\d:\d\d$", lines[2])
    assert re.match(r"  Oak front door +built up Mon 7 Sep \d\d:\d\d, in use from Mon 14 Sep$", lines[3])
    assert re.search(r"^   4  Thu 3 Sep   prepare \d\d:\d\d  brush \d\d:\d\d to \d\d:\d\d$", text, re.MULTILINE)
    assert "sand P400" in text
    assert "Dew-safe" in text
    assert re.search(r"Coat 8: no .* hours before the forecast ends \(Sat 19 Sep 01:00\)", " ".join(text.split()))
    assert max(map(len, lines)) <= 80


def test_one_piece_is_shown_alone_but_planned_with_the_others(place, capsys):
    alone, every = document(place, capsys, "toe_rail"), document(place, capsys)
    assert [piece["piece"] for piece in alone["pieces"]] == ["toe_rail"]
    (same,) = (piece for piece in every["pieces"] if piece["piece"] == "toe_rail")
    assert [coat["start"] for coat in same["planned"]] == [c["start"] for c in alone["pieces"][0]["planned"]]
    assert "Garden bench" not in plan(place, capsys, "toe_rail")


def test_one_finisher_has_the_way_between_two_places_to_drive(place, capsys):
    """The rail is at one place and the door at another; half an hour lies between them where nothing is told."""
    coats = [
        (coat["prepare_at"], coat["last_stroke"], piece["site"])
        for piece in document(place, capsys)["pieces"]
        for coat in piece["planned"]
    ]
    for (_, end, here), (start, _, there) in zip(sorted(coats), sorted(coats)[1:], strict=False):
        free = datetime.fromisoformat(start) - datetime.fromisoformat(end)
        assert free >= timedelta(minutes=0 if here == there else 30)


def test_the_document_names_its_schema_and_every_number_carries_its_unit(place, capsys):
    written = document(place, capsys)
    assert (written["schema"], written["generated_at"]) == ("dryspell.plan/1", "2026-09-03T09:15:00Z")
    counts = {"coats_left", "coats_unplanned", "coats_at_most", "years"}
    assert {key for key, _ in numbers(written) if key not in BARE | counts and not key.endswith(UNITS)} == set()
    instants = [text for text in texts(written) if re.match(r"\d{4}-\d\d-\d\dT", text)]
    assert instants
    assert all(text.endswith("Z") for text in instants)
    assert {piece["timezone"] for piece in written["pieces"]} == {"Europe/Berlin"}
    assert written["share"]["is_best"] is True


def test_people_and_their_hours_are_in_it(place, capsys):
    with (place / "demo.toml").open("a", encoding="utf-8") as file:
        file.write('[person.kim]\nname = "Kim"\nhours = "08:00-18:00"\n[person.sasha]\npieces = ["front_door"]\n')
    written = document(place, capsys)
    people = {piece["piece"]: {coat["person"] for coat in piece["planned"]} for piece in written["pieces"]}
    assert people["toe_rail"] == {"kim"}
    assert people["front_door"] <= {"kim", "sasha"}
    assert re.search(r"brush .* Kim$", plan(place, capsys), re.MULTILINE)


def test_the_next_plan_stays_with_this_one_and_says_what_moved_and_why(place, capsys):
    first = document(place, capsys, "toe_rail")["pieces"][0]["planned"]
    later = document(place, capsys, "toe_rail", now="2026-09-03T11:25+02:00")["pieces"][0]["planned"]
    assert [coat["start"] for coat in later] == [coat["start"] for coat in first]
    assert all(coat["moved"] is None for coat in later)
    missed = document(place, capsys, "toe_rail", now="2026-09-03T15:30+02:00")["pieces"][0]["planned"][0]
    assert missed["moved"] == {"planned_at": first[0]["start"], "why": "missed", "reason": None}


def test_rain_on_the_hour_that_was_planned_is_told_with_its_figure(place, capsys):
    first = document(place, capsys, "toe_rail")["pieces"][0]["planned"][1]
    weather = place / "demo-weather.csv"
    head, *rows = [line for line in weather.read_text("utf-8").splitlines() if not line.startswith("#")]
    rain = next(n for n, name in enumerate(head.split(",")) if name.startswith("precipitation_amount"))
    at = datetime.fromisoformat(first["start"])
    changed = []
    for row in rows:
        cells = row.split(",")
        stamp = datetime.fromisoformat(cells[0]).astimezone(UTC)
        if timedelta(0) <= stamp - at <= timedelta(hours=6):
            cells[rain] = "2.0"
        changed.append(",".join(cells))
    weather.write_text("\n".join(["# issued 2026-09-03T09:00Z", head, *changed]) + "\n", "utf-8")
    text = " ".join(plan(place, capsys, "toe_rail", now="2026-09-03T11:25+02:00").split())
    assert re.search(r"Moved, was Sat 5 Sep \d\d:\d\d: (rain .*0.2 mm|surface wet)", text)


def test_the_exit_code_tells_whether_every_coat_found_its_hours(place, capsys):
    plan(place, capsys, "--exit-code", "front_door")
    plan(place, capsys, "--exit-code", "toe_rail", code=1)
    plan(place, capsys, "toe_rail")


def test_without_weather_it_says_so_and_takes_no_promise_back(place, capsys):
    first = document(place, capsys)
    text = plan(place, capsys, "--exit-code", now="2026-09-05T09:00+02:00", code=1)
    assert "h old (6 h at most)" in text
    store = open_store(place / "state")
    kept = store.plans()
    store.close()
    assert set(kept) == {piece["piece"] for piece in first["pieces"]}


def test_a_misspelt_piece_gets_the_nearest_one_and_exit_code_2(place, capsys):
    assert main(["plan", "toe_rial", "--config", str(place / "demo.toml")]) == 2
    assert "has no piece 'toe_rial'; did you mean toe_rail?" in capsys.readouterr().err


def made_of(place, capsys):
    plan(place, capsys)
    store = open_store(place / "state")
    found = store.plans()
    store.close()
    return found


def shown(plans, share=None):
    text = plans_text(Plans(plans=tuple(plans), share=share), plans, {}, {"kim": "Kim"}, Paint(on=False))
    assert max(map(len, text.splitlines())) <= 80
    return " ".join(text.split())


@pytest.mark.parametrize(
    ("why", "reason", "said"),
    [
        (
            "weather",
            Reason(limit=Limit.WIND, value=8.0, bound=6.0, unit="m/s"),
            "wind 8.0 m/s at the piece (6 m/s at most)",
        ),
        ("weather", None, "the weather there is not good any more"),
        ("coat_below", None, "coat 3 is not ready by then"),
        ("people", None, "Kim is needed at another piece then"),
        ("sooner", None, "so that the piece is done sooner"),
        ("missed", None, "it was not put on then"),
    ],
)
def test_why_a_coat_moved_is_told_in_words(place, capsys, why, reason, said):
    rail = made_of(place, capsys)["toe_rail"]
    moved = Moved(planned_at=rail.planned[0].start - timedelta(days=1), why=why, reason=reason)
    first = rail.planned[0].model_copy(update={"moved": moved, "who": "kim", "probability": 0.85, "coarse": True})
    text = shown([rail.model_copy(update={"planned": (first,)})])
    assert f"Moved, was yesterday 12:15: {said}" in text
    assert "odds 85% Kim" in text
    assert "Not firm: the weather there is given in steps that can hide a night." in text


DAY = timedelta(days=1)


@pytest.mark.parametrize(
    ("years", "half", "most", "said"),
    [
        (
            10,
            20,
            27,
            "in 10 past years it would be built up by Wed 23 Sep in half of them, by Wed 30 Sep in nine of ten.",
        ),
        (10, 20, None, "by Wed 23 Sep in half of them, in nine of ten not by Wed 21 Oct."),
        (10, None, None, "in 10 past years it would not be built up by Wed 21 Oct in half of them."),
        (3, 20, 27, "by Wed 30 Sep in nine of ten. So few years are a hint and no odds."),
        (1, 20, 20, "in one past year it would be built up by Wed 23 Sep. So few years are a hint and no odds."),
        (1, None, None, "in one past year it would not be built up by Wed 21 Oct."),
    ],
)
def test_what_lies_beyond_the_forecast_is_said_as_past_years_have_it(place, capsys, years, half, most, said):
    rail = made_of(place, capsys)["toe_rail"]
    half_at, most_at = (None if days is None else rail.made_at + days * DAY for days in (half, most))
    found = Beyond(built_up_50_at=half_at, built_up_90_at=most_at, years=years, until=rail.made_at + 48 * DAY)
    assert said in shown([rail.model_copy(update={"beyond": found})])


def test_whose_past_years_they_are_is_credited(place, capsys):
    rail = made_of(place, capsys)["toe_rail"]
    found = Beyond(years=10, until=rail.made_at, source="An archive", attribution="Weather by nobody")
    assert "Past years: An archive. Weather by nobody Weather: " in shown([rail.model_copy(update={"beyond": found})])


def test_where_no_past_year_is_known_it_says_so_and_why(place, capsys):
    why = "no archive of past weather is asked, and the record kept here goes back less than a year"
    assert f"When it may be built up is not known: {why}." in " ".join(plan(place, capsys).split())
    (rail,) = document(place, capsys, "toe_rail")["pieces"]
    assert rail["beyond"] == {
        "built_up_50_at": None,
        "built_up_90_at": None,
        "years": 0,
        "until": None,
        "source": None,
        "attribution": None,
        "unknown": why,
    }


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "no plan for all of them is better than this"),
        (
            {"is_best": False, "finish_h": 100.0, "bound_h": 97.0, "gap_pct": 3.0},
            "sooner, by 3 h in all at most (3.0 %",
        ),
        ({"is_best": False, "coats_at_most": 10}, "no other plan has more than 2 coats more"),
        (
            {"is_best": False, "is_thinned": True},
            "no plan with the times that were looked at is better than this. Of coats that may go on at very many",
        ),
        (
            {"is_best": False, "is_thinned": True, "coats_at_most": 10},
            "2 coats more. Of coats that may go on at very many times not every one of those was looked at.",
        ),
    ],
)
def test_how_good_a_shared_plan_is_stands_under_it(place, capsys, changes, said):
    best = Share(coats=8, coats_at_most=8, finish_h=100.0, bound_h=100.0, gap_pct=0.0, is_best=True)
    assert said in shown(list(made_of(place, capsys).values()), best.model_copy(update=changes))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"by_people": True, "reason": None}, "in which somebody is free for it"),
        ({"missing": ("wind_speed",)}, "the forecast has no wind speed"),
        ({"weather": None}, "there is no weather to plan with"),
        ({"reason": Reason(limit=Limit.COAT_BELOW)}, "the coat below is not ready in time"),
        ({"reason": Reason(limit=Limit.KNOWN)}, "no hours before the forecast ends"),
    ],
)
def test_why_coats_find_no_hours_is_told(place, capsys, changes, said):
    assert said in shown([made_of(place, capsys)["toe_rail"].model_copy(update=changes)])


def test_a_piece_that_is_built_up_says_only_that(place, capsys):
    door = made_of(place, capsys)["front_door"]
    done = {
        "left": 0,
        "planned": (),
        "reason": Reason(limit=Limit.BUILT_UP),
        "built_up_at": None,
        "in_service_at": None,
    }
    assert "Oak front door built up" in shown([door.model_copy(update=done)])
