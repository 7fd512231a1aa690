"""Time behaviour as timelines: what the forecast says at each instant, and what is said then."""

import json
from datetime import datetime, time, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.fakes import BRUSHING, ZONE, at, film, outlook, unknown, window
from alerts.timeline import Timeline
from dryspell.alerts.decide import decide, settled
from dryspell.alerts.kinds import Kind
from dryspell.alerts.memory import PieceMemory
from dryspell.alerts.model import Habits, PieceHabits, Why
from dryspell.outlook.model import Pot, Stages

HABITS = Habits()


W = [window(3, "09:45", "14:00")]


def test_a_window_is_told_of_the_evening_before_and_when_it_opens_and_no_more():
    said = Timeline().play(
        (2, "17:59", W), (2, "18:00", W), (2, "18:01", W), (2, "21:00", W), (3, "00:00", W), (3, "09:30", W),
        (3, "09:31", W), (3, "09:45", W), (3, "09:46", W), (3, "12:00", W), (3, "14:00", W), (3, "14:01", W),
        (3, "18:00", W),
    )  # fmt: skip
    assert said == [
        ("18:00", Kind.TOMORROW, Why.OPENS_TOMORROW),
        ("09:31", Kind.COAT_NOW, Why.OPEN),  # the verdict "now" is that of the next quarter hour
    ]


def test_the_evening_is_that_of_the_configuration_at_the_piece():
    timeline = Timeline(Habits(evening=time(20, 30)))
    assert timeline.play((2, "20:29", W)) == []
    assert timeline.play((2, "20:30", W)) == [("20:30", Kind.TOMORROW, Why.OPENS_TOMORROW)]


def test_a_daemon_that_was_off_in_the_evening_makes_up_for_it_while_it_is_evening():
    assert Timeline().play((2, "21:20", W)) == [("21:20", Kind.TOMORROW, Why.OPENS_TOMORROW)]
    assert Timeline().play((3, "00:20", W)) == []


def test_a_daemon_that_was_off_at_the_opening_tells_of_a_window_that_is_still_open():
    assert Timeline().play((3, "12:10", W)) == [("12:10", Kind.COAT_NOW, Why.OPEN)]


def test_a_window_after_the_next_day_is_not_told_of():
    assert Timeline().play((2, "18:00", [window(4, "09:00", "12:00")])) == []


def test_each_evening_tells_of_its_own_next_day():
    windows = [window(3, "10:00", "12:00"), window(4, "10:00", "12:00")]
    said = Timeline().play((2, "18:00", windows), (3, "10:00", windows), (3, "19:00", windows), (4, "10:00", windows))
    assert [kind for _, kind, _ in said] == [Kind.TOMORROW, Kind.COAT_NOW, Kind.TOMORROW, Kind.COAT_NOW]


LONG = [[window(day, "08:00", "18:00")] for day in (3, 4, 5)]


def test_one_good_day_after_another_is_told_of_when_its_window_opens():
    both = [*LONG[0], *LONG[1]]
    said = Timeline().play(
        (2, "18:00", both), (3, "08:00", both), (3, "18:00", both), (4, "06:30", both), (4, "08:00", both)
    )
    assert [kind for _, kind, _ in said] == [Kind.TOMORROW, Kind.COAT_NOW, Kind.COAT_NOW]
    on = {"coat": 5, "film": film(3, "09:30", at(3, "19:00"))}
    steps = [(3, "07:00", both), (3, "08:00", both), (3, "09:30", LONG[1], on), (3, "18:00", LONG[1], on)]
    said = Timeline().play(*steps, (4, "08:00", LONG[1], on))
    assert [kind for _, kind, _ in said] == [Kind.COAT_NOW, Kind.COAT_NOW]


@pytest.mark.parametrize("tomorrow", [window(4, "08:00", "10:45"), window(4, "08:00", "18:00", word="tight")])
def test_a_next_day_that_asks_for_something_before_its_window_opens_is_told_of_the_evening_before(tomorrow):
    windows = [*LONG[0], tomorrow]
    said = Timeline().play((3, "07:00", windows), (3, "08:00", windows), (3, "18:00", windows))
    assert [kind for _, kind, _ in said] == [Kind.COAT_NOW, Kind.TOMORROW]


