import logging
import random
import re
import threading
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from dryspell.alerts.deliver import Delivery
from dryspell.alerts.memory import PieceMemory
from dryspell.clock import FixedClock
from dryspell.errors import StoreError
from dryspell.outlook.model import Coat
from dryspell.store import Store
from dryspell.tick import alike
from dryspell.tick.gather import Gatherer
from dryspell.tick.look import look
from dryspell.tick.round import Round
from dryspell.tick.saying import held_back
from dryspell.tick.since import since_of
from dryspell.tick.sources import sources_of
from dryspell.weather.sources.open_meteo import OpenMeteo
from dryspell.weather.sources.table_file import TableFile
from yard import START, FakeSource, Taken, config, down, weather


@pytest.fixture
def store(tmp_path):
    store = Store(tmp_path / "state" / "dryspell.sqlite3")
    yield store
    store.close()


@pytest.fixture
def clock():
    return FixedClock(START)


class Bench:
    """A round with everything it stands on."""

    def __init__(self, store, clock, folder, sources=None, more=""):
        self.config = config(folder, more)
        self.sources = sources or {"harbour": FakeSource(weather()), "orchard": FakeSource(weather())}
        self.gatherer = Gatherer(self.config, store, clock, self.sources, random.Random(1))
        self.sender = Taken()
        self.delivery = Delivery(store, self.sender, self.config.alerts, clock, random.Random(1))
        self.round = Round(self.config, store, clock, self.gatherer, self.delivery)

    def tick(self):
        seen = self.round.run(fetch_wait_s=30)
        assert self.delivery.wait(30)
        return seen

    def tables(self, since=None, wait_s=30):
        return self.gatherer.tables(since or {}, wait_s=wait_s)


@pytest.fixture
def bench(store, clock, tmp_path):
    return Bench(store, clock, tmp_path)


# --- look ---


def test_every_piece_is_looked_at_in_the_order_of_the_configuration(tmp_path):
    tables = {"harbour": weather(), "orchard": None}
    outlooks = look(config(tmp_path), {}, tables, START)
    assert [(o.piece, o.word) for o in outlooks] == [("rail", "coat"), ("bench", "unknown")]


def test_looking_twice_sees_the_same(tmp_path):
    tables = {"harbour": weather(), "orchard": weather()}
    assert look(config(tmp_path), {}, tables, START) == look(config(tmp_path), {}, tables, START)


def test_a_piece_that_cannot_be_judged_is_unknown_with_a_note_and_the_others_go_on(tmp_path, monkeypatch):
    real = alike.make_answer

    def brittle(piece, *rest, **more):
        if piece.key == "rail":
            raise ZeroDivisionError("in the middle of it")
        return real(piece, *rest, **more)

    monkeypatch.setattr(alike, "make_answer", brittle)
    tables = {"harbour": weather(), "orchard": weather()}
    failed = []
    on = Coat(piece="rail", number=5, finished_at=START, recorded_at=START)
    rail, bench = look(config(tmp_path), {"rail": [on]}, tables, START, lambda *error: failed.append(error))
    assert (rail.word, rail.next_coat, rail.windows) == ("unknown", 6, ())
    assert "could not be judged" in rail.weather.notes[-1]
    assert bench.word == "coat"
    assert [(piece, type(error)) for piece, error in failed] == [("rail", ZeroDivisionError)]
    with pytest.raises(ZeroDivisionError):
        look(config(tmp_path), {}, tables, START)


# --- gather ---


def test_a_source_is_asked_at_once_and_then_about_once_an_interval(bench, clock):
    source = bench.sources["harbour"]
    for _ in range(6 * 60):
        source.answer = replace(weather(), issued_at=clock.at)
        bench.tables()
        clock.at += timedelta(minutes=1)
    gaps = {b - a for a, b in zip(source.asked, source.asked[1:], strict=False)}
    assert source.asked[0] == START
    assert 5 <= len(source.asked) <= 7
    assert all(timedelta(minutes=54) <= gap <= timedelta(minutes=67) for gap in gaps)
    assert len(gaps) > 1


def test_a_source_that_serves_an_old_answer_is_asked_again_before_long(bench, clock):
    source = bench.sources["harbour"]
    source.answer = replace(weather(), issued_at=START - timedelta(hours=5))
    for _ in range(12):
        bench.tables()
        clock.at += timedelta(minutes=1)
    assert [asked - START for asked in source.asked] == [timedelta(minutes=at) for at in (0, 5, 10)]


def test_when_the_source_is_down_the_last_good_weather_serves_with_its_true_age(bench, clock):
    bench.tables()
    bench.sources["harbour"].answer = down()
    clock.at += timedelta(hours=3)
    table = bench.tables()["harbour"]
    assert table.issued_at == START
    assert table.source == "invented"


