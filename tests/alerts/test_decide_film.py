"""What comes to a wet film, and how far it has come: timelines of what is seen, and what is said then."""

from datetime import time, timedelta

import pytest

from alerts.fakes import at, film, outlook, unknown, window
from alerts.timeline import Timeline
from dryspell.alerts.decide import settled
from dryspell.alerts.kinds import Kind, Level
from dryspell.alerts.model import Habits, PieceHabits
from dryspell.alerts.quiet import Quiet
from dryspell.outlook.model import FilmRisk, Limit, Reason, Stages
from dryspell.trade.hours import read_hours

STAGES = Stages(touch_dry=at(3, "15:00"), rain_safe=at(4, "02:00"), sandable=at(4, "14:00"))
WET = film(3, "10:30", at(3, "22:30"), stages=STAGES)


def risk(day, clock, hazard="dew", share=0.8):
    reason = Reason(limit=Limit.MARGIN_HOLD, value=0.2, bound=1.0, unit="K", at=at(day, clock))
    return FilmRisk(hazard=hazard, at=at(day, clock), share=share, safe_at=at(3, "22:30"), reason=reason)


def seen(day, clock, *risks, on=WET, **changes):
    return outlook(at(day, clock), (), film=on, film_risk=risks, **changes)


class Watch(Timeline):
    """Plays (day, clock, *risks) and tells what was said how; what is for the page only where that is asked for."""

    def watch(self, *steps, least=Level.PLAN, **changes):
        said = []
        for day, clock, *risks in steps:
            notices = self.tick(seen(day, clock, *risks, **changes))
            parts = [part for notice in notices for part in notice.each]
            said += [(clock, p.kind, str(p.hazard), p.level) for p in parts if p.level.reaches(least)]
        return said


DEW = risk(3, "19:30")


def test_dew_is_told_three_hours_ahead_and_once_more_45_minutes_before():
    steps = [(3, "12:00", DEW), (3, "16:29", DEW), (3, "16:30", DEW), (3, "18:44", DEW), (3, "18:45", DEW)]
    assert Watch().watch(*steps, (3, "19:00", DEW), (3, "19:30", DEW)) == [
        ("16:30", Kind.FILM_RISK, "dew", Level.NOW),
        ("18:45", Kind.FILM_RISK, "dew", Level.NOW),
    ]
    once = Watch(Habits(again=0)).watch(*steps)
    assert [clock for clock, *_ in once] == ["16:30"]


def test_what_comes_in_the_night_is_told_before_the_quiet_hours_and_rings_nobody():
    cold = risk(4, "03:00", "cold")
    steps = [(3, "19:59", cold), (3, "20:00", cold), (3, "23:59", cold), (4, "02:15", cold), (4, "03:00", cold)]
    assert Watch().watch(*steps) == [("20:00", Kind.FILM_RISK, "cold", Level.NOW)]


@pytest.mark.parametrize(
    ("hours", "told_at"),
    [("08:00-18:00", "17:00"), ("Mon-Sun 08:00-20:30", "19:30"), ("Sun 08:00-12:00", "20:00")],
)
def test_what_comes_when_nobody_works_is_told_an_hour_before_they_leave(hours, told_at):
    # The third is a Thursday: who works on Sundays only has left long ago.
    watch = Watch(Habits(piece={"rail": PieceHabits(hours=read_hours(hours))}))
    steps = [(3, f"{hour}:{minute}") for hour in (15, 16, 17, 18, 19, 20) for minute in ("00", "30")]
    said = watch.watch(*((day, clock, risk(4, "03:00", "cold")) for day, clock in steps))
    assert said == [(told_at, Kind.FILM_RISK, "cold", Level.NOW)]


def test_of_the_sun_nothing_is_said_earlier_for_anybody_who_leaves():
    watch = Watch(Habits(piece={"rail": PieceHabits(hours=read_hours("08:00-10:00"))}))
    sun = risk(3, "14:00", "sun")
    assert [clock for clock, *_ in watch.watch((3, "11:00", sun), (3, "12:59", sun), (3, "13:00", sun))] == ["13:00"]


