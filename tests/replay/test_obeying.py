"""A finisher who does what the last alert said, within the hours it named, and covers a wet film when told."""

from datetime import timedelta

import pytest

from dryspell.alerts.kinds import Kind
from dryspell.alerts.model import Notice, Why
from dryspell.outlook.model import Limit, Reason, Stages, Window
from dryspell.replay.obeying import Told, Warned
from yard import START

HOUR = timedelta(hours=1)


def window(first, last, *, word="coat", good=None, tight=0, odds=None):
    """A window from some hours after START to others; `tight` hours at its end need all of the forecast."""
    return Window(
        start=START + first * HOUR,
        last_start=START + last * HOUR,
        good_from=None if good is None else START + good * HOUR,
        brush_down_by=START + (last - tight + 1) * HOUR,
        tight_until=START + (last + 1) * HOUR,
        word=word,
        best_start=START + first * HOUR,
        probability=odds,
        binding=Reason(limit=Limit.RAIN),
        margin_apply_k=5.0,
        margin_hold_k=3.0,
        surface_c=18.0,
        humidity_pct=60.0,
        stages=Stages(),
    )


def notice(kind, *windows):
    return Notice(
        key="k", kind=kind, why=Why.OPEN, piece="rail", coat=1, windows=windows, created_at=START, expires_at=START
    )


def hours_of(told):
    return [hour for hour in range(12) if told.begins_by_now(START + hour * HOUR)]


@pytest.fixture
def told():
    return Told(takes_tight=True)


def test_nothing_is_begun_before_anything_was_said(told):
    assert hours_of(told) == []


def test_tomorrow_alone_is_not_now(told):
    told.hear(notice(Kind.TOMORROW, window(2, 4)))
    assert hours_of(told) == []


def test_coat_now_holds_within_its_hours_and_no_longer(told):
    told.hear(notice(Kind.COAT_NOW, window(0, 3), window(5, 6)))
    assert hours_of(told) == [0, 1, 2, 3, 5, 6]


def test_wait_ends_it_and_names_what_holds_instead(told):
    told.hear(notice(Kind.COAT_NOW, window(0, 5)))
    told.hear(notice(Kind.WAIT, window(7, 8)))
    assert hours_of(told) == [7, 8]
    told.hear(notice(Kind.WAIT))
    assert hours_of(told) == []


def test_no_weather_ends_it(told):
    told.hear(notice(Kind.COAT_NOW, window(0, 5)))
    told.hear(notice(Kind.WEATHER_LOST))
    assert hours_of(told) == []


def test_by_odds_the_good_hours_of_a_window_are_waited_for_and_without_odds_any_will_do(told):
    told.hear(notice(Kind.COAT_NOW, window(0, 5, good=2, tight=1, odds=0.9)))
    assert hours_of(told) == [2, 3, 4]
    told.hear(notice(Kind.COAT_NOW, window(0, 5, good=2, tight=1)))
    assert hours_of(told) == [0, 1, 2, 3, 4, 5]


def test_a_window_that_is_tight_all_through_is_taken_as_it_is(told):
    told.hear(notice(Kind.COAT_NOW, window(1, 4, word="tight", odds=0.7)))
    assert hours_of(told) == [1, 2, 3, 4]


def test_who_does_not_take_tight_hours_keeps_to_the_good_ones():
    told = Told(takes_tight=False)
    told.hear(notice(Kind.COAT_NOW, window(0, 5, good=1, tight=2), window(6, 9, word="tight")))
    assert hours_of(told) == [1, 2, 3]


def danger(kind, hazard, at):
    return Notice(
        key="k",
        kind=kind,
        why=Why.AHEAD,
        piece="rail",
        coat=2,
        hazard=hazard,
        at=START + at * HOUR,
        created_at=START,
        expires_at=START,
    )


def test_hours_still_to_come_begin_now_at_the_soonest(told):
    told.hear(notice(Kind.COAT_NOW, window(0, 3), window(5, 6)))
    assert told.hours_after(START + 2 * HOUR) == [
        (START + 2 * HOUR, START + 3 * HOUR),
        (START + 5 * HOUR, START + 6 * HOUR),
    ]
    assert told.hours_after(START + 7 * HOUR) == []


def test_a_film_is_covered_until_the_last_of_what_was_told_of_comes():
    warned = Warned(shade=True)
    assert warned.covers_by is None
    warned.hear(danger(Kind.FILM_RISK, "dew", 5))
    warned.hear(danger(Kind.FILM_RISK, "rain", 3))
    assert warned.covers_by == START + 5 * HOUR
    warned.hear(danger(Kind.RISK_OVER, "dew", 5))
    assert warned.covers_by == START + 3 * HOUR
    warned.forget()
    assert warned.covers_by is None


def test_against_the_sun_the_cover_is_for_where_no_shade_can_be_hung():
    for shade, covers_by in ((True, None), (False, START + HOUR)):
        warned = Warned(shade=shade)
        warned.hear(danger(Kind.FILM_RISK, "sun", 1))
        assert warned.covers_by == covers_by


def test_no_cover_goes_on_for_a_word_to_coat():
    warned = Warned(shade=False)
    warned.hear(notice(Kind.COAT_NOW, window(0, 3)))
    assert warned.covers_by is None