def test_time_to_prepare_is_left_after_a_window_opens_or_it_is_told_of_the_evening_before():
    windows = [*LONG[0], window(4, "08:00", "12:00")]
    steps = [(3, "07:00", windows), (3, "08:00", windows), (3, "18:00", windows)]
    assert [kind for _, kind, _ in Timeline().play(*steps)] == [Kind.COAT_NOW]
    slow = Habits(piece={"rail": PieceHabits(prepares=timedelta(minutes=90))})
    assert Kind.TOMORROW in [kind for _, kind, _ in Timeline(slow).play(*steps)]
    # As to whoever hears of the evening before alone.
    assert Kind.TOMORROW in [kind for _, kind, _ in Timeline(Habits(all_told_to_coat=False)).play(*steps)]


def test_a_good_day_after_one_that_was_taken_back_or_had_none_is_news():
    both = [*LONG[0], *LONG[1]]
    said = Timeline().play((3, "07:00", both), (3, "08:00", both), (3, "10:00", LONG[1]), (3, "18:00", LONG[1]))
    assert [kind for _, kind, _ in said] == [Kind.COAT_NOW, Kind.WAIT, Kind.TOMORROW]
    said = Timeline().play((3, "07:00", both), (3, "08:00", both), (4, "18:00", LONG[2]))
    assert [kind for _, kind, _ in said] == [Kind.COAT_NOW, Kind.TOMORROW]


def test_two_windows_of_one_day_are_each_told_of_when_they_open():
    windows = [window(3, "09:00", "10:00"), window(3, "15:00", "16:00")]
    said = Timeline().play((2, "18:00", windows), (3, "09:00", windows), (3, "12:00", windows), (3, "15:00", windows))
    assert [(clock, kind) for clock, kind, _ in said] == [
        ("18:00", Kind.TOMORROW),
        ("09:00", Kind.COAT_NOW),
        ("15:00", Kind.COAT_NOW),
    ]


@pytest.mark.parametrize(
    "wobble",
    [
        ("09:00", "14:00"),  # earlier
        ("10:45", "14:00"),  # later by an hour
        ("09:45", "13:00"),  # shorter by an hour
        ("10:30", "14:45"),
        ("09:45", "17:00"),  # longer
    ],
)
def test_a_wobble_within_an_hour_or_for_the_better_says_nothing(wobble):
    moved = [window(3, *wobble)]
    said = Timeline().play((2, "18:00", W), (2, "19:00", moved), (2, "20:00", W), (2, "21:00", moved), (3, "06:30", W))
    assert [kind for _, kind, _ in said] == [Kind.TOMORROW]


def test_a_gap_of_less_than_an_hour_in_a_window_says_nothing():
    split = [window(3, "09:45", "11:00"), window(3, "12:00", "14:00")]
    said = Timeline().play(
        (2, "18:00", W), (2, "20:00", split), (3, "09:45", split), (3, "11:30", split), (3, "12:00", split)
    )
    assert [(clock, kind) for clock, kind, _ in said] == [("18:00", Kind.TOMORROW), ("09:45", Kind.COAT_NOW)]


def test_a_promised_window_that_has_gone_is_taken_back_once_with_what_blocks_it():
    timeline = Timeline()
    timeline.play((2, "18:00", W))
    (notice,) = timeline.tick(outlook(at(2, "21:00"), ()))
    assert (notice.kind, notice.why) == (Kind.WAIT, Why.GONE)
    assert (notice.told.start, notice.told.brush_down_by) == (at(3, "09:45"), at(3, "14:00") + BRUSHING)
    assert (notice.reason.value, notice.windows) == (-0.4, ())
    assert timeline.play((2, "21:01", ()), (3, "09:45", ())) == []


