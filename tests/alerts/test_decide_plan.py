"""What the plan moves, as a timeline: said once, when it has stood, and only where somebody has to know."""

from datetime import timedelta

import pytest

from alerts.fakes import at, outlook, window
from alerts.test_text import about
from dryspell.alerts.decide import decide, settled
from dryspell.alerts.kinds import Kind, Level
from dryspell.alerts.memory import PieceMemory
from dryspell.alerts.model import Habits, Why
from dryspell.alerts.text import compose
from dryspell.outlook.model import Limit, Provenance, Reason, Stages
from dryspell.outlook.plan_model import Moved, Plan, PlannedCoat

RAIN = Reason(limit=Limit.RAIN, value=1.4, bound=0.2, unit="mm", at=at(3, "15:00"))


def plan(*starts, piece="rail", first=4, coats=8, why=None, reaches=None, reason=None, finish=None):
    """Return a plan with coats at (day, clock); the first one has moved where `why` is told."""
    planned = tuple(
        PlannedCoat(
            number=first + k, coating="oil_varnish_1k", prepare_at=at(day, "08:00"), start=at(day, clock),
            last_stroke=at(day, clock) + timedelta(hours=1), probability=None, thinner_parts=0, wet_film_um=80,
            abrasive="P400", hot=False, sand_first=False, stages=Stages(),
            moved=Moved(planned_at=at(2, "10:00"), why=why, reason=reason) if why and k == 0 else None,
        )
        for k, (day, clock) in enumerate(starts)
    )  # fmt: skip
    weather = Provenance(
        source="open-meteo", attribution="", issued_at=at(1, "06:00"), age_h=1, reaches=reaches or at(16, "00:00")
    )
    return Plan(
        piece=piece, piece_name=piece, site="mooring", timezone="Europe/Berlin", made_at=at(1, "06:00"), coats=coats,
        left=coats - first + 1, planned=planned, odds_pct=None, built_up_at=finish, in_service_at=None, reason=reason,
        weather=weather,
    )  # fmt: skip


class Play:
    def __init__(self, **habits):
        self.memory, self.habits = {}, Habits(**habits)

    def tick(self, day, clock, *plans, windows=(), coat=4):
        now = at(day, clock)
        seen = [outlook(now, windows, coat=coat, piece=each.piece, piece_name=each.piece) for each in plans]
        by_piece = {each.piece: each for each in plans}
        notices, memory = decide(self.memory, seen, now, self.habits, by_piece)
        self.before = self.memory
        self.memory = {key: PieceMemory.model_validate_json(m.model_dump_json()) for key, m in memory.items()}
        assert decide(self.memory, seen, now, self.habits, by_piece)[0] == []
        return [notice for notice in notices if notice.kind is Kind.PLAN_MOVED]

    def said(self, *steps):
        """Play (day, clock, plan); return when it was said, and why."""
        return [(day, clock, n.why) for day, clock, seen in steps for n in self.tick(day, clock, seen)]


TUE, THU, FRI, TEN, TWELVE = (plan((day, "10:00")) for day in (2, 4, 5, 10, 12))


def test_the_first_plan_is_no_news_nor_is_another_hour_of_the_day():
    assert Play().said((1, "08:00", TUE), (1, "12:00", plan((2, "14:00"))), (1, "18:00", plan((2, "08:00")))) == []


def test_another_day_is_told_once_when_it_has_stood_for_three_hours():
    steps = [(1, "08:00", TUE), (1, "09:00", THU), (1, "11:45", THU), (1, "12:00", THU), (1, "18:00", THU)]
    assert Play().said(*steps) == [(1, "12:00", Why.LATER)]


def test_a_plan_that_goes_back_before_it_is_told_was_never_moved():
    steps = [(1, "08:00", TUE), (1, "09:00", THU), (1, "11:00", TUE), (1, "13:00", THU), (1, "15:00", THU)]
    assert Play().said(*steps) == []


