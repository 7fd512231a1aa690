"""Every kind of message as it arrives: short enough for a watch, with something to do, and nothing promised."""

import re

import pytest

from alerts.fakes import at, film, outlook, unknown, window
from alerts.test_decide_plan import plan
from alerts.test_text import LATER, W, about
from alerts.timeline import Timeline
from dryspell.alerts.kinds import Kind
from dryspell.alerts.model import Habits, PieceHabits
from dryspell.alerts.text import compose, notice_id
from dryspell.outlook.model import FilmRisk, Limit, Mix, Pot, Reason, Stages
from dryspell.trade.safety import DATA_SHEET, DUST, RAGS, SOLVENT

STAGES = Stages(
    touch_dry=at(3, "15:00"), rain_safe=at(3, "21:00"), sandable=at(4, "14:00"), sand_first_after=at(6, "17:00")
)
WET = film(3, "10:30", at(3, "20:00"), stages=STAGES)
SOFT = film(
    3, "08:00", at(3, "15:00"),
    stages=Stages(hot_open=at(3, "10:00"), hot_close=at(3, "13:00"), sandable=at(4, "09:00")),
)  # fmt: skip
LAST = film(
    3, "10:30", at(3, "20:30"), number=8,
    stages=Stages(sandable=at(4, "14:00"), in_service=at(11, "09:00"), full_cure=at(25, "09:00")),
)  # fmt: skip
MIXED = [window(3, "10:00", "12:00", mix=Mix(pot_life_h=4.0, brushable_h=2.67, induction_min=(0, 15)))]
FORBIDDEN = re.compile(r"(?<!dew-)(?<!rain-)\bsafe\b|guarantee|None|[{}_]|\bcoat 0\b", re.IGNORECASE)
POT = Pot(mixed_at=at(3, "10:00"), brush_from=at(3, "10:15"), brush_until=at(3, "12:40"), goes_off_at=at(3, "14:00"))
COATING = {"hot": "pu_clear_2k", "pot": "pu_clear_2k"}
PLANS = {"plan": [plan((2, "10:00")), plan((4, "10:00"), why="people"), plan((4, "10:00"))]}


def risk(hazard, limit, value, bound, unit, clock, share=0.7):
    reason = Reason(limit=limit, value=value, bound=bound, unit=unit, at=at(3, clock))
    return FilmRisk(hazard=hazard, at=at(3, clock), share=share, safe_at=at(3, "21:00"), reason=reason)


DEW = risk("dew", Limit.MARGIN_HOLD, 0.4, 1.0, "K", "19:30")
RAIN = risk("rain", Limit.RAIN, 1.4, 0.2, "mm", "19:00")
SUN = risk("sun", Limit.SUN, 8.0, 5.5, "K", "13:00", None)
COLD = risk("cold", Limit.COLD, 3.2, 5.0, "degC", "18:00")


def wet(clock, *risks, day=3):
    return outlook(at(day, clock), LATER, film=WET, film_risk=risks)


PLAYS = {
    "windows": (
        Habits(),
        [
            outlook(at(2, "18:00"), W),
            outlook(at(3, "09:45"), W),
            outlook(at(3, "12:30"), W),
            outlook(at(3, "12:45"), ()),
        ],
    ),
    "lost": (
        Habits(),
        [outlook(at(2, "18:00"), W), unknown(at(2, "19:00")), outlook(at(2, "20:00"), W), outlook(at(2, "20:30"), W)],
    ),
    "hot": (Habits(piece={"rail": PieceHabits(hot=frozenset({4}))}), [outlook(at(3, "10:00"), MIXED, film=SOFT)]),
    "dew": (Habits(), [wet("16:30", DEW), wet("18:45", DEW), wet("20:00")]),
    "rain": (Habits(quiet=None), [wet("16:30", RAIN), wet("21:00")]),
    "sun": (Habits(), [wet("12:00", SUN), wet("12:10"), wet("12:40")]),
    "cold": (Habits(), [wet("16:30", COLD)]),
    "sand": (Habits(), [wet("14:00", day=4)]),
    "overcoat": (
        Habits(piece={"rail": PieceHabits(unsanded=frozenset({4}))}),
        [outlook(at(6, clock), (), film=WET) for clock in ("06:30", "15:00", "17:00")],
    ),
    "pot": (Habits(), [outlook(at(3, clock), (), pot=POT) for clock in ("10:15", "12:20")]),
    "plan": (Habits(), [outlook(at(1, clock), ()) for clock in ("08:00", "09:00", "12:00")]),
    "done": (
        Habits(),
        [outlook(at(day, "14:00"), (), coat=9, film=LAST) for day in (4, 11, 25)]
        + [outlook(at(3, "14:00").replace(year=2027), (), coat=9, film=LAST)],
    ),
}


