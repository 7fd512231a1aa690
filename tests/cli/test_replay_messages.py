"""The messages of a replay in figures, on a terminal and as JSON."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from dryspell.alerts.kinds import Kind
from dryspell.alerts.model import Notice, Why
from dryspell.cli.replay_messages import by_piece, message_lines, messages_document
from dryspell.cli.show import WIDTH
from dryspell.outlook.fate import Fate
from dryspell.replay.account import Account, CoatAccount, Finisher, Replayed, Said
from replay.conftest import config_of

BEGIN = datetime(2013, 6, 1, 4, tzinfo=UTC)
"""Midnight of a Saturday at the place."""
HOUR = timedelta(hours=1)


def said(hours, kind, **more):
    at = BEGIN + hours * HOUR
    part = Notice(key="k", kind=kind, why=Why.AHEAD, piece="rail", coat=1, created_at=at, expires_at=at, **more)
    return Said(at, "rail", kind, "title", "body", (part,))


@pytest.fixture
def came():
    """Three days: a coat on each of two that met sun and dew, of which one was told of."""
    coats = tuple(
        CoatAccount(
            number, BEGIN + at * HOUR, BEGIN + (at + 1) * HOUR, Fate.DEW, BEGIN + 20 * HOUR, {fate: BEGIN + met * HOUR}
        )
        for number, at, fate, met in ((1, 9, Fate.DEW, 20), (2, 33, Fate.HEAT, 36))
    )
    gauge = Account(coats, ())
    return Replayed(
        begin=BEGIN,
        end=BEGIN + timedelta(days=3),
        accounts={"rail": {Finisher.OBEYS: Account((), ()), Finisher.GAUGE: gauge}},
        said=(said(17, Kind.FILM_RISK, hazard="dew"), said(18, Kind.TOMORROW), said(60, Kind.READY_TO_SAND)),
        ticks=72,
        enters=Finisher.GAUGE,
    )


def test_a_terminal_shows_the_median_what_was_told_in_time_and_each_week_by_kind(came, tmp_path):
    lines = list(message_lines(config_of(tmp_path, "rail"), came, with_weeks=True))
    assert " ".join(lines[:-2]) == (
        "Rail. Messages a day: 1 by the median of 3 days, 2 at the most. Turned to its contrary within six hours: "
        "nothing. Of the 2 dangers that reached a wet film it told: 1 45 min before or sooner, 1 not at all."
    )
    assert lines[-2:] == ["  Mon 27 May   2  1 film risk, 1 tomorrow", "  Mon 3 Jun    1  1 ready to sand"]
    assert all(len(line) <= WIDTH for line in lines)
    assert len(list(message_lines(config_of(tmp_path, "rail"), came, with_weeks=False))) == len(lines) - 2


def test_a_document_has_the_same_for_other_programs(came, tmp_path):
    document = json.loads(json.dumps(messages_document(by_piece(config_of(tmp_path, "rail"), came)["rail"])))
    assert document["weeks"] == [
        {"week_of": "2013-05-27", "kinds": {"film_risk": 1, "tomorrow": 1}},
        {"week_of": "2013-06-03", "kinds": {"ready_to_sand": 1}},
    ]
    assert document["a_day"] == {"median": 1.0, "most": 2}
    assert document["most_turns_in_6_h"] == 0
    assert document["reached"] == [
        {
            "coat": 1, "hazard": "dew", "at": "2013-06-02T00:00:00Z", "told_at": "2013-06-01T21:00:00Z",
            "told": "ahead",
        },
        {"coat": 2, "hazard": "sun", "at": "2013-06-02T16:00:00Z", "told_at": None, "told": "never"},
    ]  # fmt: skip
