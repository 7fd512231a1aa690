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


def test_when_a_coat_was_seen_to_be_sandable_stays_with_it(store):
    first = store.add_coat(coat(1))
    assert first.sandable_at is None
    seen = NOW + timedelta(days=2, hours=4)
    told = store.see_sandable(first, seen, coating="varnish", progress=1.1, recorded_at=NOW)
    assert store.coats("rail") == [told]
    assert told.sandable_at == seen
    assert store.progress_seen() == {"varnish": [1.1]}


def test_of_two_times_told_for_a_coat_the_last_one_counts_and_none_is_erased(store):
    first = store.add_coat(coat(1))
    for hours, progress in ((30, 1.4), (26, 1.2)):
        store.see_sandable(
            first, first.finished_at + timedelta(hours=hours), coating="varnish", progress=progress, recorded_at=NOW
        )
    assert store.coats("rail")[0].sandable_at == first.finished_at + timedelta(hours=26)
    assert store.progress_seen() == {"varnish": [1.2]}
    assert len(store._rows("SELECT id FROM seen_sandable")) == 2


def test_coats_taken_back_and_coats_without_known_weather_teach_nothing(store):
    for number, progress in ((1, 1.2), (2, None), (3, 0.9)):
        store.see_sandable(store.add_coat(coat(number)), NOW, coating="varnish", progress=progress, recorded_at=NOW)
    store.undo_coat("rail", NOW)
    assert store.progress_seen() == {"varnish": [1.2]}


def test_there_is_nothing_to_undo_on_a_bare_piece(store):
    assert store.undo_coat("rail", NOW) is None