def test_a_window_that_nobody_was_told_of_goes_in_silence():
    assert Timeline().play((2, "12:00", W), (2, "18:00", ()), (3, "09:45", ())) == []


def test_a_promised_window_that_opens_over_an_hour_later_is_corrected_and_then_counts_as_promised():
    later = [window(3, "11:00", "15:00")]
    timeline = Timeline()
    said = timeline.play(
        (2, "18:00", W), (2, "20:00", later), (2, "21:00", later), (3, "09:45", later), (3, "11:00", later)
    )
    assert said == [
        ("18:00", Kind.TOMORROW, Why.OPENS_TOMORROW),
        ("20:00", Kind.WAIT, Why.LATER),
        ("11:00", Kind.COAT_NOW, Why.OPEN),
    ]


def test_a_promised_window_that_ends_over_an_hour_earlier_is_corrected():
    shorter = [window(3, "09:45", "12:45")]
    assert Timeline().play((2, "18:00", W), (2, "20:00", shorter)) == [
        ("18:00", Kind.TOMORROW, Why.OPENS_TOMORROW),
        ("20:00", Kind.WAIT, Why.SHORTER),
    ]


def test_an_evening_has_one_heads_up_and_one_correction_and_the_morning_the_second():
    other, third = [window(3, "11:30", "16:00")], [window(3, "13:00", "16:00")]
    said = Timeline().play(
        (2, "18:00", W), (2, "19:00", other), (2, "20:00", third), (2, "21:00", ()), (2, "21:15", W), (2, "23:00", ()),
        (3, "00:30", ()), (3, "06:29", ()), (3, "06:30", ()), (3, "06:31", ()),
    )  # fmt: skip
    assert said == [
        ("18:00", Kind.TOMORROW, Why.OPENS_TOMORROW),
        ("19:00", Kind.WAIT, Why.LATER),
        ("06:30", Kind.WAIT, Why.GONE),
    ]


def test_a_window_that_comes_back_before_the_second_correction_needs_none():
    other = [window(3, "11:30", "16:00")]
    said = Timeline().play(
        (2, "18:00", W), (2, "19:00", other), (2, "20:00", ()), (3, "06:30", other), (3, "11:30", other)
    )
    assert [kind for _, kind, _ in said] == [Kind.TOMORROW, Kind.WAIT, Kind.COAT_NOW]


def test_an_open_window_that_shuts_is_taken_back_at_once():
    said = Timeline().play((3, "09:45", W), (3, "10:05", ()), (3, "10:06", ()))
    assert said == [("09:45", Kind.COAT_NOW, Why.OPEN), ("10:05", Kind.WAIT, Why.GONE)]


def test_a_short_window_that_shuts_soon_after_it_opened_is_taken_back():
    short = [window(3, "10:00", "11:00")]
    said = Timeline().play((3, "10:00", short), (3, "10:05", ()))
    assert said == [("10:00", Kind.COAT_NOW, Why.OPEN), ("10:05", Kind.WAIT, Why.GONE)]


def test_a_window_that_runs_out_is_not_taken_back():
    later = [window(3, "09:45", "14:00"), window(3, "17:00", "18:00")]
    said = Timeline().play((3, "09:45", W), (3, "13:00", W), (3, "14:01", ()), (3, "14:30", ()))
    assert said == [("09:45", Kind.COAT_NOW, Why.OPEN)]
    said = Timeline().play((3, "09:45", later), (3, "14:01", later), (3, "17:00", later))
    assert [(clock, kind) for clock, kind, _ in said] == [("09:45", Kind.COAT_NOW), ("17:00", Kind.COAT_NOW)]


def test_a_window_that_ends_within_its_last_hour_is_a_wobble():
    said = Timeline().play((3, "09:45", W), (3, "13:15", ()))
    assert said == [("09:45", Kind.COAT_NOW, Why.OPEN)]


