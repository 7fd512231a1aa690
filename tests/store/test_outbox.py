from contextlib import closing
from dataclasses import replace
from datetime import timedelta

import pytest

from dryspell.outlook.model import Limit, Reason
from dryspell.store import Store, schema
from dryspell.store.database import Database
from dryspell.store.notices import Failing, Given, Message, Wording
from dryspell.store.schema import MIGRATIONS
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
    assert [(s.target, s.dropped) for s in store.thin_out(late, ["phone"])] == [("phone", "late")]
    assert store.thin_out(late, ["phone"]) == []
    assert store.sendings()[0].dropped_at == late


def test_what_is_for_a_target_there_is_no_more_is_dropped(store):
    store.save_round({}, [], [message()], [], NOW)
    assert [(s.target, s.dropped) for s in store.thin_out(NOW, ["mail"])] == [("phone", "no target")]
    assert due(store) == [("id of rail/4/coat_now/1", "mail")]


def test_what_does_not_hold_any_more_is_not_delivered_where_it_has_not_been(store):
    store.save_round({}, [], [message(), message("door/1", piece="door", targets=("phone",))], [], NOW)
    store.mark_delivered(store.due(NOW)[0], NOW)
    back = message("rail/4/coat_now/1/wait", targets=("phone",))
    store.save_round({}, [], [back], ["rail/4/coat_now/1"], NOW)
    assert due(store) == [("id of door/1", "phone"), ("id of rail/4/coat_now/1/wait", "phone")]
    dropped = [(s.target, s.dropped) for s in store.sendings() if s.notice == "id of rail/4/coat_now/1"]
    assert dropped == [("mail", None), ("phone", "overtaken")]  # one of them had been delivered


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


def test_a_target_fails_from_the_first_notice_on_that_it_did_not_take_until_it_takes_one(store):
    assert store.failing() == {}
    for hour in range(3):
        at = NOW + timedelta(hours=hour)
        store.save_round({}, [], [message(f"rail/4/wait/{hour}", targets=("phone",), at=at)], [], at)
    first, second, third = store.sendings()
    store.mark_delivered(first, NOW)
    assert store.failing() == {}  # what was not tried yet is no failure
    store.mark_failed(second, "its service answers 503", NOW)
    store.mark_failed(second, "its service cannot be reached", NOW)
    assert store.failing() == {"phone": Failing(second.created_at, "its service cannot be reached", 1)}
    store.save_round({}, [], [], ["rail/4/wait/1"], NOW)
    assert store.failing()["phone"].error == "its service cannot be reached"
    store.mark_failed(third, "its service answers 401", NOW)
    assert store.failing() == {"phone": Failing(second.created_at, "its service answers 401", 2)}
    store.mark_delivered(third, NOW)
    assert store.failing() == {}


def test_of_one_topic_the_newest_word_counts_for_each_target(store):
    hours = [NOW + timedelta(hours=hour) for hour in range(3)]
    for at in hours:
        store.save_round({}, [], [message(f"rail/4/coat_now/{at:%H}", at=at, lasts=timedelta(days=9))], [], at)
    other = message("door/1/coat_now/1", piece="door", targets=("phone",), lasts=timedelta(days=9))
    only = message("rail/4/coat_now/99", targets=("mail",), at=hours[2] + timedelta(hours=1), lasts=timedelta(days=9))
    store.save_round({}, [], [other, only], [], hours[2])
    gone = store.thin_out(only.created_at, ["phone", "mail"])
    assert {s.dropped for s in gone} == {"replaced"}
    assert due(store, only.created_at) == [
        ("id of door/1/coat_now/1", "phone"),
        (f"id of rail/4/coat_now/{hours[2]:%H}", "phone"),
        ("id of rail/4/coat_now/99", "mail"),
    ]


def test_what_was_replaced_by_a_word_that_was_delivered_is_not_sent_after_it(store):
    store.save_round({}, [], [message("a", targets=("phone",))], [], NOW)
    later = NOW + timedelta(minutes=1)
    store.save_round({}, [], [message("b", targets=("phone",), at=later)], [], later)
    store.mark_delivered(store.due(later)[1], later)
    assert [s.notice for s in store.thin_out(later, ["phone"])] == ["id of a"]
    assert due(store, later) == []


def test_two_words_of_one_tick_on_one_topic_are_both_sent(store):
    store.save_round({}, [], [message("a", targets=("phone",)), message("b", targets=("phone",))], [], NOW)
    assert store.thin_out(NOW, ["phone"]) == []
    assert len(due(store)) == 2


def test_what_was_replaced_was_not_too_late(store):
    store.save_round({}, [], [message("a", targets=("phone",))], [], NOW)
    later = NOW + timedelta(minutes=1)
    store.save_round({}, [], [message("b", targets=("phone",), at=later)], [], later)
    gone = store.thin_out(NOW + timedelta(days=1), ["phone"])
    assert [(s.notice, s.dropped) for s in gone] == [("id of a", "replaced"), ("id of b", "late")]
    assert store.late("phone") == ["id of b"]
    assert store.late_since(NOW) == {"phone": 1}


def test_a_target_is_told_once_of_what_came_too_late(store):
    store.save_round({}, [], [message("a", targets=("phone", "mail"))], [], NOW)
    later = NOW + timedelta(hours=3)
    store.save_round({}, [], [message("b", piece="door", targets=("phone", "mail"), at=later)], [], later)
    store.thin_out(later, ["phone", "mail"])
    to_mail, to_phone = store.due(later)
    store.mark_delivered(to_mail, later, store.late("mail"))
    assert (store.late("mail"), store.late("phone")) == ([], ["id of a"])
    store.mark_delivered(to_phone, later, [])  # it was not told of with this one
    assert store.late("phone") == ["id of a"]
    assert store.late_since(NOW) == {"mail": 1, "phone": 1}
    assert store.late_since(later + timedelta(seconds=1)) == {}


