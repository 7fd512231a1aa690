"""What becomes of a planned coat in a calendar: it keeps its name, and a move is told."""

from datetime import UTC, datetime, timedelta
from itertools import count

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.outlook.model import Limit, Reason, Stages
from dryspell.outlook.plan_model import Moved, Plan, PlannedCoat
from dryspell.store.calendar_entry import Entry
from dryspell.web.calendar_entries import CANCELLED_FOR, KEPT_FOR, entries_of, told_now
from yard import config

NOW = datetime(2026, 6, 2, 10, tzinfo=UTC)


def entry(coat=4, day=1, piece="rail", text="neat"):
    begins = NOW + timedelta(days=day)
    return Entry(
        piece=piece, coat=coat, begins_at=begins, ends_at=begins + timedelta(hours=2), title=f"{piece} {coat}",
        text=text, place="harbour",
    )  # fmt: skip


class Feed:
    def __init__(self):
        self.told, self.names = [], count()

    def hear(self, *entries, on=3, now=NOW, pieces=("rail",)):
        planned = dict.fromkeys(pieces, on)
        self.told = told_now(self.told, entries, planned, now, lambda: f"uid {next(self.names)}")
        return self.told


def test_a_coat_that_has_moved_keeps_its_name_and_raises_its_sequence():
    feed = Feed()
    (first,) = feed.hear(entry())
    (moved,) = feed.hear(entry(day=2), now=NOW + timedelta(hours=1))
    (back,) = feed.hear(entry(day=1), now=NOW + timedelta(hours=2))
    # RFC 5545, 3.8.7.4: SEQUENCE begins at 0 and is raised by each significant revision; 3.8.4.7: the UID stays.
    assert (first.uid, first.sequence) == (moved.uid, 0)
    assert (moved.sequence, back.sequence) == (1, 2)
    assert moved.changed_at == NOW + timedelta(hours=1)


def test_what_has_not_changed_is_told_again_to_the_letter():
    feed = Feed()
    before = feed.hear(entry(), entry(5, 3))
    assert feed.hear(entry(), entry(5, 3), now=NOW + timedelta(days=1)) == before


def test_other_words_for_the_same_hours_are_no_move():
    feed = Feed()
    feed.hear(entry())
    (told,) = feed.hear(entry(text="odds 80%"), now=NOW + timedelta(hours=1))
    assert (told.sequence, told.changed_at, told.entry.text) == (0, NOW + timedelta(hours=1), "odds 80%")


def test_a_coat_that_is_planned_no_more_is_cancelled_for_a_while_and_then_dropped():
    feed = Feed()
    (first,) = feed.hear(entry())
    (gone,) = feed.hear(now=NOW + timedelta(hours=1))
    assert (gone.uid, gone.sequence, gone.gone_at) == (first.uid, 1, NOW + timedelta(hours=1))
    assert feed.hear(now=NOW + CANCELLED_FOR) == [gone]
    assert feed.hear(now=NOW + timedelta(hours=1) + CANCELLED_FOR) == []


def test_a_coat_that_is_planned_again_comes_back_under_its_name():
    feed = Feed()
    (first,) = feed.hear(entry())
    feed.hear(now=NOW + timedelta(hours=1))
    (back,) = feed.hear(entry(), now=NOW + timedelta(hours=2))
    assert (back.uid, back.sequence, back.gone_at) == (first.uid, 2, None)


def test_a_coat_that_is_on_stays_as_it_was_until_a_while_after_its_hours():
    feed = Feed()
    (first,) = feed.hear(entry())
    assert feed.hear(on=4, now=NOW + timedelta(days=2)) == [first]
    assert feed.hear(on=4, now=first.entry.ends_at + KEPT_FOR) == []


def test_a_plan_that_says_nothing_for_want_of_weather_cancels_nothing():
    feed = Feed()
    before = feed.hear(entry())
    assert feed.hear(pieces=(), now=NOW + timedelta(hours=1)) == before


@given(st.lists(st.lists(st.tuples(st.integers(4, 6), st.integers(1, 5)), unique_by=lambda c: c[0]), max_size=8))
def test_whatever_is_planned_names_stay_and_sequences_only_rise(plans):
    feed, seen = Feed(), {}
    for hour, plan in enumerate(plans):
        for told in feed.hear(*(entry(coat, day) for coat, day in plan), now=NOW + timedelta(hours=hour)):
            uid, sequence, hours, gone = seen.get(told.entry.coat, (told.uid, -1, None, None))
            assert told.uid == uid
            same = (hours, gone) == (told.entry.begins_at, told.gone_at)
            assert told.sequence == sequence if same else told.sequence > sequence
            seen[told.entry.coat] = (told.uid, told.sequence, told.entry.begins_at, told.gone_at)
        listed = {told.entry.coat for told in feed.told if told.gone_at is None}
        assert listed == {coat for coat, _ in plan}


def test_an_entry_tells_how_the_coat_goes_on_why_it_moved_and_where_to_look(tmp_path):
    yard = config(tmp_path, 'alerts.link = "https://varnish.example/"\n[person.kim]\nname = "Kim"')
    at = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)  # 02:30 summer time; an hour later it is 02:30 again
    coat = PlannedCoat(
        number=4, coating="oil_varnish_1k", prepare_at=at, start=at + timedelta(hours=1), who="kim",
        last_stroke=at + timedelta(hours=2), probability=0.8, thinner_parts=10.0, wet_film_um=80.0, abrasive="P400",
        hot=False, sand_first=False, stages=Stages(),
        moved=Moved(planned_at=NOW, why="weather", reason=Reason(limit=Limit.WIND, value=9.0, bound=6.0, unit="m/s")),
    )  # fmt: skip
    plan = Plan(
        piece="rail", piece_name="Rail", site="harbour", timezone="Europe/Berlin", made_at=NOW, coats=8, left=5,
        planned=(coat,), odds_pct=None, built_up_at=None, in_service_at=None,
    )  # fmt: skip
    (entry,) = entries_of([plan], yard, "metric")
    assert entry.title == "Rail: coat 4 of 8 (Kim)"
    assert (entry.begins_at, entry.ends_at, entry.place) == (at, at + timedelta(hours=2), "harbour")
    how = "One-component tung, phenolic or alkyd varnish, 10 parts of thinner to 100, wet film 80 µm, sanded with P400"
    how += " before it."
    assert entry.text.splitlines() == [
        "Prepare from 02:30 CEST, first stroke 02:30 CET, last stroke by 03:30 (Europe/Berlin).",
        how,
        "Odds that the weather holds: 80%.",
        "Planned before for Tue 2 Jun 12:00; moved: wind 9.0 m/s at the piece (6 m/s at most).",
        "A plan by the forecast of now, which changes; look again before you open the can.",
        "https://varnish.example/",
    ]


def test_entries_stand_in_the_order_of_their_hours():
    told = Feed().hear(entry(6, 3), entry(4, 1), entry(5, 2))
    assert [each.entry.coat for each in told] == [4, 5, 6]
    with pytest.raises(ValueError, match="frozen"):
        told[0].entry.coat = 7
