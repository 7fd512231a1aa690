"""What the daemon says, stage by stage, when the weather service fails in each of the ways that services do.

Each row begins with an hour-old good answer, meets one fault at a real socket, and goes on until the answer is too old.
"""

import gzip
import json
import logging
import random
import re
import socket
import threading
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
import requests
import responses

from dryspell.alerts.deliver import Delivery
from dryspell.clock import FixedClock
from dryspell.config import parse
from dryspell.store import Store
from dryspell.tick.gather import Gatherer
from dryspell.tick.round import Round
from dryspell.tick.sources import sources_of
from dryspell.weather import exchange
from dryspell.weather.http import HttpCache
from dryspell.weather.sources.open_meteo import OpenMeteo
from yard import Taken

START = datetime(2026, 6, 2, 8, tzinfo=UTC)  # ten in the morning at the pieces
HOUR, MINUTE = timedelta(hours=1), timedelta(minutes=1)
CONFIG = """
state = "{state}"
contact = "you@example.org"
site.harbour = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }}
piece.rail = {{ name = "Rail", shelter = "shed", coating = "oil_varnish_1k", coats = 8, done = 3 }}
alert.phone = {{ url = "json://127.0.0.1:1/" }}
{more}
"""
MILD = {
    "temperature_2m": ("°C", 18.0),
    "relative_humidity_2m": ("%", 55),
    "precipitation": ("mm", 0.0),
    "wind_speed_10m": ("m/s", 2.0),
    "cloud_cover": ("%", 40),
}


def forecast(at=START, days=16):
    """Mild, dry weather from two days before on, as Open-Meteo words it."""
    first = int((at - timedelta(days=2)).replace(hour=0).timestamp())
    hours = 24 * (days + 2)
    return {
        "hourly_units": {"time": "unixtime", **{name: unit for name, (unit, _) in MILD.items()}},
        "hourly": {
            "time": [first + 3600 * hour for hour in range(hours)],
            **{name: [value] * hours for name, (_, value) in MILD.items()},
        },
    }


BODY = json.dumps(forecast()).encode()


# --- what a server may do ---


def replies(status, body=b"", **headers):
    def act(handler):
        handler.send_response(status)
        for name, value in headers.items():
            handler.send_header(name.replace("_", "-"), value)
        handler.end_headers()
        handler.wfile.write(body)

    return act


def says_nothing(handler):
    handler.server.leaving.wait(20)


def packed(body, *, sent=1.0, told=None):
    """Send part of a packed body, and say it is as long as `told` of the whole."""
    whole = gzip.compress(body)
    part = whole[: int(len(whole) * sent)]
    length = len(part) if told is None else int(len(whole) * told)
    return replies(200, part, Content_Encoding="gzip", Content_Length=str(length), Content_Type="application/json")


@contextmanager
def serving(*acts):
    """Serve one act a request, the last for all further ones, on a port of the loopback; yield it and the requests."""
    asked = []

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(dict(self.headers))
            acts[min(len(asked), len(acts)) - 1](self)

        def log_message(self, *_):
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        server.daemon_threads, server.block_on_close, server.leaving = False, True, threading.Event()
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        try:
            yield server.server_port, asked
        finally:
            server.leaving.set()
            server.shutdown()
            thread.join()