def test_what_was_overtaken_while_it_was_under_way_is_not_due_any_more(store):
    store.save_round({}, [], [message("a", targets=("phone",))], [], NOW)
    (sending,) = store.due(NOW)
    assert store.still_due(sending, sending.expires_at)
    assert not store.still_due(sending, sending.expires_at + timedelta(seconds=1))
    store.save_round({}, [], [], ["a"], NOW)
    assert not store.still_due(sending, NOW)


def test_the_urgent_goes_first(store):
    store.save_round({}, [], [message("a", targets=("phone",))], [], NOW)
    urgent = replace(message("b", targets=("phone",), at=NOW + timedelta(seconds=1)), urgent=True, topic="film")
    store.save_round({}, [], [urgent], [], NOW)
    assert [s.notice for s in store.due(NOW + timedelta(seconds=1))] == ["id of b", "id of a"]


def test_each_target_may_have_its_own_wording_and_chart(store):
    own = {"mail": Wording("Coat now", "at 61 °F", chart='{"width": 1}')}
    store.save_round({}, [], [replace(message(), wordings=own)], [], NOW)
    mail, phone = store.due(NOW)
    assert [(s.body, s.chart) for s in (mail, phone)] == [("at 61 °F", '{"width": 1}'), ("why", "")]
    store.mark_delivered(mail, NOW)
    assert {s.chart for s in store.sendings()} == {""}  # it is of no more use, and large


def test_a_next_try_that_a_clock_set_back_has_put_far_ahead_is_made_at_once(store):
    store.save_round({}, [], [message(targets=("phone",), lasts=timedelta(days=1))], [], NOW)
    store.mark_failed(store.due(NOW)[0], "no", NOW + timedelta(minutes=10))
    assert due(store, NOW) == []
    assert len(due(store, NOW - timedelta(hours=1))) == 1


def week_offline(store, many):
    """Let `many` messages wait for two targets after a week in which nothing could be sent; return when that is."""
    step = timedelta(days=7) / many
    waiting = [
        replace(message(f"{piece}/4/{kind}/{n}", piece=piece, at=NOW + n * step, lasts=timedelta(hours=12)), kind=kind)
        for n in range(many)
        for piece in [("rail", "door", "bench", "mast")[n % 4]]
        for kind in [("tomorrow", "coat_now", "wait")[n % 3]]
    ]
    store.save_round({}, [], waiting, [], NOW)
    return NOW + timedelta(days=7)


def work_of(store, what):
    """Return how many steps of its machine SQLite takes for something, and how many times it commits."""
    steps, commits = [0], []
    store._connection.set_progress_handler(lambda: steps.__setitem__(0, steps[0] + 1), 100)
    store._connection.set_trace_callback(lambda said: commits.append(said) if said == "COMMIT" else None)
    result = what()
    store._connection.set_progress_handler(None, 0)
    store._connection.set_trace_callback(None)
    return result, steps[0], len(commits)


def test_ten_thousand_that_wait_after_a_week_come_down_to_the_newest_word_on_each_topic(store):
    now = week_offline(store, 5000)  # to two targets each
    gone, _, commits = work_of(store, lambda: store.thin_out(now, ["phone", "mail"]))
    left = store.due(now)
    assert len(gone) + len(left) == 10_000
    assert sorted((s.piece, s.kind, s.target) for s in left) == sorted(
        (piece, kind, target)
        for piece in ("rail", "door", "bench", "mast")
        for kind in ("tomorrow", "coat_now", "wait")
        for target in ("phone", "mail")
    )
    assert min(s.created_at for s in left) > now - timedelta(hours=1)
    assert commits == 1


def test_the_work_of_thinning_out_grows_as_what_waits_does(tmp_path):
    steps = {}
    for many in (500, 5000):
        store = Store(tmp_path / f"{many}.sqlite3")
        now = week_offline(store, many)
        _, steps[many], _ = work_of(store, lambda: store.thin_out(now, ["phone", "mail"]))  # noqa: B023  (called here)
        store.close()
    assert steps[5000] < 13 * steps[500]


def test_an_older_file_keeps_why_something_was_not_delivered(path):
    before = MIGRATIONS[: MIGRATIONS.index(schema._OUTBOX_THINNED)]
    old = Database(path, migrations=before)
    with old._transaction() as connection:
        for name, error, dropped_at in (("a", "overtaken by events", 5), ("b", "no", 5), ("c", "", None)):
            notice = (name, name, "rail", "wait", "Wait", "why", 1, int(NOW.timestamp()) + 60)
            connection.execute("INSERT INTO notices VALUES (?, ?, ?, ?, ?, ?, ?, ?)", notice)
            row = (name, "phone", 1, 1, error, None, dropped_at)
            connection.execute("INSERT INTO outbox VALUES (?, ?, ?, ?, ?, ?, ?)", row)
    old.close()
    with closing(Store(path)) as store:
        assert [(s.notice, s.dropped, s.last_error) for s in store.sendings()] == [
            ("a", "overtaken", ""),
            ("b", "late", "no"),
            ("c", None, ""),
        ]
        assert store.late("phone") == []  # long ago: nobody is told of it now
        assert [(s.notice, s.title) for s in store.due(NOW)] == [("c", "Wait")]
        at = NOW + timedelta(seconds=1)
        store.save_round({}, [], [replace(message("d", targets=("phone",), at=at), kind="wait")], [], at)
        assert [s.notice for s in store.thin_out(at, ["phone"])] == ["c"]  # its topic was filled in
