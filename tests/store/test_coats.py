from datetime import timedelta

import pytest

from dryspell.errors import StoreError
from dryspell.outlook.model import Coat
from dryspell.store import Store
from store.moment import NOW


def coat(number, **changes):
    finished = NOW + timedelta(days=number)
    return Coat(piece="rail", number=number, finished_at=finished, recorded_at=finished, **changes)


def test_a_coat_comes_back_as_it_was_recorded(store, path):
    recorded = store.add_coat(
        coat(3, who="Ada", batch="B-17", thinner_parts=10.0, wet_film_um=80.0, note="a run at the scarf, brushed out")
    )
    assert recorded.id > 0
    other = Store(path)
    assert other.coats("rail") == [recorded]
    assert other.coats("door") == []
    other.close()


def test_coats_come_in_their_order(store):
    for number in (2, 1, 3):
        store.add_coat(coat(number))
    assert [c.number for c in store.coats("rail")] == [1, 2, 3]


def test_a_coat_of_the_same_number_is_refused(store):
    store.add_coat(coat(1))
    with pytest.raises(StoreError, match="coat 1 of rail is recorded already"):
        store.add_coat(coat(1))


def test_undoing_takes_the_last_coat_back_and_erases_nothing(store):
    store.add_coat(coat(1))
    last = store.add_coat(coat(2))
    assert store.undo_coat("rail", NOW) == last
    assert [c.number for c in store.coats("rail")] == [1]
    rows = store._rows("SELECT number, undone_at FROM coats ORDER BY id")
    assert rows == [(1, None), (2, int(NOW.timestamp()))]


def test_the_number_of_a_coat_that_was_undone_is_free_again(store):
    store.add_coat(coat(1))
    store.undo_coat("rail", NOW)
    again = store.add_coat(coat(1, who="Ada"))
    assert store.coats("rail") == [again]


def test_there_is_nothing_to_undo_on_a_bare_piece(store):
    assert store.undo_coat("rail", NOW) is None
