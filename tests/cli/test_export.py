"""`dryspell export` writes all that is kept, so that any program can read it."""

import csv
import json
import stat
import tracemalloc
from contextlib import closing
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from icalendar import Calendar

from dryspell.answers.export import SHEETS
from dryspell.cli import main
from dryspell.outlook.model import Coat, Stages
from dryspell.outlook.plan_model import Plan, PlannedCoat
from dryspell.store.notices import Given, Message
from dryspell.store.readings import Checked
from dryspell.store.store import FILE_NAME, open_store
from dryspell.weather.flags import Flag
from dryspell.weather.sensors.reading import Reading
from store.olden import write_old
from yard import TEXT, weather

NOW = datetime(2026, 6, 20, 8, tzinfo=UTC)


@pytest.fixture
def config(tmp_path, monkeypatch):
    monkeypatch.delenv("DRYSPELL_STATE", raising=False)
    file = tmp_path / "yard.toml"
    file.write_text(TEXT.format(state=tmp_path / "state", more=""))
    return file


def export(config, *more, code=0):
    folder = config.parent / "out"
    assert main(["export", str(folder), "--config", str(config), "--now", NOW.isoformat(), *more]) == code
    return folder


def rows(folder, name):
    """Return a table twice: as CSV has it, and as JSON Lines have it."""
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        cells = list(csv.DictReader(file))
    return cells, [json.loads(line) for line in (folder / f"{name}.jsonl").read_text("utf-8").splitlines()]