def test_an_open_window_that_becomes_shorter_by_over_an_hour_is_corrected_and_stays_open():
    shorter = [window(3, "09:45", "12:00")]
    said = Timeline().play((3, "09:45", W), (3, "10:30", shorter), (3, "11:00", shorter), (3, "12:01", ()))
    assert said == [("09:45", Kind.COAT_NOW, Why.OPEN), ("10:30", Kind.WAIT, Why.SHORTER)]


def test_an_open_window_that_shuts_for_less_than_an_hour_says_nothing():
    gap = [window(3, "10:45", "14:00")]
    said = Timeline().play((3, "09:45", W), (3, "10:00", gap), (3, "10:20", gap), (3, "10:45", gap), (3, "11:00", W))
    assert said == [("09:45", Kind.COAT_NOW, Why.OPEN)]


def test_an_open_window_whose_opening_creeps_away_is_taken_back_when_an_hour_has_gone():
    said = Timeline().play(
        (3, "09:45", W),
        (3, "10:00", [window(3, "10:45", "14:00")]),
        (3, "10:30", [window(3, "11:00", "14:00")]),
        (3, "10:45", [window(3, "11:30", "14:00")]),
    )
    assert said == [("09:45", Kind.COAT_NOW, Why.OPEN), ("10:45", Kind.WAIT, Why.LATER)]


def test_a_window_taken_back_is_told_again_only_after_six_hours_and_once():
    long = [window(3, "07:00", "18:00")]
    again = [(3, "07:00", long), (3, "07:15", ()), (3, "07:30", long), (3, "13:14", long), (3, "13:15", long)]
    said = Timeline().play(*again, (3, "13:30", ()), (3, "14:00", long), (3, "17:00", long))
    assert said == [
        ("07:00", Kind.COAT_NOW, Why.OPEN),
        ("07:15", Kind.WAIT, Why.GONE),
        ("13:15", Kind.COAT_NOW, Why.OPEN_AGAIN),
        ("13:30", Kind.WAIT, Why.GONE),
    ]
    assert [kind for _, kind, _ in Timeline(Habits(again=0)).play(*again)] == [Kind.COAT_NOW, Kind.WAIT]


def test_a_window_that_was_not_in_the_forecast_before_has_to_stay_in_it_for_half_an_hour():
    steps = [(3, "09:00", ()), (3, "09:45", W), (3, "10:00", ()), (3, "10:15", W), (3, "10:44", W)]
    assert Timeline().play(*steps) == []
    assert Timeline().play(*steps, (3, "10:45", W)) == [("10:45", Kind.COAT_NOW, Why.OPEN)]


def test_a_verdict_that_flickers_about_a_limit_all_day_is_one_message_and_its_withdrawal():
    flicker = [(3, f"{h:02}:{m:02}", W if m % 20 else ()) for h in range(7, 18) for m in (0, 10, 20, 30, 40, 50)]
    said = Timeline().play((2, "18:00", W), *flicker)
    assert [kind for _, kind, _ in said] == [Kind.TOMORROW, Kind.WAIT]
    assert Timeline().play((3, "06:30", ()), *flicker) == []


def test_the_last_call_is_for_who_was_told_over_an_hour_ago_and_has_not_coated():
    said = Timeline().play((3, "09:45", W), (3, "13:14", W), (3, "13:15", W), (3, "13:16", W), (3, "14:00", W))
    assert said == [("09:45", Kind.COAT_NOW, Why.OPEN), ("13:15", Kind.LAST_CALL, Why.CLOSING)]
    assert [kind for _, kind, _ in Timeline().play((3, "12:50", W), (3, "13:15", W))] == [Kind.COAT_NOW]
    done = {"coat": 5, "film": film(3, "12:00", at(3, "19:00"))}
    assert [kind for _, kind, _ in Timeline().play((3, "09:45", W), (3, "13:15", (), done))] == [Kind.COAT_NOW]
    assert [k for _, k, _ in Timeline(Habits(again=0)).play((3, "09:45", W), (3, "13:15", W))] == [Kind.COAT_NOW]