def test_what_comes_in_the_night_and_was_not_known_in_the_evening_rings_while_it_can_be_kept_off():
    rain = risk(4, "01:30", "rain")
    watch = Watch()
    assert watch.watch((3, "20:30"), (3, "23:00", rain)) == [("23:00", Kind.FILM_RISK, "rain", Level.WAKE)]
    assert watch.watch((3, "23:01", rain), (4, "00:50", rain), (4, "01:30", rain)) == []


def test_what_has_begun_already_in_the_night_rings_nobody():
    assert Watch().watch((3, "23:00", risk(3, "23:00", "rain")), (3, "23:10", risk(3, "23:15", "rain"))) == []


def test_what_can_wait_for_the_morning_does():
    rain, slow = risk(4, "09:00", "rain"), film(3, "10:30", None)
    steps = [(3, "20:00", rain), (4, "06:00", rain), (4, "06:29", rain), (4, "06:30", rain)]
    assert Watch().watch(*steps, on=slow) == [("06:30", Kind.FILM_RISK, "rain", Level.NOW)]


def test_of_the_sun_it_is_enough_to_hear_once_an_hour_before():
    sun = risk(3, "14:00", "sun")
    steps = [(3, "11:00", sun), (3, "12:59", sun), (3, "13:00", sun), (3, "13:15", sun), (3, "14:00", sun)]
    assert Watch().watch(*steps) == [("13:00", Kind.FILM_RISK, "sun", Level.NOW)]


class TestShade:
    """Whoever was told with the word to coat to hang the shade is not told of the sun again."""

    shaded = (window(3, "09:45", "14:00", hang_shade_by=at(3, "11:15")),)
    on = film(3, "10:30", at(3, "22:30"), number=4, stages=STAGES)

    def after(self, *steps, windows=shaded, opened="09:45", habits=None):
        watch = Watch(habits)
        watch.tick(outlook(at(3, opened), windows))
        return [(clock, kind) for clock, kind, *_ in watch.watch(*steps, on=self.on, coat=5)]

    def test_the_sun_that_was_told_of_with_the_word_to_coat_is_not_told_of_again_all_day(self):
        told = risk(3, "11:30", "sun", None)
        later = [(3, clock, risk(3, clock, "sun", None)) for clock in ("11:30", "12:30", "13:00", "14:45")]
        assert self.after((3, "10:30", told), *later, (3, "15:00"), (3, "15:30")) == []
        # Nor is it taken back by a message, if it does not come.
        assert self.after((3, "10:30", told), (3, "10:40"), (3, "11:10")) == []

    def test_a_sun_that_nobody_was_told_of_is(self):
        sun, said = (3, "10:30", risk(3, "11:30", "sun", None)), [("10:30", Kind.FILM_RISK)]
        assert self.after(sun, windows=[window(3, "09:45", "14:00")]) == said
        # Sooner than what was said, or over four hours after that.
        assert self.after((3, "10:30", risk(3, "11:00", "sun", None))) == said
        assert (
            self.after(sun, windows=[window(3, "07:15", "14:00", hang_shade_by=at(3, "11:15"))], opened="07:15") == said
        )

    def test_it_is_told_of_where_somebody_hears_of_wet_films_and_not_of_windows(self):
        sun = (3, "10:30", risk(3, "11:30", "sun", None))
        assert self.after(sun, habits=Habits(all_told_to_coat=False)) == [("10:30", Kind.FILM_RISK)]

    def test_dew_and_the_sun_on_the_next_coat_are_told_of(self):
        assert self.after((3, "16:30", DEW)) == [("16:30", Kind.FILM_RISK)]
        watch = Watch()
        watch.tick(outlook(at(3, "09:45"), self.shaded))
        other = film(3, "10:30", at(3, "22:30"), number=5, stages=STAGES)
        said = watch.watch((3, "10:30", risk(3, "11:30", "sun", None)), on=other, coat=6)
        assert [kind for _, kind, *_ in said] == [Kind.FILM_RISK]


