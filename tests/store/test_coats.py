from datetime import timedelta

import pytest

from dryspell.errors import StoreError
from dryspell.outlook.met_model import AtPiece, Figure, Met
from dryspell.outlook.model import Advice, Coat, Limit, Reason
from dryspell.store import Store
from dryspell.store.database import Database
from dryspell.store.notices import Given
from dryspell.store.schema import MIGRATIONS
from store.moment import NOW


def coat(number, **changes):
    finished = NOW + timedelta(days=number)
    return Coat(piece="rail", number=number, **({"finished_at": finished, "recorded_at": finished} | changes))


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


def test_a_coat_is_found_by_the_name_it_was_asked_for_by_also_after_it_was_taken_back(store, path):
    recorded = store.add_coat(coat(1), request="two-taps")
    assert store.coat_asked_for("two-taps") == recorded
    assert store.coat_asked_for("another") is None
    with pytest.raises(StoreError):
        store.add_coat(coat(2), request="two-taps")
    assert store.coats("rail") == [recorded]
    store.undo_coat("rail", NOW)
    other = Store(path)
    assert other.coat_asked_for("two-taps").id == recorded.id
    other.close()


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


def test_all_that_may_be_told_of_a_coat_comes_back(store, path):
    figure = Figure(value=18.2, known="sensor")
    recorded = store.add_coat(
        coat(
            1,
            began_at=NOW,
            coating="my_varnish",
            abrasive="P400",
            litres=0.4,
            photo="/pictures/rail.jpg",
            met=Met(began_at=NOW, start=AtPiece(air_c=figure), forecast="somebody", issued_at=NOW, sensors=("mast",)),
            advice=Advice(word="wait", reason=Reason(limit=Limit.WIND, value=7.0, bound=6.0, unit="m/s"), given_at=NOW),
        )
    )
    other = Store(path)
    assert other.coats("rail") == [recorded]
    bare = recorded.model_copy(update={"met": None, "advice": None})
    assert other.films("rail", bare=True) == other.laid("rail", bare=True) == [bare]
    assert other.films("rail") == other.laid("rail") == [recorded]
    other.close()


def test_a_spoilt_coat_does_not_count_and_the_next_one_takes_its_number(store):
    first = store.add_coat(coat(1))
    spoilt = store.spoil_coat(store.add_coat(coat(2)), "dew", NOW, note="matt all over", who="Ada")
    assert store.coats("rail") == [first]
    assert store.films("rail") == [first, spoilt]
    again = store.add_coat(coat(2, finished_at=NOW + timedelta(days=3)))
    assert store.films("rail") == store.coats("rail") == [first, again]
    assert store.laid("rail") == [first, spoilt, again]
    change = store.versions("rail")[1].changes[0]
    assert (change.what, change.at, change.detail, change.who) == ("spoilt", NOW, "dew: matt all over", "Ada")


def test_a_coat_that_was_not_spoilt_after_all_counts_again_unless_its_number_was_taken(store):
    spoilt = store.spoil_coat(store.add_coat(coat(1)), "rain", NOW)
    back = store.spoil_coat(spoilt, None, NOW)
    assert store.coats("rail") == [back]
    assert [change.what for change in store.versions("rail")[0].changes] == ["spoilt", "not spoilt"]
    spoilt = store.spoil_coat(back, "rain", NOW)
    store.add_coat(coat(1, finished_at=NOW + timedelta(days=2)))
    with pytest.raises(StoreError, match="coat 1 of rail is recorded already"):
        store.spoil_coat(spoilt, None, NOW)


def test_a_correction_stands_in_the_place_of_the_coat_that_stays_beside_it(store):
    store.add_coat(coat(1))
    wrong, above = store.add_coat(coat(2, thinner_parts=50.0)), store.add_coat(coat(3))
    right = store.correct_coat(wrong, coat(2, thinner_parts=5.0), who="Ben")
    assert [c.id for c in store.coats("rail")] == [1, right.id, above.id]
    before = store.versions("rail")[1]
    assert before.coat == wrong
    assert not before.stands
    (change,) = before.changes
    assert (change.what, change.who, change.successor, change.at) == ("corrected", "Ben", right.id, right.recorded_at)


def test_of_two_corrections_of_one_coat_the_second_is_refused(store):
    wrong = store.add_coat(coat(1))
    store.correct_coat(wrong, coat(1, who="Ada"))
    with pytest.raises(StoreError, match="was changed meanwhile"):
        store.correct_coat(wrong, coat(1, who="Ben"))
    assert [c.who for c in store.coats("rail")] == ["Ada"]


@pytest.mark.parametrize(("changes", "taught"), [({"who": "Ada"}, [1.1]), ({"coating": "other"}, [])])
def test_when_a_coat_was_seen_sandable_outlives_a_correction_and_what_it_taught_if_it_still_does(
    store, changes, taught
):
    wrong = store.add_coat(coat(1))
    wrong = store.see_sandable(wrong, NOW + timedelta(days=2), coating="varnish", progress=1.1, recorded_at=NOW)
    right = store.correct_coat(wrong, coat(1, **changes))
    assert store.coats("rail") == [right]
    assert right.sandable_at == NOW + timedelta(days=2)
    assert store.progress_seen().get("varnish", []) == taught


def test_a_coat_undone_before_changes_were_kept_has_that_in_its_history(path):
    old = Database(path, migrations=MIGRATIONS[:3])
    with old._transaction() as connection:
        connection.execute("INSERT INTO coats VALUES (1, 'rail', 1, 86400, 'Ada', '', NULL, NULL, '', 90000, 95000)")
        connection.execute("INSERT INTO coats VALUES (2, 'rail', 1, 96400, 'Ada', '', 10, NULL, '', 97000, NULL)")
    old.close()
    store = Store(path)
    undone, on = store.versions("rail")
    assert [(change.what, change.at.timestamp()) for change in undone.changes] == [("undone", 95000)]
    assert (on.coat.thinner_parts, on.coat.met, on.coat.spoilt, on.changes) == (10.0, None, "", ())
    assert store.coats("rail") == [on.coat]
    store.close()


def test_the_verdict_that_stood_is_the_last_one_given_before_and_not_an_old_one(store):
    wind = Reason(limit=Limit.WIND, value=7.0, bound=6.0, unit="m/s")
    assert store.advice_at("rail", NOW) is None
    store.save_round({}, [Given("rail", "wait", wind)], [], [], NOW)
    store.save_round({}, [Given("rail", "coat", None)], [], [], NOW + timedelta(hours=2))
    stood = store.advice_at("rail", NOW + timedelta(hours=1))
    assert stood == Advice(word="wait", reason=wind, given_at=NOW)
    assert stood.is_against
    assert not store.advice_at("rail", NOW + timedelta(hours=3)).is_against
    assert store.advice_at("rail", NOW - timedelta(seconds=1)) is None
    assert store.advice_at("rail", NOW + timedelta(hours=26, seconds=1)) is None
    assert store.advice_at("door", NOW) is None
