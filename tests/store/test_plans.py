"""The last plan of each piece is kept."""

from datetime import timedelta

from dryspell.outlook.plan import make_plan
from outlook.build import MONDAY, built, piece, site, weather


def a_plan(now):
    fine = weather(days=8, air=(12.0, 20.0), dew_c=5.0, cloud=90.0)
    return make_plan(piece(coats=2), site(), built(coats=2), [], fine, now, stale_after_h=999)


def test_a_plan_comes_back_as_it_was_kept_and_the_last_one_counts(store):
    first, later = (a_plan(MONDAY + timedelta(hours=hours)) for hours in (6, 30))
    store.keep_plans([first])
    assert store.plans() == {"rail": first}
    assert first.planned
    store.keep_plans([later])
    assert store.plans() == {"rail": later}


def test_a_plan_that_nobody_can_read_any_more_is_none(store):
    store.keep_plans([a_plan(MONDAY + timedelta(hours=6))])
    with store._transaction() as connection:
        connection.execute('UPDATE plans SET plan = \'{"from": "another version"}\'')
    assert store.plans() == {}