def test_the_last_call_leaves_time_to_prepare_and_is_not_for_who_may_be_at_it_still():
    slow = Habits(piece={"rail": PieceHabits(prepares=timedelta(minutes=90), brushes=timedelta(minutes=45))})
    said = Timeline(slow).play((3, "09:45", W), (3, "12:14", W), (3, "12:15", W), (3, "13:30", W))
    assert said == [("09:45", Kind.COAT_NOW, Why.OPEN), ("12:15", Kind.LAST_CALL, Why.CLOSING)]
    # From 11:00 on somebody may sand till 12:30 and brush till 13:15.
    late = Timeline(slow).play((3, "11:00", W), (3, "12:15", W), (3, "13:29", W))
    assert [kind for _, kind, _ in late] == [Kind.COAT_NOW]
    pot = Pot(mixed_at=at(3, "13:00"), brush_from=None, brush_until=at(3, "15:40"), goes_off_at=at(3, "17:00"))
    mixed = Timeline().play((3, "09:45", W), (3, "13:15", W, {"pot": pot}))
    assert [kind for _, kind, _ in mixed] == [Kind.COAT_NOW]


def test_whoever_lets_the_last_call_pass_hears_no_other_for_a_week_unless_a_coat_is_recorded():
    def day(day, **changes):
        of_day = [window(day, "09:45", "14:00")]
        return [(day, clock, of_day, changes) for clock in ("08:00", "09:45", "13:15")]

    idle = Timeline()
    days = [[kind for _, kind, _ in idle.play(*day(number))] for number in (3, 4, 9, 11)]
    assert days == [[Kind.COAT_NOW, Kind.LAST_CALL], [Kind.COAT_NOW], [Kind.COAT_NOW], [Kind.COAT_NOW, Kind.LAST_CALL]]
    late = Timeline()
    late.play(*day(3), (3, "15:00", (), {"coat": 5}))
    assert [kind for _, kind, _ in late.play(*day(4, coat=5))] == [Kind.COAT_NOW, Kind.LAST_CALL]


def test_in_quiet_hours_nothing_is_said_and_in_the_morning_what_is_so_then():
    early = [window(3, "05:30", "09:00")]
    said = Timeline().play((2, "21:30", W), (3, "05:30", early), (3, "06:29", early), (3, "06:30", early))
    assert said == [("06:30", Kind.COAT_NOW, Why.OPEN)]
    assert Timeline(Habits(quiet=None)).play((3, "05:30", early)) == [("05:30", Kind.COAT_NOW, Why.OPEN)]
    gone = Timeline().play((2, "18:00", W), (2, "22:00", ()), (3, "03:00", W), (3, "06:30", W))
    assert [kind for _, kind, _ in gone] == [Kind.TOMORROW]


def test_a_window_for_the_soft_coat_below_is_called_so():
    hot = Habits(piece={"rail": PieceHabits(hot=frozenset({5}))})
    stages = Stages(hot_open=at(3, "10:00"), hot_close=at(3, "13:00"), sandable=at(4, "09:00"))
    on = film(3, "07:00", at(3, "15:00"), number=4, stages=stages)
    said = Timeline(hot).play((3, "10:00", [window(3, "10:00", "12:00")], {"coat": 5, "film": on}))
    assert said == [("10:00", Kind.HOT_COAT, Why.OPEN)]
    said = Timeline().play((3, "10:00", [window(3, "10:00", "12:00")], {"coat": 5, "film": on}))
    assert said == [("10:00", Kind.COAT_NOW, Why.OPEN)]


def test_a_window_that_opens_much_earlier_than_promised_is_simply_open():
    early = [window(3, "08:00", "09:00")]
    assert Timeline().play((2, "18:00", W), (3, "08:00", early), (3, "09:30", ()), (3, "10:00", ())) == [
        ("18:00", Kind.TOMORROW, Why.OPENS_TOMORROW),
        ("08:00", Kind.COAT_NOW, Why.OPEN),
    ]