def messages(name, units="metric"):
    habits, outlooks = PLAYS[name]
    timeline = Timeline(habits)
    for seen, made in zip(outlooks, PLANS.get(name, [None] * len(outlooks)), strict=True):
        for notice in timeline.tick(seen, plan=made):
            found = about(seen, COATING.get(name, "oil_varnish_1k"), hot=name == "hot")
            yield notice, *compose(notice, found, units, link="http://shed.local:8080")


def test_these_are_all_the_kinds_there_are():
    assert {notice.kind for name in PLAYS for notice, *_ in messages(name)} == set(Kind)


@pytest.mark.parametrize("name", PLAYS)
def test_a_message_fits_a_watch_has_something_to_do_and_ends_with_its_id(name):
    for notice, title, body in messages(name):
        assert len(title) <= 40
        assert title.endswith(": Toe rail")
        assert "\n" not in title
        assert body.splitlines()[-1] == f"[{notice_id(notice)}]"
        assert len(body.splitlines()) >= 3
        assert not FORBIDDEN.search(f"{title} {body}")


@pytest.mark.parametrize("name", PLAYS)
def test_us_units_leave_nothing_metric(name):
    for _, title, body in messages(name, "us"):
        assert not re.search(r"\d (°C|K|m/s|mm)\b", f"{title}\n{body}")


WHAT_TO_DO = {
    Kind.TOMORROW: "begin 08:50: sand P400",
    Kind.COAT_NOW: "Begin 09:45",
    Kind.HOT_COAT: "no sanding, only no dust on it. This one has to be on by 13:00",
    Kind.LAST_CALL: "first stroke by 13:15",
    Kind.WAIT: "Leave the can shut.",
    Kind.WEATHER_LOST: "Judge dew, rain and cold yourself",
    Kind.WEATHER_BACK: "Now: wait until tomorrow 09:45.",
    Kind.FILM_RISK: "before 1",
    Kind.RISK_OVER: "Nothing more to do.",
    Kind.DEW_SAFE: "A cover that is on against",
    Kind.RAIN_SAFE: "A cover that is on against rain may come off.",
    Kind.READY_TO_SAND: "Check with your thumb",
    Kind.OVERCOAT_CLOSING: "plan to sand",
    Kind.OVERCOAT_PAST: "Sand it all over with",
    Kind.BUILT_UP: "till then no load",
    Kind.IN_SERVICE: "Fit the hardware",
    Kind.CURED: "may be washed",
    Kind.POT_READY: "Stir it and brush.",
    Kind.POT_ENDING: "Finish at a wet edge and mix anew",
    Kind.PLAN_MOVED: "Do something else that day.",
    Kind.UPKEEP: "put on a coat or two before it fails",
}


@pytest.mark.parametrize("name", PLAYS)
def test_each_message_says_what_to_do(name):
    for notice, _, body in messages(name):
        wanted = WHAT_TO_DO[notice.kind].replace("before 1", "from 1" if notice.hazard == "cold" else "before 1")
        assert wanted in body


def test_what_helps_a_film_is_said_by_what_comes_to_it():
    first = {name: next(messages(name))[1:] for name in ("dew", "rain", "sun", "cold")}
    assert [title for title, _ in first.values()] == [
        "Dew 19:30, cover it: Toe rail",
        "Rain 19:00, cover it: Toe rail",
        "Sun 13:00, shade it: Toe rail",
        "Cold 18:00, warm it: Toe rail",
    ]
    assert "Chance: 70 %." in first["dew"][1]
    assert "Chance" not in first["sun"][1]  # one forecast, and no odds


def test_cautions_come_with_the_step_they_are_for_and_no_other():
    shown = {notice.kind: body for name in PLAYS for notice, _, body in messages(name)}
    assert {kind for kind, body in shown.items() if RAGS in body} == {Kind.COAT_NOW}
    sanding = {Kind.READY_TO_SAND, Kind.OVERCOAT_PAST, Kind.UPKEEP}
    assert {kind for kind, body in shown.items() if DUST in body} == sanding
    assert {kind for kind, body in shown.items() if DATA_SHEET in body} == {
        *sanding, Kind.COAT_NOW, Kind.HOT_COAT, Kind.POT_READY, Kind.FILM_RISK,
    }  # fmt: skip
    assert SOLVENT in next(messages("cold"))[2]  # heat near a film that gives off solvent
    assert SOLVENT not in next(messages("dew"))[2]