def test_a_danger_that_is_small_or_flickers_about_a_third_is_one_message():
    assert Watch().watch((3, "17:00", risk(3, "19:30", share=0.29))) == []
    flicker = [(3, f"17:{m:02}", risk(3, "19:30", share=0.45 if m % 20 else 0.2)) for m in range(5, 60, 5)]
    assert len(Watch().watch(*flicker)) == 1


def test_a_danger_that_is_gone_for_half_an_hour_is_taken_back_and_its_message_is_not_delivered_any_more():
    watch = Watch()
    (notice,) = watch.tick(seen(3, "16:30", DEW))
    before = watch.memory
    assert watch.watch((3, "17:00"), (3, "17:15", DEW), (3, "17:20"), (3, "17:49")) == []
    assert settled(before, watch.memory) == set()
    assert watch.watch((3, "17:50"), (3, "17:51")) == [("17:50", Kind.RISK_OVER, "dew", Level.NOW)]
    assert settled(before, watch.memory) == {notice.key}


def test_one_that_comes_again_is_told_again_and_not_taken_back_a_second_time():
    said = Watch().watch(
        (3, "16:30", DEW), (3, "16:40"), (3, "17:10"), (3, "17:20", DEW), (3, "17:30"), (3, "18:00"), (3, "18:30")
    )
    assert [kind for _, kind, *_ in said] == [Kind.FILM_RISK, Kind.RISK_OVER, Kind.FILM_RISK]


def test_one_that_comes_again_the_next_morning_is_not_taken_back_and_told_again_within_six_hours():
    slow = film(3, "10:30", None)
    evening = [(3, "18:00", risk(3, "20:30")), (3, "18:10"), (3, "18:40")]
    dew = risk(4, "09:30")
    morning = [(4, "06:30", dew), (4, "06:40"), (4, "07:10"), (4, "07:20", dew), (4, "07:40")]
    said = Watch().watch(*evening, *morning, on=slow)
    assert [(clock, kind) for clock, kind, *_ in said] == [
        ("18:00", Kind.FILM_RISK),
        ("18:40", Kind.RISK_OVER),
        ("06:30", Kind.FILM_RISK),
    ]


def test_one_that_comes_over_an_hour_sooner_is_told_again():
    said = Watch().watch((3, "16:30", DEW), (3, "16:40", risk(3, "18:30")), (3, "16:50", risk(3, "18:29")))
    assert [clock for clock, *_ in said] == ["16:30", "16:50"]


def test_each_danger_is_told_by_itself_and_those_of_one_instant_in_one_message():
    watch = Watch()
    both = [DEW, risk(3, "18:00", "rain")]
    (notice,) = watch.tick(seen(3, "16:30", *both))
    assert [part.hazard for part in notice.each] == ["rain", "dew"]
    assert notice.pieces == ("rail",)


def test_what_has_come_and_gone_is_over_in_silence_and_the_next_night_is_another():
    watch, slow = Watch(), film(3, "10:30", None)
    told = watch.watch((3, "16:30", DEW), (3, "19:30", risk(3, "19:30")), (3, "20:30"), (4, "07:00"), on=slow)
    assert len(told) == 1
    assert len(watch.watch((4, "17:00", risk(4, "19:00")), on=slow)) == 1


def test_a_film_that_is_dew_safe_sooner_is_called_so_and_not_free_of_dew():
    watch = Watch()
    watch.watch((3, "16:30", DEW))
    safe = film(3, "10:30", at(3, "18:00"), stages=STAGES)
    assert watch.watch((3, "18:00"), (3, "18:30"), (3, "19:00"), on=safe) == [
        ("18:00", Kind.DEW_SAFE, "None", Level.PLAN)
    ]


def test_without_weather_a_danger_that_was_told_stands():
    watch = Watch()
    watch.watch((3, "16:30", DEW))
    before = watch.memory["rail"].film
    watch.tick(unknown(at(3, "17:00"), film=WET))
    assert watch.memory["rail"].film == before