def readings(store, days, step_s=60, until=NOW):
    first = until - timedelta(days=days)
    batch = [
        Checked(
            "harbour",
            "",
            Reading("mast", "air_temperature", first + timedelta(seconds=n * step_s), n % 900 / 100),
            Flag.GOOD,
        )
        for n in range(days * 86_400 // step_s)
    ]
    store.keep_readings(batch)
    while store.tidy_readings(until, timedelta(days=400)):
        pass
    return batch


def coat(number, **how):
    return Coat(piece="rail", number=number, finished_at=NOW - timedelta(days=9 - number), recorded_at=NOW, **how)


def test_coats_are_there_with_all_that_was_done_to_them(config):
    with closing(open_store(config.parent / "state")) as store:
        first = store.add_coat(coat(4, who="Kim", note='=2+3 "quoted",\nand a second line', wet_film_um=78.5))
        store.correct_coat(first, coat(4, who="Kim", note="rightly"))
        second = store.add_coat(coat(5))
        store.see_sandable(second, NOW, coating="oil_varnish_1k", progress=1.25, recorded_at=NOW)
    folder = export(config)
    cells, lines = rows(folder, "coats")
    assert [line["coat"] for line in lines] == [4, 4, 5]
    assert lines[0]["note"] == '=2+3 "quoted",\nand a second line'
    assert cells[0]["note"] == '\'=2+3 "quoted",\nand a second line'  # no formula in a spreadsheet
    assert (lines[0]["taken_back_at"], lines[1]["taken_back_at"]) == ("2026-06-20T08:00:00Z", None)
    assert (lines[0]["wet_film_um"], cells[0]["wet_film_um"], lines[1]["wet_film_um"]) == (78.5, "78.5", None)
    assert rows(folder, "coat_changes")[1] == [
        {
            "coat_id": lines[0]["id"],
            "at": "2026-06-20T08:00:00Z",
            "what": "corrected",
            "detail": "",
            "who": "",
            "successor_id": lines[1]["id"],
        }
    ]
    assert rows(folder, "seen_sandable")[1][0]["progress"] == 1.25


def test_every_reading_is_there_packed_or_not_with_what_the_checks_say(config):
    with closing(open_store(config.parent / "state")) as store:
        batch = readings(store, days=6, step_s=600)
        spike = Checked("harbour", "rail", Reading("probe", "surface_temperature", NOW, 99.0), Flag.SPIKE)
        store.keep_readings([spike])
        assert store._rows("SELECT count(*) FROM reading_days")[0][0] > 1
    cells, lines = rows(export(config), "readings")
    mine = [(datetime.fromisoformat(line["at"]), line["value"]) for line in lines if line["sensor"] == "mast"]
    assert mine == [(each.reading.at, each.reading.value) for each in batch]
    assert lines[-1] == {
        "site": "harbour", "piece": "rail", "sensor": "probe", "variable": "surface_temperature",
        "at": "2026-06-20T08:00:00Z", "value": 99.0, "unit": "degC", "check": "a spike",
    }  # fmt: skip
    assert [cell["value"] for cell in cells] == [str(line["value"]) for line in lines]


def test_forecasts_are_there_as_they_were_issued(config):
    issued = [NOW - timedelta(hours=hours) for hours in (12, 6)]
    with closing(open_store(config.parent / "state")) as store:
        for n, at in enumerate(issued):
            store.keep_issue("harbour", weather(at, air_temperature=12.0 + n, wind_speed=np.nan), at)
    cells, lines = rows(export(config), "forecasts")
    assert [line["issued_at"] for line in lines] == ["2026-06-19T20:00:00Z", "2026-06-20T02:00:00Z"]
    assert [set(line["columns"]["air_temperature [degC]"][0]) for line in lines] == [{12.0}, {13.0}]
    assert set(lines[0]["columns"]["wind_speed [m/s]"][0]) == {None}
    assert lines[0]["attribution"] == "Weather by nobody"
    assert len(cells) == sum(len(line["at"]) for line in lines)
    assert {(cell["air_temperature [degC]"], cell["wind_speed [m/s]"]) for cell in cells} == {
        ("12.0", ""),
        ("13.0", ""),
    }


def test_an_ensemble_says_which_quantiles_were_kept(config):
    table = weather(NOW)
    members = {name: np.repeat(column, 11, axis=0) for name, column in table.columns.items()}
    members["air_temperature"] = members["air_temperature"] + np.arange(11.0)[:, np.newaxis]
    with closing(open_store(config.parent / "state")) as store:
        store.keep_issue("harbour", type(table)(table.times, members, "many", NOW), NOW)
    cells, lines = rows(export(config), "forecasts")
    assert lines[0]["quantiles"] == [0.1, 0.5, 0.9]
    # Of 11 members a degree apart: the second, the middle and the last but one.
    assert {(cell["quantile"], cell["air_temperature [degC]"]) for cell in cells} == {
        ("0.1", "19.0"), ("0.5", "23.0"), ("0.9", "27.0"),
    }  # fmt: skip


def test_messages_and_verdicts_are_there(config):
    sent = Message("a1", "k1", "rail", "wait", "Wait", "until noon", NOW, NOW + timedelta(hours=3), ("phone", "relay"))
    unheard = Message("a2", "k2", "rail", "wait", "Wait", "again", NOW, NOW + timedelta(hours=3), ())
    with closing(open_store(config.parent / "state")) as store:
        store.save_round({}, [Given("rail", "unknown", None)], [sent, unheard], [], NOW)
        phone, relay = store.due(NOW)
        store.mark_delivered(phone, NOW)
        store.mark_failed(relay, "it answers 503", NOW + timedelta(minutes=1))
    folder = export(config)
    lines = rows(folder, "messages")[1]
    assert [(line["message"], line["target"], line["delivered_at"], line["last_error"]) for line in lines] == [
        ("a1", "phone", "2026-06-20T08:00:00Z", ""),
        ("a1", "relay", None, "it answers 503"),
        ("a2", None, None, None),
    ]
    assert rows(folder, "verdicts")[1] == [
        {"piece": "rail", "at": "2026-06-20T08:00:00Z", "verdict": "unknown", "reason": None}
    ]


def test_planned_coats_are_there_as_a_table_and_for_a_calendar(config):
    start = NOW + timedelta(days=1)
    stages = Stages(**dict.fromkeys(Stages.model_fields))
    planned = PlannedCoat(
        number=4, coating="oil_varnish_1k", prepare_at=NOW, start=start, last_stroke=start + timedelta(hours=2),
        probability=0.9, thinner_parts=0.0, wet_film_um=80.0, abrasive="P240", hot=False, sand_first=False,
        stages=stages,
    )  # fmt: skip
    plan = Plan(
        piece="rail", piece_name="Rail", site="harbour", timezone="Europe/Berlin", made_at=NOW, coats=8, left=5,
        planned=(planned,), odds_pct=90.0, built_up_at=None, in_service_at=None,
    )  # fmt: skip
    with closing(open_store(config.parent / "state")) as store:
        store.keep_plans([plan])
    folder = export(config)
    assert rows(folder, "plans")[1][0]["start"] == "2026-06-21T08:00:00Z"
    (event,) = Calendar.from_ical((folder / "planned-coats-harbour.ics").read_bytes()).walk("VEVENT")
    assert event["DTSTART"].dt <= start < event["DTEND"].dt


def test_every_column_of_every_table_is_explained(config):
    open_store(config.parent / "state").close()
    folder = export(config)
    told = (folder / "README.md").read_text("utf-8")
    for sheet in SHEETS:
        with (folder / f"{sheet.name}.csv").open(encoding="utf-8", newline="") as file:
            assert next(csv.reader(file)) == list(sheet.columns)
        assert all(f"- `{name}`: " in told for name in sheet.columns)
    assert sorted(file.stem for file in folder.glob("*.csv")) == sorted(sheet.name for sheet in SHEETS)


def test_no_table_of_the_state_is_left_out(config):
    with closing(open_store(config.parent / "state")) as store:
        tables = {name for (name,) in store._rows("SELECT name FROM sqlite_master WHERE type = 'table'")}
    # What the next forecast and the next message are made with: nothing that happened.
    inward = {"forecasts", "alert_memory", "coat_requests"}
    held = {"notices": "messages", "outbox": "messages", "series": "readings", "reading_days": "readings"}
    held |= {"issues": "forecasts", "calendar": "plans"}  # and the calendar itself
    told = {sheet.name for sheet in SHEETS}
    assert {table for table in tables - inward if held.get(table, table) not in told} == set()


def test_files_are_for_the_owner_and_a_folder_that_holds_something_is_left_alone(config, capsys):
    open_store(config.parent / "state").close()
    folder = export(config, "--json")
    assert json.loads(capsys.readouterr().out)["rows"]["coats"] == 0
    assert stat.S_IMODE((folder / "coats.csv").stat().st_mode) == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    export(config, code=2)
    assert "is there already and holds something" in capsys.readouterr().err
    assert [each.name for each in config.parent.iterdir() if each.name.startswith(".out")] == []


def test_an_older_state_is_not_misread(config, capsys):
    write_old(config.parent / "state" / FILE_NAME, 4)
    export(config, code=2)
    assert "is of version 4" in capsys.readouterr().err
    assert not (config.parent / "out").exists()


def test_memory_does_not_grow_with_the_length_of_the_record(config):
    def peak(days):
        with closing(open_store(config.parent / "state")) as store:
            readings(store, days, until=NOW)
            for day in range(days * 4):
                at = NOW - timedelta(hours=6 * day)
                store.keep_issue("harbour", weather(at), at)
        tracemalloc.start()
        folder = export(config)
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        size = sum(file.stat().st_size for file in folder.iterdir())
        folder.rename(config.parent / f"out-{days}")
        return most, size

    export(config, code=2)  # what is imported once is no part of it
    (few, little), (many, much) = peak(3), peak(15)
    assert much > 3 * little
    # Five times the rows: held all at once they would take five times as much, and some caches fill while it goes.
    assert many < 2 * few