@contextmanager
def full():
    """Listen on a port whose queue is full: a further connection is neither taken nor refused."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen(0)
        waiting = [socket.socket() for _ in range(4)]
        for each in waiting:
            each.setblocking(False)
            each.connect_ex(listening.getsockname())
        try:
            yield listening.getsockname()[1]
        finally:
            for each in waiting:
                each.close()


# --- a daemon over one of them ---


class Yard:
    """A round of the daemon over a source that asks `base`, and what it says."""

    def __init__(self, folder, base, caplog, timeout):
        self.config = parse(
            CONFIG.format(state=folder / "state", more="weather.members = 1"), folder / "yard.toml", env={}
        )
        self.clock = FixedClock(START)
        self.store = Store(self.config.state_dir / "dryspell.sqlite3")
        self.base = base
        self.caplog = caplog
        self.timeout = timeout
        self.slept = []
        self.sender = Taken()
        self.begin()

    def begin(self):
        """Start as a new process would, on the state that is there."""
        http = HttpCache(
            self.config.state_dir / "weather",
            contact="you@example.org",
            min_interval_s=1800.0,
            timeout=self.timeout,
            sleep=self.slept.append,
            jitter=lambda ceiling: ceiling,
        )
        self.source = OpenMeteo(54.3, 10.2, http, base_url=self.base)
        self.gatherer = Gatherer(self.config, self.store, self.clock, {"harbour": self.source}, random.Random(1))
        delivery = Delivery(self.store, self.sender, self.config.alerts, self.clock, random.Random(1))
        self.round = Round(self.config, self.store, self.clock, self.gatherer, delivery)
        self.delivery = delivery

    def prime(self, **headers):
        """Have the first answer come as it should, and see the daemon go by it."""
        with responses.RequestsMock() as web:
            web.get(f"{self.base}/v1/forecast", body=BODY, headers=headers)
            seen = self.look()
        assert (seen.word, seen.weather.age_h) == ("coat", 0.0)

    def look(self):
        self.caplog.clear()
        seen = self.round.run(fetch_wait_s=30)
        assert self.delivery.wait(30)
        return seen.outlooks[0]

    def after(self, later, *, ask=True):
        self.clock.at = START + later
        if ask:
            self.gatherer.refetch()
        return self.look()

    def logged(self):
        """What was logged of the weather, without where it is from."""
        lines = [record.getMessage() for record in self.caplog.records]
        return [line.replace("127.0.0.1", "HOST") for line in lines if line.startswith("weather for harbour: ")]

    def titles(self):
        return titles(self.sender)


def titles(sender):
    """What was sent, without the hour in "Coat now, brush down by ..."."""
    return [re.sub("^Coat now.*: ", "Coat now: ", title) for _, title, _ in sender.took]


@pytest.fixture
def yard(tmp_path, caplog):
    made = []
    caplog.set_level(logging.INFO, "dryspell")

    def make(base, timeout=(20.0, 20.0)):
        made.append(Yard(tmp_path, base, caplog, timeout))
        return made[-1]

    yield make
    for each in made:
        each.store.close()


def assert_told_as_it_ages(yard, reason):
    """The fault is logged after an hour, and the good answer serves until it is six hours old."""
    seen = yard.after(HOUR)
    assert (seen.word, seen.weather.age_h) == ("coat", 1.0)
    assert yard.logged() == [f"weather for harbour: {reason}; the answer of 2026-06-02T08:00Z is used instead, 1 h old"]
    for minutes in (5, 10, 60, 180):
        assert yard.after(HOUR + minutes * MINUTE, ask=False).word == "coat"
        assert yard.logged() == []  # it is said once
    assert_stale(yard)


def assert_stale(yard):
    seen = yard.after(timedelta(hours=6, minutes=1))
    assert (seen.word, seen.reason.value, seen.reason.bound, seen.windows) == ("unknown", 6.0, 6.0, ())
    assert yard.titles() == ["Coat now: Rail", "Wait, no weather to go by: Rail"]


def assert_told_without_any(yard, reason):
    """Where nothing has come yet there is no verdict, and the log says why, once."""
    seen = yard.look()
    assert (seen.word, seen.weather) == ("unknown", None)
    (line,) = yard.logged()
    assert line.startswith(f"weather for harbour: {reason}; not asked again before 2026-06-02T0")
    assert line.endswith("Z; there is none from before either")
    assert yard.after(10 * MINUTE, ask=False).word == "unknown"
    assert yard.logged() == []
    assert yard.titles() == []


HTML = b"<html><body>Please sign in to the harbour's network</body></html>"
HOURLY = b'{"error":true,"reason":"Hourly API request limit exceeded. Please try again in the next hour."}'
NO_KEY = b'{"error":true,"reason":"No valid API key"}'
CUT = len(BODY) // 2

# What the server does, and what is said of it. A fault that may pass is tried four times in all.
FAULTS = {
    "403": (replies(403, NO_KEY), "HOST refused the request (status 403): No valid API key", 1),
    "429 with Retry-After": (
        replies(429, HOURLY, Retry_After="1200"),
        (
            "HOST has had too many requests (status 429): "
            "Hourly API request limit exceeded. Please try again in the next hour."
        ),
        1,
    ),
    "429 without": (
        replies(429, HOURLY),
        (
            "HOST has had too many requests (status 429): "
            "Hourly API request limit exceeded. Please try again in the next hour."
        ),
        1,
    ),
    "500": (replies(500), "HOST is out of order (status 500)", 4),
    "packed, with its end missing": (packed(BODY, sent=0.5, told=1.0), "HOST broke off in the middle of its answer", 4),
    "not packed as it says": (
        replies(200, BODY, Content_Encoding="gzip"),
        "HOST sent an answer that cannot be unpacked",
        1,
    ),
    "half an answer": (
        replies(200, BODY[:CUT]),
        f"Open-Meteo's answer stops in the middle, after {len(BODY[:CUT].decode())} characters",
        1,
    ),
    "a page that calls itself JSON": (
        replies(200, HTML, Content_Type="application/json"),
        "Open-Meteo sent a web page instead of a forecast",
        1,
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_said_once_and_the_last_answer_serves_until_it_is_too_old(yard, fault):
    act, reason, tries = FAULTS[fault]
    with serving(act) as (port, asked):
        here = yard(f"http://127.0.0.1:{port}")
        here.prime()
        assert_told_as_it_ages(here, reason)
        assert asked
        assert len(asked) % tries == 0


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_at_the_first_start_leaves_no_verdict(yard, fault):
    act, reason, tries = FAULTS[fault]
    with serving(act) as (port, asked):
        assert_told_without_any(yard(f"http://127.0.0.1:{port}"), reason)
        assert len(asked) % tries == 0


def test_a_packed_answer_that_ends_early_by_its_own_word_is_no_answer(yard):
    # The unpacker takes what there is of it without a word; that the JSON is cut is what shows.
    with serving(packed(BODY, sent=0.7)) as (port, _):
        here = yard(f"http://127.0.0.1:{port}")
        here.prime()
        assert here.after(HOUR).weather.age_h == 1.0
        (line,) = here.logged()
        assert line.startswith("weather for harbour: Open-Meteo's answer ")
        assert_stale(here)


def test_an_answer_that_does_not_come_in_time(yard):
    with serving(says_nothing) as (port, asked):
        here = yard(f"http://127.0.0.1:{port}", timeout=(20.0, 0.05))
        here.prime()
        assert_told_as_it_ages(here, "HOST did not answer within 0.05 s")
        assert asked
        assert len(asked) % 4 == 0


def test_a_connection_that_is_not_taken_in_time(yard):
    with full() as port:
        here = yard(f"http://127.0.0.1:{port}", timeout=(0.05, 20.0))
        here.prime()
        assert_told_as_it_ages(here, "HOST cannot be reached")


def test_nobody_listening(yard):
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    here = yard(f"http://127.0.0.1:{port}")
    here.prime()
    assert_told_as_it_ages(here, "HOST cannot be reached")


def test_a_name_that_cannot_be_looked_up(yard, monkeypatch):
    def unknown(*_, **__):
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    here = yard("http://weather.invalid")  # a name that RFC 6761 keeps from ever being one
    here.prime()
    monkeypatch.setattr(socket, "getaddrinfo", unknown)
    assert_told_as_it_ages(here, "weather.invalid cannot be found: its name is unknown here, as without internet")


def test_a_server_that_speaks_no_tls(yard):
    with serving(replies(200, BODY)) as (port, _):
        here = yard(f"https://127.0.0.1:{port}")
        here.prime()
        assert_told_as_it_ages(here, "no secure connection to HOST can be made")


def test_an_answer_that_has_not_changed_serves_without_a_word_but_does_not_grow_younger(yard):
    with serving(replies(304)) as (port, asked):
        here = yard(f"http://127.0.0.1:{port}")
        here.prime(ETag='"a"')
        seen = here.after(HOUR)
        assert (seen.word, seen.weather.age_h) == ("coat", 1.0)
        assert here.logged() == []
        assert asked[0]["If-None-Match"] == '"a"'
        assert_stale(here)


def test_a_server_that_is_good_again_at_the_next_try_is_not_even_mentioned(yard):
    with serving(replies(500), replies(500), replies(200, BODY)) as (port, asked):
        here = yard(f"http://127.0.0.1:{port}")
        here.prime()
        seen = here.after(HOUR)
        assert (seen.word, seen.weather.age_h) == ("coat", 0.0)
        assert here.logged() == []
        assert (len(asked), here.slept) == (3, [1.0, 2.0])


def test_json_that_calls_itself_a_page_is_read_all_the_same(yard):
    with serving(replies(200, BODY, Content_Type="text/html")) as (port, _):
        here = yard(f"http://127.0.0.1:{port}")
        assert here.look().word == "coat"
        assert here.logged() == []


@pytest.mark.parametrize(
    ("headers", "asked_at"),
    [
        # Retry-After: after the 20 minutes it names.
        ({"Retry_After": "1200"}, [60, 80]),
        # Without: by the wording, two minutes after the next full hour; the spread of 30 s is drawn at its longest.
        ({}, [60, 123]),
    ],
)
def test_after_a_429_the_service_is_left_alone_for_as_long_as_it_asks(yard, headers, asked_at):
    with serving(replies(429, HOURLY, **headers)) as (port, asked):
        here = yard(f"http://127.0.0.1:{port}")
        here.prime()
        seen_at = []
        for minutes in (60, 70, 79, 80, 100, 120, 122, 123):
            before = len(asked)
            here.after(minutes * MINUTE)
            if len(asked) > before:
                seen_at.append(minutes)
        assert seen_at[: len(asked_at)] == asked_at


def test_the_end_of_a_fault_is_said_and_the_verdict_is_back(yard):
    with serving(replies(403), replies(200, BODY)) as (port, _):
        here = yard(f"http://127.0.0.1:{port}")
        here.prime()
        here.after(HOUR)
        seen = here.after(2 * HOUR)
        assert (seen.word, seen.weather.age_h) == ("coat", 0.0)
        assert here.logged() == ["weather for harbour: in order again"]


# --- all sources down for 26 hours ---

TWO_SOURCES = """
[weather]
members = 1
sources = ["open-meteo", "open-meteo-ensemble"]
open-meteo.base_url = "http://127.0.0.1:{one}"
open-meteo-ensemble.base_url = "http://127.0.0.1:{other}"
"""


class Day:
    """A day and more of the daemon with two services, a look every quarter of an hour."""

    def __init__(self, folder, monkeypatch):
        monkeypatch.setattr(exchange, "BACKOFF_S", 0.0)
        with socket.create_server(("127.0.0.1", 0)) as one, socket.create_server(("127.0.0.1", 0)) as other:
            ports = {"one": one.getsockname()[1], "other": other.getsockname()[1]}
        self.bases = [f"http://127.0.0.1:{port}" for port in ports.values()]
        more = TWO_SOURCES.format(**ports)
        self.config = parse(CONFIG.format(state=folder / "state", more=more), folder / "yard.toml", env={})
        self.clock = FixedClock(START)
        self.sender = Taken()
        self.words = {}
        self.ages = {}
        self.begin()

    def begin(self):
        self.store = Store(self.config.state_dir / "dryspell.sqlite3")
        self.gatherer = Gatherer(
            self.config, self.store, self.clock, sources_of(self.config, self.store), random.Random(1)
        )
        self.delivery = Delivery(self.store, self.sender, self.config.alerts, self.clock, random.Random(1))
        self.round = Round(self.config, self.store, self.clock, self.gatherer, self.delivery)

    def run(self, first_h, last_h, *, up):
        """Look every quarter of an hour, with both services down or up."""
        for quarter in range(int(first_h * 4), int(last_h * 4)):
            self.clock.at = START + quarter * 15 * MINUTE
            if up:
                with responses.RequestsMock(assert_all_requests_are_fired=False) as web:
                    web.get(f"{self.bases[0]}/v1/forecast", json=forecast(self.clock.at))
                    web.get(f"{self.bases[1]}/v1/ensemble", json=forecast(self.clock.at))
                    outlook = self.round.run(fetch_wait_s=30).outlooks[0]
            else:
                outlook = self.round.run(fetch_wait_s=30).outlooks[0]
            assert self.delivery.wait(30)
            self.words[quarter / 4] = outlook.word
            self.ages[quarter / 4] = outlook.weather.age_h if outlook.weather else None

    def words_at(self, first_h, last_h):
        return {word for at, word in self.words.items() if first_h <= at < last_h}


@pytest.fixture
def day(tmp_path, monkeypatch):
    made = Day(tmp_path, monkeypatch)
    yield made
    made.store.close()


def test_with_all_sources_down_for_26_hours_nobody_is_told_to_coat_on_what_is_too_old(day, caplog):
    caplog.set_level(logging.INFO, "dryspell")
    day.run(0, 1, up=True)
    assert day.words_at(0, 1) == {"coat"}
    caplog.clear()
    day.run(1, 27, up=False)

    # Until the answer is six hours old it serves; from then on there is no verdict, also in the hours of the next
    # morning at which the day before it said to coat.
    assert day.words_at(1, 6) == {"coat"}
    assert day.words_at(6.25, 27) == {"unknown"}
    assert not [at for at, word in day.words.items() if word == "coat" and day.ages[at] > 6.0]
    assert day.ages[26.75] == 26.75

    # What was sent: that it may begin, once that there is nothing to go by any more, and once which services fail.
    lost = "Wait, no weather to go by: Rail"
    down = ["No weather from open-meteo", "No weather from open-meteo-ensemble"]
    assert sorted(titles(day.sender)) == sorted(["Coat now: Rail", lost, *down])
    body = next(body for _, title, body in day.sender.took if title == lost)
    assert "No verdict is given on that" in body

    # What was logged: the first fault of each kind once, not at each of the 104 looks.
    lines = [record.getMessage() for record in caplog.records if record.getMessage().startswith("weather for")]
    assert len(lines) <= 4
    assert "127.0.0.1 cannot be reached" in lines[0]
    assert "the answer of 2026-06-02T08:00Z is used instead" in lines[0]


def test_a_restart_in_the_middle_of_it_changes_nothing(day):
    day.run(0, 1, up=True)
    day.run(1, 4, up=False)
    day.store.close()
    day.begin()
    day.run(4, 8, up=False)
    assert day.words_at(1, 6) == {"coat"}
    assert day.words_at(6.25, 8) == {"unknown"}


def test_with_the_sources_up_the_same_hours_are_judged_and_after_an_outage_they_are_again(day, caplog):
    caplog.set_level(logging.INFO, "dryspell")
    day.run(0, 0.25, up=True)
    day.run(22, 23, up=False)
    assert day.words_at(22, 23) == {"unknown"}
    caplog.clear()
    day.run(23, 26, up=True)
    assert day.words_at(23.25, 26) == {"coat"}
    lines = [record.getMessage() for record in caplog.records if record.getMessage().startswith("weather for")]
    assert lines == ["weather for harbour: in order again"]


def test_where_only_the_first_is_down_the_second_keeps_the_verdict_alive(day):
    day.run(0, 0.25, up=True)
    for quarter in range(1, 4 * 12):
        day.clock.at = START + quarter * 15 * MINUTE
        with responses.RequestsMock(assert_all_requests_are_fired=False) as web:
            web.get(f"{day.bases[0]}/v1/forecast", body=requests.exceptions.ConnectionError())
            web.get(f"{day.bases[1]}/v1/ensemble", json=forecast(day.clock.at))
            outlook = day.round.run(fetch_wait_s=30).outlooks[0]
        assert outlook.word != "unknown", day.clock.at
        assert outlook.weather.age_h <= 6.0
    assert outlook.weather.source == "Open-Meteo ensemble"
    assert outlook.weather.notes[0].startswith("open-meteo: its weather of 2026-06-02T08:00Z is not within the 6 h")
