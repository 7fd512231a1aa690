from datetime import timedelta

import pytest

from dryspell.outlook.model import Limit, Reason
from dryspell.store import Store
from dryspell.store.outbox import Given, Message
from store.moment import NOW


def message(key="rail/4/coat_now/1", *, piece="rail", targets=("phone", "mail"), at=NOW, lasts=timedelta(hours=2)):
    return Message(
        id=f"id of {key}", key=key, piece=piece, kind="coat_now", title="Coat now", body="why", created_at=at,
        expires_at=at + lasts, targets=targets,
    )  # fmt: skip


def due(store, at=NOW):
    return [(s.notice, s.target) for s in store.due(at)]


def test_a_notice_waits_once_for_each_target(store):
    store.save_round({}, [], [message()], [], NOW)
    assert due(store) == [("id of rail/4/coat_now/1", "mail"), ("id of rail/4/coat_now/1", "phone")]


def test_memory_verdicts_and_notices_are_saved_together_or_not_at_all(store, path):
    broken = message("rail/4/wait/1", targets=("phone", "phone"))
    with pytest.raises(Exception, match="cannot be used"):
        store.save_round({"rail": "{}"}, [Given("rail", "wait", None)], [message(), broken], [], NOW)
    other = Store(path)
    assert other.memory() == {}
    assert other.sendings() == []
    assert other._rows("SELECT * FROM verdicts") == []
    other.close()


def test_the_same_notice_is_taken_once(store):
    store.save_round({}, [], [message()], [], NOW)
    store.mark_delivered(store.due(NOW)[0], NOW)
    store.save_round({}, [], [message()], [], NOW)
    assert len(store.sendings()) == 2
    assert len(due(store)) == 1


def test_what_is_delivered_is_kept_and_not_due_again(store):
    store.save_round({}, [], [message(targets=("phone",))], [], NOW)
    store.mark_delivered(store.due(NOW)[0], NOW + timedelta(seconds=3))
    assert due(store) == []
    (sending,) = store.sendings()
    assert (sending.delivered_at, sending.attempts) == (NOW + timedelta(seconds=3), 1)


def test_what_failed_is_due_again_when_its_time_has_come(store):
    store.save_round({}, [], [message(targets=("phone",))], [], NOW)
    store.mark_failed(store.due(NOW)[0], "its service answers 503", NOW + timedelta(seconds=30))
    assert due(store, NOW + timedelta(seconds=29)) == []
    (sending,) = store.due(NOW + timedelta(seconds=30))
    assert (sending.attempts, sending.last_error) == (1, "its service answers 503")


def test_what_has_expired_is_not_due_and_is_dropped_once(store):
    store.save_round({}, [], [message(targets=("phone",))], [], NOW)
    late = NOW + timedelta(hours=2, seconds=1)
    assert due(store, late) == []
    assert [s.target for s in store.drop_expired(late, ["phone"])] == ["phone"]
    assert store.drop_expired(late, ["phone"]) == []
    assert store.sendings()[0].dropped_at == late


def test_what_is_for_a_target_there_is_no_more_is_dropped(store):
    store.save_round({}, [], [message()], [], NOW)
    assert [s.target for s in store.drop_expired(NOW, ["mail"])] == ["phone"]
    assert due(store) == [("id of rail/4/coat_now/1", "mail")]


def test_what_does_not_hold_any_more_is_not_delivered_where_it_has_not_been(store):
    store.save_round({}, [], [message(), message("door/1", piece="door", targets=("phone",))], [], NOW)
    store.mark_delivered(store.due(NOW)[0], NOW)
    back = message("rail/4/coat_now/1/wait", targets=("phone",))
    store.save_round({}, [], [back], ["rail/4/coat_now/1"], NOW)
    assert due(store) == [("id of door/1", "phone"), ("id of rail/4/coat_now/1/wait", "phone")]


def test_a_verdict_is_kept_when_its_word_or_its_reason_changes(store):
    wind = Reason(limit=Limit.WIND, value=7.0, bound=6.0, unit="m/s")
    more_wind = wind.model_copy(update={"value": 8.0})
    rain = Reason(limit=Limit.RAIN, value=1.0, bound=0.2, unit="mm")
    given = [
        ("wait", wind),
        ("wait", more_wind),
        ("wait", rain),
        ("coat", rain),
        ("coat", wind),
        ("unknown", None),
        ("unknown", None),
    ]
    news = [bool(store.save_round({}, [Given("rail", word, reason)], [], [], NOW)) for word, reason in given]
    assert news == [True, False, True, True, False, True, False]
    rows = store._rows("SELECT word, reason FROM verdicts ORDER BY id")
    assert [row[0] for row in rows] == ["wait", "wait", "coat", "unknown"]
    assert Reason.model_validate_json(rows[0][1]) == wind


def test_memory_of_a_piece_is_replaced_and_that_of_others_stays(store):
    store.save_round({"rail": "1", "door": "2"}, [], [], [], NOW)
    store.save_round({"rail": "3"}, [], [], [], NOW)
    assert store.memory() == {"rail": "3", "door": "2"}
