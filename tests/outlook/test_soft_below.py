"""A coat on the soft one below, a least time of its own, and a build-up of several coatings, in an outlook."""

from datetime import timedelta

import pytest

from dryspell.outlook.model import Coat, Limit
from dryspell.outlook.outlook import make_outlook
from dryspell.trade.families import family
from dryspell.trade.system import Step, lays_of
from outlook.build import MONDAY, built, piece, site, weather

CLEAR = family("pu_clear_2k")
SEALER = family("epoxy_sealer_2k")
FAIR = weather(days=9, cloud=100, air=(18, 18.5), dew_c=6.0)
NINE = MONDAY + timedelta(hours=9)


def look(lays, *, below=NINE, after=timedelta(minutes=15), **changes):
    door = piece(face="vertical", facing="N", body="door", brush_time="45 min", **changes)
    coats = [Coat(piece="rail", number=1, finished_at=below, recorded_at=below)]
    return make_outlook(door, site(), lays, coats, FAIR, below + after, stale_after_h=999)


def starts_of(outlook, day):
    begin = MONDAY + timedelta(days=day)
    return [(w.start, w.last_start) for w in outlook.windows if begin <= w.start < begin + timedelta(days=1)]


def test_a_hot_coat_goes_on_between_the_opening_and_the_closing_of_the_soft_one():
    """At 18 degC the two-part clear is open to the next from 3 h to 24 h (common practice, no source)."""
    (start, last), *_ = starts_of(look(built(CLEAR, hot=True)), 0)
    assert abs(start - (NINE + timedelta(hours=3))) <= timedelta(minutes=15)
    assert last < MONDAY + timedelta(hours=19)


def test_without_hot_it_waits_until_it_is_sandable():
    outlook = look(built(CLEAR))
    assert starts_of(outlook, 0) == []
    assert outlook.reason.limit is Limit.COAT_BELOW
    # 20 h at 18 degC: before the next morning.
    assert starts_of(outlook, 1)


def test_a_brush_that_would_be_out_past_the_closing_waits_until_it_is_hard():
    """Closing at 18 degC is a day (common practice, no source), sandable 20 h: one laid soft is sandable meanwhile."""
    quick = CLEAR.model_copy(update={"hot_close": ((18.0, 5.0),)})
    (start, last), *_ = starts_of(look(built(quick, hot=True)), 0)
    assert last - start <= timedelta(hours=1, minutes=15)
    assert last + timedelta(minutes=45) <= NINE + timedelta(hours=5)


def test_ordinary_varnish_has_no_soft_opening_whatever_the_system_says():
    assert starts_of(look(built(hot=True)), 0) == []


def test_what_the_sheet_asks_of_the_coat_below_stands_in_the_place_of_sandable():
    """Varnish over epoxy: days, not hours (a retailer: 5 to 7 days by product and temperature)."""
    varnish = built()[0].coating
    steps = [Step(coating=SEALER.key), Step(coating=varnish.key, times=3, after={"18 degC": "3 d"})]
    lays = lays_of(steps, {SEALER.key: SEALER, varnish.key: varnish})
    outlook = look(lays)
    assert (outlook.coating, outlook.film.coat.number) == (varnish.key, 1)
    assert outlook.windows[0].start >= NINE + timedelta(days=3) - timedelta(hours=4)
    sooner = lays_of([Step(coating=SEALER.key), Step(coating=varnish.key)], {SEALER.key: SEALER, varnish.key: varnish})
    assert look(sooner).windows[0].start < NINE + timedelta(days=2)
    # The film dries as the coating it is of, not as the next one.
    assert look(sooner).film.stages.sandable - NINE == pytest.approx(timedelta(hours=24), abs=timedelta(hours=1))


def test_the_build_up_ends_with_the_last_coat_of_the_system():
    door = piece(face="vertical", facing="N", body="door", done=2)
    assert make_outlook(door, site(), built(coats=2), [], FAIR, NINE, stale_after_h=999).reason.limit is Limit.BUILT_UP