def test_a_restart_without_network_goes_on_from_what_was_kept(bench, store, clock, tmp_path):
    bench.tables()
    clock.at += timedelta(hours=2)
    gone = {"harbour": FakeSource(down()), "orchard": FakeSource(down())}
    tables = Bench(store, clock, tmp_path, gone).tables()
    assert tables["harbour"].issued_at == START
    assert tables["harbour"].attribution == "Weather by nobody"


def test_where_nothing_was_ever_got_there_is_no_weather(store, clock, tmp_path):
    gone = {"harbour": FakeSource(down()), "orchard": FakeSource(weather())}
    tables = Bench(store, clock, tmp_path, gone).tables()
    assert tables["harbour"] is None
    assert tables["orchard"] is not None


def test_a_source_that_asks_to_be_left_alone_is(store, clock, tmp_path):
    busy = FakeSource(down(retry_after_s=1200))
    bench = Bench(store, clock, tmp_path, {"harbour": busy, "orchard": FakeSource(weather())})
    for _ in range(25):
        bench.tables()
        clock.at += timedelta(minutes=1)
    assert busy.asked == [START, START + timedelta(minutes=20)]


def test_trouble_with_a_source_is_logged_once_and_so_is_its_end(store, clock, tmp_path, caplog):
    source = FakeSource(down())
    bench = Bench(store, clock, tmp_path, {"harbour": source, "orchard": FakeSource(weather())})
    with caplog.at_level(logging.INFO):
        for _ in range(30):
            bench.tables()
            clock.at += timedelta(minutes=1)
        source.answer = weather()
        for _ in range(30):
            bench.tables()
            clock.at += timedelta(minutes=1)
    assert [record.getMessage() for record in caplog.records] == [
        "weather for harbour: the service answers 503; there is none from before either",
        "weather for harbour: in order again",
    ]


def test_a_source_whose_code_fails_is_not_asked_again_at_every_tick(store, clock, tmp_path):
    source = FakeSource(ZeroDivisionError())
    bench = Bench(store, clock, tmp_path, {"harbour": source, "orchard": FakeSource(weather())})
    for _ in range(6):
        assert bench.tables()["harbour"] is None
        clock.at += timedelta(minutes=1)
    assert len(source.asked) == 2


def test_a_fetch_that_hangs_keeps_no_tick_waiting_and_is_used_when_it_comes(store, clock, tmp_path):
    hang = threading.Event()

    def slow():
        hang.wait(30)
        return weather()

    bench = Bench(store, clock, tmp_path, {"harbour": FakeSource(slow), "orchard": FakeSource(weather())})
    tables = bench.tables(wait_s=0.05)
    assert tables["harbour"] is None
    assert tables["orchard"] is not None
    hang.set()
    assert bench.gatherer.wait(30)
    assert bench.tables(wait_s=0)["harbour"] is not None
    assert len(bench.sources["harbour"].asked) == 1


def test_weather_that_was_met_stays_when_the_forecast_has_moved_on(bench, clock):
    cold = weather(air_temperature=7.0)
    bench.sources["harbour"].answer = cold
    bench.tables()
    clock.at += timedelta(days=4)
    bench.sources["harbour"].answer = weather(clock.at, first=clock.at)
    table = bench.tables({"harbour": START})["harbour"]
    air = dict(zip(table.times.tolist(), table.column("air_temperature")[0].tolist(), strict=True))
    met = [air[at] for at in sorted(air) if START <= at.replace(tzinfo=START.tzinfo) < clock.at]
    assert met == [7.0] * 96
    assert air[clock.at.replace(tzinfo=None)] == 18.0
    assert table.issued_at == clock.at


def test_weather_is_wanted_from_the_last_coat_on_and_two_days_at_the_least(tmp_path):
    def coat(piece, number, days_ago):
        at = START - timedelta(days=days_ago)
        return Coat(piece=piece, number=number, finished_at=at, recorded_at=at)

    settings = config(tmp_path, 'piece.mast = { site = "harbour", coating = "primer_1k" }')
    coats = {"rail": [coat("rail", 4, 30), coat("rail", 5, 9)], "mast": [coat("mast", 1, 20)], "bench": []}
    assert since_of(settings, coats) == {"harbour": START - timedelta(days=20)}


def test_weather_is_wanted_from_the_coat_under_the_last_one_if_that_followed_within_a_week(tmp_path):
    def since(days):
        last = START - timedelta(days=1)
        coats = [
            Coat(piece="rail", number=4 + k, finished_at=at, recorded_at=START)
            for k, at in enumerate((last - timedelta(days=days), last))
        ]
        return since_of(config(tmp_path), {"rail": coats})["harbour"]

    assert since(6) == START - timedelta(days=7)
    assert since(8) == START - timedelta(days=1)