def test_it_is_told_at_most_once_a_day_however_the_forecast_flickers():
    play, said = Play(quiet=None), []
    for hour in range(0, 48, 4):
        seen = (THU, FRI)[hour // 4 % 2] if hour % 8 else plan((6, "10:00"))
        day, clock = 1 + hour // 24, f"{hour % 24:02}:00"
        said += play.said((day, clock, seen), (day, f"{hour % 24 + 3:02}:30", seen))
    assert len(said) <= 2


def test_far_days_are_followed_in_silence_and_near_ones_told():
    assert Play().said((1, "08:00", TEN), (1, "09:00", TWELVE), (1, "15:00", TWELVE)) == []
    assert Play().said((1, "08:00", TEN), (1, "09:00", THU), (1, "12:00", THU)) == [(1, "12:00", Why.SOONER)]


def test_a_day_that_was_told_is_told_again_when_it_moves_however_far():
    steps = [(1, "08:00", TUE), (1, "09:00", TEN), (1, "12:00", TEN), (2, "08:00", TWELVE), (2, "13:00", TWELVE)]
    assert Play().said(*steps) == [(1, "12:00", Why.LATER), (2, "13:00", Why.LATER)]


def test_a_day_without_hours_any_more_is_told_where_the_weather_there_is_known():
    gone = plan(reason=RAIN)
    assert Play().said((1, "08:00", TUE), (1, "09:00", gone), (1, "12:00", gone)) == [(1, "12:00", Why.GONE)]
    short = plan(reaches=at(2, "06:00"))
    assert Play().said((1, "08:00", TUE), (1, "09:00", short), (1, "12:00", short)) == []


def test_after_a_forecast_that_did_not_reach_so_far_the_day_is_still_known():
    short = plan(reaches=at(2, "06:00"))
    steps = [(1, "08:00", TUE), (1, "09:00", short), (1, "12:00", THU), (1, "15:00", THU)]
    assert Play().said(*steps) == [(1, "15:00", Why.LATER)]


def test_an_hour_that_went_by_is_nobodys_news():
    assert Play().said((1, "08:00", plan((1, "10:00"))), (1, "12:00", TUE), (1, "16:00", TUE)) == []


def test_nothing_is_told_in_quiet_hours_and_in_the_morning_what_still_is_so():
    steps = [(1, "18:00", TUE), (1, "19:00", THU), (1, "22:30", THU), (2, "06:15", THU), (2, "06:30", THU)]
    assert Play().said(*steps) == [(2, "06:30", Why.LATER)]


def test_a_recorded_coat_ends_what_was_told_of_it():
    play = Play()
    assert len(play.said((1, "08:00", TUE), (1, "09:00", THU), (1, "12:00", THU))) == 1
    (key,) = (standing.key for standing in play.memory["rail"].standing)
    play.tick(1, "13:00", THU, coat=5)  # the plan does not know of it yet
    assert key in settled(play.before, play.memory)
    assert play.said((1, "14:00", plan((3, "10:00"), first=5))) == []


def test_of_a_window_that_was_told_of_wait_says_it_and_the_plan_nothing():
    play, tomorrow = Play(), [window(2, "09:00", "14:00")]
    play.tick(1, "18:00", TUE, windows=tomorrow)
    play.tick(1, "19:00", TUE)  # the window has gone: "wait"
    assert play.said((1, "19:15", THU), (2, "06:30", THU), (2, "08:00", THU)) == []
    # What moves later is news again.
    assert play.said((2, "12:00", FRI), (2, "15:00", FRI)) == [(2, "15:00", Why.LATER)]


def test_a_day_whose_window_was_told_is_not_told_again():
    play = Play()
    play.tick(1, "17:00", THU)
    play.tick(1, "18:00", THU, windows=[window(2, "09:00", "14:00")])
    assert [play.tick(1, clock, TUE, windows=[window(2, "09:00", "14:00")]) for clock in ("18:15", "21:20")] == [[], []]


def test_the_day_all_coats_are_on_is_told_by_itself_where_it_is_near():
    was = plan((2, "10:00"), (3, "10:00"), first=7, finish=at(3, "11:00"))
    now = plan((2, "10:00"), (5, "10:00"), first=7, finish=at(5, "11:00"))
    play = Play()
    play.tick(1, "08:00", was, coat=7)
    play.tick(1, "09:00", now, coat=7)
    (notice,) = play.tick(1, "12:00", now, coat=7)
    title, body = compose(notice, about(outlook(at(1, "12:00"), (), coat=7)))
    assert title == "All coats on Fri 5 Jun: Toe rail"
    assert "All coats are on Fri 5 Jun then, before it was Wed 3 Jun." in body
    assert play.tick(1, "15:00", now, coat=7) == []
    far = [plan((2, "10:00"), (day, "10:00"), first=7, finish=at(day, "11:00")) for day in (8, 11)]
    play = Play()
    assert [
        play.tick(1, clock, seen, coat=7)
        for clock, seen in zip(("08:00", "09:00", "12:00"), [*far, far[1]], strict=True)
    ] == [[], [], []]


def test_pieces_of_a_site_that_move_together_are_one_message():
    play = Play()
    tue, thu = ([plan((day, "10:00"), piece=piece) for piece in ("rail", "hatch")] for day in (2, 4))
    for clock, seen in (("08:00", tue), ("09:00", thu)):
        assert play.tick(1, clock, *seen) == []
    (notice,) = play.tick(1, "12:00", *thu)
    assert (notice.pieces, notice.level, notice.group) == (("rail", "hatch"), Level.PLAN, "mooring")


@pytest.mark.parametrize(
    ("seen", "title", "lines"),
    [
        (
            plan((4, "10:00"), why="weather", reason=RAIN, finish=at(12, "11:00")),
            "Coat 4 moves to Thu 10:00: Toe rail",
            [
                "Coat 4 of 8 was planned for Tue 10:00, and is for Thu 10:00 now.",
                "Rain 1.4 mm, heaviest Wed 15:00, before the film is rain-safe (less than 0.2 mm needed).",
                "All coats are on Fri 12 Jun then.",
                "Do something else that day. You hear when the new one is there.",
            ],
        ),
        (
            plan((4, "10:00"), why="people"),
            "Coat 4 moves to Thu 10:00: Toe rail",
            ["Whoever does it is at another piece then, or off."],
        ),
        (
            plan(reason=RAIN),
            "No day for coat 4 now: Toe rail",
            ["Plan no coat that day. You hear of the next window."],
        ),
    ],
)
def test_the_words_have_both_days_why_and_what_to_do(seen, title, lines):
    play = Play()
    play.said((1, "08:00", TUE), (1, "09:00", seen))
    (notice,) = play.tick(1, "12:00", seen)
    shown, body = compose(notice, about(outlook(at(1, "12:00"))))
    assert shown == title
    assert [line for line in lines if line not in body.splitlines()] == []