def test_another_coat_has_dangers_of_its_own_and_a_corrected_hour_is_the_same_coat():
    watch = Watch()
    watch.watch((3, "16:30", DEW))
    again = film(3, "10:50", at(3, "22:30"), stages=STAGES)
    assert watch.watch((3, "16:40", DEW), on=again) == []
    redone = film(3, "16:45", at(4, "08:00"), number=4, stages=Stages())
    said = watch.watch((3, "16:50", DEW), on=redone, coat=5)
    assert said == [("16:50", Kind.FILM_RISK, "dew", Level.NOW)]


def test_dew_safe_and_rain_safe_are_for_the_page_unless_somebody_was_told_of_dew_or_rain():
    fast = film(3, "07:00", at(3, "14:00"), stages=Stages(rain_safe=at(3, "17:00")))
    steps = [(3, "14:00"), (3, "14:01"), (3, "17:00"), (3, "17:01")]
    assert Watch().watch(*steps, on=fast, least=Level.LOG) == [
        ("14:00", Kind.DEW_SAFE, "None", Level.LOG),
        ("17:00", Kind.RAIN_SAFE, "None", Level.LOG),
    ]
    watch = Watch()
    watch.watch((3, "11:00", risk(3, "13:30"), risk(3, "13:45", "rain")), on=fast)
    levels = [level for *_, level in watch.watch(*steps, on=fast, least=Level.LOG)]
    assert levels == [Level.LOG, Level.PLAN]  # the one that lets the cover come off


class TestMilestones:
    """Each once, at a time for it."""

    hours = Habits(piece={"rail": PieceHabits(hours=((frozenset(range(7)), time(8), time(18)),))})
    done = film(
        3, "10:30", at(3, "20:00"), number=8,
        stages=Stages(sandable=at(4, "14:00"), in_service=at(11, "09:00"), full_cure=at(25, "12:00")),
    )  # fmt: skip

    def test_ready_to_sand_is_said_in_working_hours_else_in_the_next_morning(self):
        ready = [(4, "13:59"), (4, "14:00"), (4, "14:01"), (5, "08:00")]
        said = Watch(self.hours).watch(*ready)
        assert [(clock, kind) for clock, kind, *_ in said] == [("14:00", Kind.READY_TO_SAND)]
        late = film(3, "10:30", at(3, "20:00"), stages=Stages(sandable=at(4, "19:00")))
        said = Watch(self.hours).watch((4, "19:00"), (4, "20:00"), (5, "03:00"), (5, "06:29"), (5, "06:30"), on=late)
        assert said == [("06:30", Kind.READY_TO_SAND, "None", Level.PLAN)]

    def test_whoever_is_told_to_coat_or_when_to_sand_is_not_told_to_sand(self):
        timeline = Timeline()
        tomorrow = [window(4, "16:00", "18:00")]
        on = {"film": WET, "coat": 4}
        said = timeline.play((3, "18:00", tomorrow, on), (4, "14:00", tomorrow, on), (4, "14:01", tomorrow, on))
        assert [kind for _, kind, _ in said] == [Kind.TOMORROW]
        timeline = Timeline()
        said = timeline.play((4, "14:00", [window(4, "14:00", "17:00")], on), (4, "18:30", (), on))
        assert [kind for _, kind, _ in said] == [Kind.COAT_NOW]

    def test_it_waits_for_a_window_of_that_day_that_leaves_time_to_sand_when_it_opens(self):
        on = {"film": film(3, "10:30", at(3, "20:00"), stages=Stages(sandable=at(4, "06:40"))), "coat": 4}
        long, short = [window(4, "11:00", "18:00")], [window(4, "11:00", "13:00")]
        said = Timeline().play(
            (4, "06:45", long, on), (4, "10:30", long, on), (4, "11:00", long, on), (4, "12:00", (), on)
        )
        assert [kind for _, kind, _ in said] == [Kind.COAT_NOW, Kind.WAIT]
        assert [kind for _, kind, _ in Timeline().play((4, "06:45", short, on))] == [Kind.READY_TO_SAND]
        said = Timeline().play((4, "06:45", long, on), (4, "08:00", (), on))
        assert [(clock, kind) for clock, kind, _ in said] == [("08:00", Kind.READY_TO_SAND)]

    def test_what_was_long_ago_is_not_news_to_a_daemon_that_was_off(self):
        assert Watch().watch((6, "10:00"), least=Level.LOG) == []

    def test_a_build_up_is_told_of_when_it_is_hard_may_be_used_and_is_cured(self):
        days = [(3, "20:00"), (4, "14:00"), (5, "08:00"), (11, "09:00"), (12, "10:00"), (25, "12:00"), (26, "12:00")]
        said = Watch(self.hours).watch(*days, on=self.done, coat=9)
        assert [(clock, kind) for clock, kind, *_ in said] == [
            ("14:00", Kind.BUILT_UP),
            ("09:00", Kind.IN_SERVICE),
            ("12:00", Kind.CURED),
        ]

    def test_upkeep_is_due_a_year_after_the_last_coat_and_each_year_from_then_on(self):
        watch, year = Watch(self.hours), timedelta(days=365)
        for after, kinds in (
            (timedelta(days=364), []),
            (year + timedelta(hours=1), [Kind.UPKEEP]),
            (year + timedelta(days=1), []),
            (2 * year + timedelta(hours=2), [Kind.UPKEEP]),
        ):
            now = self.done.coat.finished_at + after
            notices = watch.tick(outlook(now, (), film=self.done, coat=9))
            assert [n.kind for n in notices if n.level is not Level.LOG] == kinds
        # A daemon that begins long after it was due is silent until the next year.
        late = outlook(self.done.coat.finished_at + year + timedelta(days=90), (), film=self.done, coat=9)
        assert Watch(self.hours).tick(late) == []

    def test_a_spoilt_coat_on_top_has_reached_nothing(self):
        spoilt = film(3, "10:30", at(3, "20:00"), stages=STAGES, spoilt="rain")
        assert Watch().watch((4, "14:00"), on=spoilt, least=Level.LOG) == []