def test_a_round_goes_by_the_pace_that_the_coats_taught(bench, store):
    def sandable():
        return next(outlook for outlook in bench.tick().outlooks if outlook.piece == "rail").film.stages.sandable

    laid = START - timedelta(hours=3)
    coat = store.add_coat(Coat(piece="rail", number=4, finished_at=laid, recorded_at=laid))
    before = sandable()
    other = store.add_coat(Coat(piece="bench", number=1, finished_at=laid, recorded_at=laid))
    store.see_sandable(other, START, coating="oil_varnish_1k", progress=1.5, recorded_at=START)
    # one coat, with a prior of two: 1.5 to the third part
    assert (sandable() - coat.finished_at) / (before - coat.finished_at) == pytest.approx(1.5 ** (1 / 3), abs=0.01)


def test_an_older_answer_does_not_take_the_place_of_a_newer_one(bench, clock):
    bench.tables()
    bench.sources["harbour"].answer = weather(START - timedelta(hours=5))
    clock.at += timedelta(hours=2)
    assert bench.tables()["harbour"].issued_at == START


def test_a_table_file_that_is_written_anew_is_taken_up(bench, clock):
    bench.tables()
    bench.sources["harbour"].answer = weather(air_temperature=9.0)
    clock.at += timedelta(hours=2)
    assert np.all(bench.tables()["harbour"].column("air_temperature")[0, 60:] == 9.0)


def test_sources_are_those_of_the_configuration(tmp_path):
    made = sources_of(config(tmp_path), None)
    assert {key: type(source) for key, source in made.items()} == {"harbour": OpenMeteo, "orchard": OpenMeteo}
    made = sources_of(config(tmp_path, 'weather = { sources = ["table"], file = "weather.csv" }'), None)
    assert {type(source) for source in made.values()} == {TableFile}


# --- round ---


def test_a_round_says_what_is_due_to_those_who_hear_of_the_piece_and_the_next_says_nothing(bench, clock):
    seen = bench.tick()
    assert [message.kind for message in seen.messages] == ["coat_now", "coat_now"]
    assert sorted((target, title.rpartition(": ")[2]) for target, title, _ in bench.sender.took) == [
        ("phone", "Bench"),
        ("phone", "Rail"),
        ("relay", "Rail"),
    ]
    clock.at += timedelta(minutes=1)
    assert bench.tick().messages == []
    assert len(bench.sender.took) == 3


MORE_TARGETS = """
alert.us = { url = "json://127.0.0.1:1/", units = "us", pieces = ["bench"] }
alert.urgent = { url = "json://127.0.0.1:1/", level = "wake" }
alert.kinds = { url = "json://127.0.0.1:1/", kinds = ["in_service"] }
alerts.link = "http://shed.local:8080"
"""


def test_each_target_is_told_of_what_it_hears_of_in_its_units(store, clock, tmp_path):
    bench = Bench(store, clock, tmp_path, more=MORE_TARGETS)
    bench.tick()
    by_target = {target: body for target, _, body in bench.sender.took}
    assert by_target.keys() == {"phone", "relay", "us"}
    assert re.search(r"Surface \d+ °F", by_target["us"])
    assert re.search(r"Surface [\d.]+ °C", by_target["phone"])
    assert "http://shed.local:8080/record/bench?coat=1" in by_target["us"]


def test_in_the_quiet_hours_of_a_target_its_messages_are_held_and_sent_after_them_if_they_still_hold(
    store, clock, tmp_path
):
    more = 'alert.late = { url = "json://127.0.0.1:1/", quiet = "10:00-13:00" }'
    bench = Bench(store, clock, tmp_path, more=more)  # it is 12:00 in Berlin
    bench.delivery = Delivery(
        store, bench.sender, bench.config.alerts, clock, random.Random(1), holds=held_back(bench.config)
    )
    bench.round = Round(bench.config, store, clock, bench.gatherer, bench.delivery)
    bench.tick()
    assert {target for target, *_ in bench.sender.took} == {"phone", "relay"}
    clock.at += timedelta(minutes=59)
    bench.tick()
    assert {target for target, *_ in bench.sender.took} == {"phone", "relay"}
    clock.at += timedelta(minutes=1)
    bench.tick()
    assert [target for target, *_ in bench.sender.took].count("late") == 2