def test_a_recorded_coat_ends_its_promises_in_silence():
    done = {"coat": 5, "film": film(3, "10:30", at(3, "19:00"))}
    said = Timeline().play((2, "18:00", W), (3, "09:45", W), (3, "10:31", (), done), (3, "12:00", (), done))
    assert [kind for _, kind, _ in said] == [Kind.TOMORROW, Kind.COAT_NOW]


def test_a_coat_taken_back_has_its_window_told_again():
    done = {"coat": 5, "film": film(3, "10:30", at(3, "19:00"))}
    said = Timeline().play((3, "09:45", W), (3, "10:31", (), done), (3, "10:40", W))
    assert [(clock, kind) for clock, kind, _ in said] == [("09:45", Kind.COAT_NOW), ("10:40", Kind.COAT_NOW)]


def test_lost_weather_is_told_once_while_a_promise_stands_and_takes_nothing_back():
    timeline = Timeline()
    timeline.play((2, "18:00", W))
    (notice,) = timeline.tick(unknown(at(2, "20:00")))
    assert (notice.kind, notice.why, notice.told.start) == (Kind.WEATHER_LOST, Why.LOST_PROMISE, at(3, "09:45"))
    assert timeline.tick(unknown(at(2, "20:01"))) == []
    assert timeline.play((2, "20:30", W), (3, "09:45", W)) == [("09:45", Kind.COAT_NOW, Why.OPEN)]


def test_weather_that_is_back_for_half_an_hour_is_told_to_whoever_was_told_that_it_was_lost():
    timeline = Timeline()
    timeline.play((2, "18:00", W))
    (lost,) = timeline.tick(unknown(at(2, "19:00")))
    before = timeline.memory
    said = timeline.play((2, "19:30", W), (2, "19:59", W), (2, "20:00", W), (2, "20:01", W))
    assert said == [("20:00", Kind.WEATHER_BACK, Why.BACK)]
    assert lost.key in settled(before, timeline.memory)
    assert timeline.tick(unknown(at(2, "21:00"))) == []


def test_lost_weather_is_told_of_a_last_coat_that_is_wet_though_no_coat_is_left_to_judge():
    timeline = Timeline()
    built_up = {"coat": 9, "film": film(3, "10:30", at(3, "19:00"), number=8)}
    timeline.play((3, "12:00", (), built_up))
    (notice,) = timeline.tick(outlook(at(3, "13:00"), (), **built_up, film_risk=None))
    assert (notice.kind, notice.why) == (Kind.WEATHER_LOST, Why.LOST_WET)


def test_lost_weather_is_told_while_a_film_is_wet():
    timeline = Timeline()
    timeline.play((3, "12:00", (), {"film": film(3, "10:30", at(3, "19:00"))}))
    (notice,) = timeline.tick(unknown(at(3, "18:59")))
    assert (notice.kind, notice.why) == (Kind.WEATHER_LOST, Why.LOST_WET)


@pytest.mark.parametrize("known_film", [None, film(3, "10:30", at(3, "19:00"))])
def test_lost_weather_is_no_news_to_somebody_who_waits_for_nothing(known_film):
    timeline = Timeline()
    timeline.play((3, "12:00", (), {"film": known_film}))
    assert timeline.tick(unknown(at(3, "19:01"))) == []


def test_a_coat_put_on_without_any_weather_counts_as_wet_for_a_day():
    on = {"coat": 4, "film": film(3, "10:30", None)}
    assert [n.kind for n in Timeline().tick(unknown(at(4, "10:00"), **on))] == [Kind.WEATHER_LOST]
    assert Timeline().tick(unknown(at(4, "10:31"), **on)) == []


def test_weather_that_comes_and_goes_is_told_once_a_day():
    timeline = Timeline()
    timeline.play((2, "18:00", W))
    said = []
    for clock in ("19:00", "20:00", "21:00"):
        said += timeline.tick(unknown(at(2, clock)))
        said += [kind for _, kind, _ in timeline.play((2, clock, W), (2, clock.replace(":00", ":15"), W))]
    assert len(said) == 1