class TestOvercoat:
    """The time to coat unsanded."""

    on = film(3, "10:30", at(3, "20:00"), stages=Stages(sand_first_after=at(6, "10:00")))
    unsanded = Habits(piece={"rail": PieceHabits(unsanded=frozenset({4}))})
    steps = ((5, "20:59"), (5, "22:30"), (6, "06:30"), (6, "07:59"), (6, "08:00"), (6, "09:00"), (6, "10:00"))

    def test_its_end_is_told_twice_and_then_that_it_is_past(self):
        said = Watch(self.unsanded).watch(*self.steps, (6, "10:01"), on=self.on)
        assert said == [
            ("08:00", Kind.OVERCOAT_CLOSING, "None", Level.NOW),
            ("10:00", Kind.OVERCOAT_PAST, "None", Level.PLAN),
        ]
        day = film(3, "10:30", at(3, "20:00"), stages=Stages(sand_first_after=at(6, "17:00")))
        said = Watch(self.unsanded).watch((6, "06:30"), (6, "12:00"), (6, "15:00"), (6, "16:00"), on=day)
        assert [clock for clock, *_ in said] == ["06:30", "15:00"]

    def test_whoever_sands_before_that_coat_anyway_finds_it_on_the_page(self):
        said = Watch().watch(*self.steps, on=self.on, least=Level.LOG)
        assert {level for *_, level in said} == {Level.LOG}

    def test_it_is_no_matter_to_a_piece_that_is_built_up(self):
        said = Watch(self.unsanded).watch(*self.steps, on=self.on, coat=9, least=Level.LOG)
        assert [kind for _, kind, *_ in said if kind in (Kind.OVERCOAT_CLOSING, Kind.OVERCOAT_PAST)] == []


@pytest.mark.parametrize(("clock", "is_quiet"), [("21:29", False), ("21:30", True), ("06:29", True), ("06:30", False)])
def test_quiet_hours_run_over_midnight(clock, is_quiet):
    hour, minute = map(int, clock.split(":"))
    assert Quiet(time(21, 30), time(6, 30)).holds(time(hour, minute)) is is_quiet