def test_pieces_at_one_site_are_told_of_in_one_message_and_each_target_of_those_it_hears_of(store, clock, tmp_path):
    more = 'piece.mast = { name = "Mast", site = "harbour", shelter = "shed", coating = "oil_varnish_1k" }'
    bench = Bench(store, clock, tmp_path, more=more)
    said = bench.tick().messages
    assert [(message.kind, message.piece) for message in said] == [("coat_now", "rail"), ("coat_now", "bench")]
    titles = {(target, title.rpartition(": ")[2]) for target, title, _ in bench.sender.took}
    assert titles == {("phone", "2 pieces"), ("phone", "Bench"), ("relay", "Rail")}
    assert all("Mast" not in body for target, _, body in bench.sender.took if target == "relay")


def test_a_source_that_gives_nothing_for_three_hours_is_told(bench, clock):
    bench.tick()
    bench.sources["harbour"].answer = down()
    kinds = []
    for _ in range(20):
        clock.at += timedelta(minutes=15)
        kinds += [message.kind for message in bench.tick().messages]
    assert "source_failed" in kinds
    titles = [title for _, title, _ in bench.sender.took]
    assert "No weather from invented" in titles


def test_a_new_process_on_the_same_state_says_nothing_twice(bench, store, clock, tmp_path):
    bench.tick()
    clock.at += timedelta(minutes=1)
    second = Bench(store, clock, tmp_path)
    assert second.tick().messages == []
    assert second.sender.took == []


def test_a_coat_recorded_beside_the_daemon_moves_the_next_window(bench, clock, tmp_path):
    before = bench.tick().outlooks[0]
    other = Store(tmp_path / "state" / "dryspell.sqlite3")
    other.add_coat(Coat(piece="rail", number=4, finished_at=START, recorded_at=START))
    other.close()
    clock.at += timedelta(minutes=15)
    after = bench.tick().outlooks[0]
    assert (before.word, before.next_coat) == ("coat", 4)
    assert (after.word, after.next_coat) == ("wait", 5)
    assert after.windows[0].start >= after.film.stages.sandable


def test_stale_weather_is_unknown_and_never_coat(bench, clock):
    bench.tick()
    for source in bench.sources.values():
        source.answer = down()
    clock.at += timedelta(hours=6, minutes=1)
    seen = bench.tick()
    assert [o.word for o in seen.outlooks] == ["unknown", "unknown"]
    assert seen.outlooks[0].weather.age_h == pytest.approx(6.02, abs=0.01)


def test_when_the_state_cannot_be_written_nothing_is_said_and_the_next_round_says_it(bench, store, monkeypatch):
    @contextmanager
    def full():
        raise StoreError("the disk that holds the state file is full")
        yield

    bench.tables()
    with monkeypatch.context() as patched:
        patched.setattr(store, "_transaction", full)
        with pytest.raises(StoreError):
            bench.tick()
    assert bench.sender.took == []
    assert len(bench.tick().messages) == 2


def test_memory_that_cannot_be_read_is_begun_anew(bench, store, caplog):
    bench.tick()
    with store._transaction() as connection:
        connection.execute("UPDATE alert_memory SET memory = '{\"coat\": \"many\"}' WHERE piece = 'rail'")
    bench.tick()
    assert "what was said of rail cannot be read" in caplog.text
    assert len(bench.sender.took) == 3  # the same notice as before is not taken a second time


def test_what_is_remembered_is_neither_read_nor_written_again_while_it_stays(bench, store, monkeypatch):
    bench.tick()
    bench.tick()
    kept = store.memory()
    with monkeypatch.context() as patched:
        patched.setattr(PieceMemory, "model_dump_json", None)
        patched.setattr(PieceMemory, "model_validate_json", None)
        bench.tick()
    assert store.memory() == kept
    assert "rail" in kept


def test_a_verdict_is_logged_when_it_changes_and_not_at_every_tick(bench, clock, caplog):
    with caplog.at_level(logging.INFO, "dryspell.tick.round"):
        for _ in range(5):
            bench.tick()
            clock.at += timedelta(minutes=1)
    said = [r.getMessage() for r in caplog.records if not r.getMessage().startswith("to say")]
    assert len(said) == 2
    assert said[0].startswith("Rail: coat 4 now, brush down by")


def test_a_piece_that_cannot_be_judged_is_logged_once_whatever_the_words(bench, clock, caplog, monkeypatch):
    def broken(*_, **__):
        raise ZeroDivisionError(f"at {clock.at}")

    monkeypatch.setattr(alike, "make_answer", broken)
    for _ in range(3):
        bench.tick()
        clock.at += timedelta(minutes=1)
    assert [r.getMessage() for r in caplog.records if r.levelno >= logging.ERROR] == [
        "rail could not be judged",
        "bench could not be judged",
    ]