def test_the_local_day_counts_where_the_clocks_change():
    # On 25 October 2026 Berlin goes from UTC+2 to UTC+1 at 03:00.
    def on(day, clock):
        return datetime.fromisoformat(f"2026-10-{day}T{clock}").replace(tzinfo=ZONE)

    after = window(3, "10:00", "12:00").model_copy(
        update={"start": on(25, "10:00"), "last_start": on(25, "12:00"), "brush_down_by": on(25, "13:00")}
    )
    timeline = Timeline()
    assert [n.kind for n in timeline.tick(outlook(on(24, "18:00"), [after]))] == [Kind.TOMORROW]
    assert [n.kind for n in timeline.tick(outlook(on(25, "10:00"), [after]))] == [Kind.COAT_NOW]


def test_each_notice_expires_when_it_is_of_no_use_any_more():
    timeline = Timeline()
    (heads_up,) = timeline.tick(outlook(at(2, "18:00"), W))
    (go,) = timeline.tick(outlook(at(3, "09:45"), W))
    (back,) = timeline.tick(outlook(at(3, "10:05"), ()))
    assert (heads_up.expires_at, go.expires_at, back.expires_at) == (at(3, "09:45"), at(3, "14:00"), at(3, "14:00"))


def test_a_promise_that_is_kept_is_not_settled_and_one_that_ends_is():
    timeline = Timeline()
    (heads_up,) = timeline.tick(outlook(at(2, "18:00"), W))
    before = timeline.memory
    timeline.tick(outlook(at(2, "18:01"), W))
    assert settled(before, timeline.memory) == set()
    (go,) = timeline.tick(outlook(at(3, "09:45"), W))
    assert settled(before, timeline.memory) == {heads_up.key}
    before = timeline.memory
    timeline.tick(outlook(at(3, "10:30"), (), coat=5))
    assert settled(before, timeline.memory) == {go.key}


def test_pieces_do_not_mix():
    rail, door = outlook(at(3, "09:45"), W), outlook(at(3, "09:45"), W, piece="door")
    notices, memory = decide({}, [rail, door], rail.made_at, HABITS)
    (both,) = notices
    assert (both.pieces, both.group, both.kind) == (("rail", "door"), "mooring", Kind.COAT_NOW)
    assert len({n.key for n in (both, *both.each)}) == 3
    notices, kept = decide(memory, [door], at(3, "09:46"), HABITS)
    assert notices == []
    assert kept["rail"] == memory["rail"]


def test_of_pieces_at_two_sites_each_site_has_its_message():
    rail, mast = outlook(at(3, "09:45"), W), outlook(at(3, "09:45"), W, piece="mast", site="yard")
    notices, _ = decide({}, [rail, mast], rail.made_at, HABITS)
    assert [n.pieces for n in notices] == [("rail",), ("mast",)]


def test_whoever_hears_of_some_pieces_only_is_told_of_those_under_the_same_key():
    pieces = [outlook(at(3, "09:45"), W, piece=name) for name in ("rail", "door", "mast")]
    (all_three,), _ = decide({}, pieces, pieces[0].made_at, HABITS)
    assert all_three.only(lambda piece: piece != "door").pieces == ("rail", "mast")
    one = all_three.only(lambda piece: piece == "door")
    assert (one.pieces, one.key, one.parts) == (("door",), all_three.key, ())
    assert all_three.only(lambda _: False) is None
    assert all_three.only(lambda _: True) is all_three


def test_a_message_on_several_pieces_holds_until_nothing_of_it_does():
    def see(day, clock, *names, windows):
        return [outlook(at(day, clock), windows.get(name, ()), piece=name) for name in names]

    (both,), first = decide({}, see(2, "18:00", "rail", "door", windows={"rail": W, "door": W}), at(2, "18:00"), HABITS)
    one_gone = see(2, "20:00", "rail", "door", windows={"rail": W})
    _, second = decide(first, one_gone, at(2, "20:00"), HABITS)
    assert settled(first, second) == set()
    _, third = decide(second, see(2, "21:00", "rail", "door", windows={}), at(2, "21:00"), HABITS)
    assert settled(second, third) == {both.key}


