"""Who is let in: the token, sessions that can be taken back, and no more than a few tries."""

import json
import stat

import pytest
from pydantic import SecretStr

from dryspell.clock import FixedClock
from dryspell.config.page import PageSettings
from dryspell.errors import ConfigError
from dryspell.web.gate import Gate
from dryspell.web.rates import MOST_KEPT, REST_S, TRIES, Tries
from dryspell.web.sessions import LASTS, MOST, Sessions
from yard import START

TOKEN = "b1f2-a-token-that-nobody-guesses"
HOME = "192.168.1.20"


class Stopwatch:
    s = 0.0

    def __call__(self):
        return self.s


@pytest.fixture
def stopwatch():
    return Stopwatch()


@pytest.fixture
def gate(tmp_path, stopwatch):
    return Gate(PageSettings(token=SecretStr(TOKEN)), FixedClock(START), tmp_path, stopwatch)


def test_no_page_is_open_to_other_machines_without_a_token(tmp_path):
    with pytest.raises(ConfigError, match="only with a token"):
        Gate(PageSettings(listen=("0.0.0.0", 0)), FixedClock(START), tmp_path)


def test_the_token_and_nothing_else_is_the_token(gate):
    assert gate.is_token(TOKEN, HOME)
    for wrong in ("", TOKEN[:-1], TOKEN + "x", TOKEN.upper(), "\ud800", "ü"):
        assert not gate.is_token(wrong, HOME)


def test_without_a_token_nothing_is_one(tmp_path):
    gate = Gate(PageSettings(), FixedClock(START), tmp_path)
    assert not gate.asks
    assert not gate.is_token("", HOME)
    assert gate.feed_key("/calendar/site/harbour.ics") == ""
    assert not gate.is_feed_key("/calendar/site/harbour.ics", "")


def test_after_a_few_wrong_tokens_an_address_rests_and_others_do_not(gate, stopwatch):
    for _ in range(TRIES):
        assert gate.rest_s(HOME) == 0
        gate.is_token("wrong", HOME)
    assert gate.rest_s(HOME) == REST_S
    assert gate.rest_s("192.168.1.21") == 0
    stopwatch.s += REST_S + 1
    assert gate.rest_s(HOME) == 0


def test_a_right_token_forgets_the_wrong_ones(gate):
    for _ in range(TRIES - 1):
        gate.is_token("wrong", HOME)
    gate.is_token(TOKEN, HOME)
    gate.is_token("wrong", HOME)
    assert gate.rest_s(HOME) == 0


def test_addresses_of_one_network_of_ipv6_count_as_one(stopwatch):
    tries = Tries(stopwatch)
    for k in range(TRIES):
        tries.failed(f"2001:db8:1:2::{k:x}")
    assert tries.rest_s("2001:db8:1:2:ffff::1") > 0
    assert tries.rest_s("2001:db8:1:3::1") == 0


def test_no_more_addresses_are_remembered_than_there_is_room_for(stopwatch):
    tries = Tries(stopwatch)
    for k in range(MOST_KEPT + 50):
        tries.failed(f"10.0.{k >> 8}.{k & 255}")
    assert len(tries._failed) == MOST_KEPT


def test_a_session_is_known_until_it_is_ended(gate):
    one, other = gate.begin(), gate.begin()
    assert one != other
    assert gate.is_session(one)
    gate.end(one)
    assert not gate.is_session(one)
    assert gate.is_session(other)
    gate.end_all()
    assert not gate.is_session(other)


def test_a_session_outlives_a_restart_and_its_file_lets_nobody_in(tmp_path, gate):
    name = gate.begin()
    file = tmp_path / "page-sessions.json"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert name not in file.read_text()
    assert TOKEN not in file.read_text()
    again = Gate(PageSettings(token=SecretStr(TOKEN)), FixedClock(START), tmp_path)
    assert again.is_session(name)
    assert again.form_token == gate.form_token
    assert not again.is_session(next(iter(json.loads(file.read_text())["until"])))


def test_a_session_ends_by_itself(tmp_path):
    clock = FixedClock(START)
    sessions = Sessions(tmp_path, clock.now)
    name = sessions.begin()
    clock.at = START + LASTS
    assert not sessions.knows(name)


def test_of_many_sessions_the_oldest_go(tmp_path):
    sessions = Sessions(tmp_path, FixedClock(START).now)
    for _ in range(MOST + 3):
        sessions.begin()
    assert len(json.loads((tmp_path / "page-sessions.json").read_text())["until"]) == MOST


@pytest.mark.parametrize(
    "kept", ["", "{", "[]", '{"form_key": "00", "until": {}}', '{"form_key": "zz"}', "x" * 300_000]
)
def test_a_file_of_sessions_that_cannot_be_read_is_begun_anew(tmp_path, kept):
    (tmp_path / "page-sessions.json").write_text(kept)
    sessions = Sessions(tmp_path, FixedClock(START).now)
    assert sessions.knows(sessions.begin())


def test_where_sessions_cannot_be_kept_they_are_still_remembered(tmp_path, caplog):
    sessions = Sessions(tmp_path / "not there", FixedClock(START).now)
    assert sessions.knows(sessions.begin())
    assert "cannot be kept" in caplog.text


def test_the_form_to_log_in_with_is_marked_otherwise_than_those_that_change_something(gate):
    assert gate.is_form_token(gate.form_token)
    assert not gate.is_form_token(gate.login_token)
    assert gate.is_form_token(gate.login_token, of_login=True)
    assert not gate.is_form_token("")


def test_the_key_of_a_feed_opens_that_feed_alone(gate):
    key = gate.feed_key("/calendar/site/harbour.ics")
    assert gate.is_feed_key("/calendar/site/harbour.ics", key)
    assert not gate.is_feed_key("/calendar/site/orchard.ics", key)
    assert TOKEN not in key