def test_what_an_older_version_remembered_is_understood_and_nothing_is_said_twice():
    told = {"start": "2026-06-03T07:45:00Z", "last_start": "2026-06-03T12:00:00Z"}
    told |= {"brush_down_by": "2026-06-03T12:45:00Z"}
    promise = {"key": "rail/4/tomorrow/2026-06-03", "told": told, "opened": False, "shut_since": None, "corrections": 0}
    older = {
        "coat": 4, "promises": [promise], "opened": [], "heads_up_on": "2026-06-02", "wet_until": None, "lost": False,
        "lost_on": None, "of_a_version_to_come": 1,
    }  # fmt: skip
    timeline = Timeline()
    timeline.memory = {"rail": PieceMemory.model_validate_json(json.dumps(older))}
    assert timeline.play((2, "18:05", W), (2, "21:00", W)) == []
    before = timeline.memory
    assert timeline.play((3, "09:45", W)) == [("09:45", Kind.COAT_NOW, Why.OPEN)]
    assert settled(before, timeline.memory) == {promise["key"]}


# What a forecast may say of three days: some windows, in quarter hours, apart from each other.
SPANS = st.lists(st.integers(0, 3 * 96 - 1), unique=True, max_size=8).map(sorted)
STEP = timedelta(minutes=15)
BEGIN = at(2, "00:00")


def windows_of(edges):
    pairs = [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=False) if b - a > 1]
    return [
        window(2, "00:00", "00:00").model_copy(
            update={
                "start": BEGIN + a * STEP,
                "last_start": BEGIN + (b - 1) * STEP,
                "best_start": BEGIN + a * STEP,
                "brush_down_by": BEGIN + (b + 2) * STEP,
                "tight_until": BEGIN + (b + 2) * STEP,
            }
        )
        for a, b in pairs
    ]


FORECASTS = st.lists(
    st.tuples(SPANS, st.integers(1, 40), st.sampled_from(["known"] * 8 + ["unknown"])), min_size=1, max_size=25
)


@settings(max_examples=100, deadline=None)
@given(FORECASTS)
def test_whatever_the_forecast_does_nobody_is_told_twice_or_too_often(forecasts):
    timeline, now, said = Timeline(), BEGIN, []
    for edges, quarters, state in forecasts:
        seen = unknown(now) if state == "unknown" else outlook(now, windows_of(edges))
        said += timeline.tick(seen)  # which checks that the same input again says nothing
        now += quarters * STEP
    assert len({n.key for n in said}) == len(said)
    for one, two in pairwise([n for n in said if n.kind is Kind.TOMORROW]):
        assert one.created_at.astimezone(ZONE).date() < two.created_at.astimezone(ZONE).date()
    for n in said:
        assert n.expires_at >= n.created_at
        if n.kind is Kind.WAIT:
            assert any(m.kind is not Kind.WAIT for m in said if m.created_at < n.created_at)
    for day in {n.created_at.astimezone(ZONE).date() for n in said}:
        todays = [n.kind for n in said if n.created_at.astimezone(ZONE).date() == day]
        assert todays.count(Kind.WEATHER_LOST) <= 1
        assert todays.count(Kind.TOMORROW) <= 1


@settings(max_examples=100, deadline=None)
@given(FORECASTS)
def test_whoever_was_told_to_coat_hears_of_it_when_the_window_has_gone(forecasts):
    """No open promise is dropped in silence, but by its own end or by a window that stands in its place."""
    timeline, now, promised = Timeline(Habits(quiet=None)), BEGIN, None
    for edges, quarters, _ in forecasts:
        ahead = windows_of(edges)
        said = timeline.tick(outlook(now, ahead))
        if promised and promised.last_start > now + timedelta(hours=1) and not any(w.last_start >= now for w in ahead):
            assert Kind.WAIT in [n.kind for n in said]
        if said:
            opened = [n for n in said if n.kind is Kind.COAT_NOW]
            promised = opened[0].windows[-1] if opened else None
        now += quarters * STEP
