"""The charts of days at a glance, of plans and of reviews: what is drawn is what was worked out."""

import json
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from alerts.fakes import at, outlook, window
from dryspell.alerts.picture_look import DARK, LIGHT
from dryspell.outlook.model import Stages
from dryspell.outlook.plan_model import Beyond, Plan, PlannedCoat, Plans
from dryspell.outlook.review import Reviewed
from dryspell.web.charts.plan import GOOD_ODDS, is_firm, plan_chart
from dryspell.web.charts.review import FEW, review_chart, review_rows
from dryspell.web.charts.strips import days_at_a_glance, strips_chart
from web.charts.scene import seen
from web.charts.schema import assert_valid

BERLIN = ZoneInfo("Europe/Berlin")


def values(spec, kind):
    return [row for layer in spec["layer"] if layer["mark"]["type"] == kind for row in layer["data"]["values"]]


def coat(number, day, begins, odds=0.9, **more):
    start = at(day, begins)
    plain = {
        "coating": "oil_varnish_1k", "prepare_at": start - timedelta(hours=1),
        "last_stroke": start + timedelta(hours=1),
        "thinner_parts": 0.0, "wet_film_um": 80.0, "abrasive": "P400", "hot": False, "sand_first": False,
        "stages": Stages(),
    }  # fmt: skip
    return PlannedCoat(number=number, start=start, probability=odds, **plain | more)


def plan(piece="rail", coats=(), **more):
    plain = {
        "piece": piece, "piece_name": piece.title(), "site": "mooring", "timezone": "Europe/Berlin",
        "made_at": at(3, "08:00"), "coats": 8, "left": 4, "planned": tuple(coats), "odds_pct": None,
        "built_up_at": None,
        "in_service_at": None,
    }  # fmt: skip
    return Plan(**plain | more)


def test_each_day_has_its_windows_as_bars_at_the_hours_of_the_clock():
    days = days_at_a_glance(
        outlook(at(3, "08:10"), [window(3, "09:45", "14:00"), window(4, "10:00", "12:00", word="tight")]), "metric"
    )
    assert [day.date for day in days[:3]] == [date(2026, 6, 3), date(2026, 6, 4), date(2026, 6, 5)]
    assert [(bar.start_h, bar.end_h, bar.word) for bar in days[0].bars] == [(9.75, 14.75, "coat")]
    assert [(bar.start_h, bar.end_h, bar.word) for bar in days[1].bars] == [(10.0, 12.75, "tight")]
    # A day without a window tells the limit that blocks most of it: the outlook's own, in its words.
    assert days[2].reason == "dew on the wet film -0.4 K (min 1 K)"


def test_a_window_past_midnight_is_on_both_days():
    night = window(3, "22:00", "22:30", brush_down_by=at(4, "00:30"), tight_until=at(4, "01:00"))
    first, second = days_at_a_glance(outlook(at(3, "08:10"), [night]), "metric")[:2]
    assert [(bar.start_h, bar.end_h) for bar in first.bars] == [(22.0, 24.0)]
    assert [(bar.start_h, bar.end_h, bar.word) for bar in second.bars] == [(0.0, 0.5, "coat"), (0.5, 1.0, "tight")]


@pytest.mark.parametrize("wide", [True, False])
def test_strips_draw_every_window_and_write_beside_it_what_there_is_room_for(wide):
    found, _ = seen("toe_rail", ways=20)
    spec = strips_chart(found, wide=wide)
    bars = values(spec, "bar")
    days = days_at_a_glance(found, "metric")
    assert len(bars) == sum(len(day.bars) for day in days)
    assert {row["day"] for row in values(spec, "text")} <= {day.name for day in days}
    odds = found.windows[0].probability
    assert any(row["said"].endswith(f"{odds:.0%}".replace("%", " %")) for row in values(spec, "text"))


def test_an_outlook_that_knows_nothing_has_no_days():
    assert days_at_a_glance(outlook(at(3, "08:10")).model_copy(update={"blocks": ()}), "metric") == []


@pytest.mark.parametrize(("wide", "look"), [(True, LIGHT), (False, DARK)])
def test_a_plan_has_a_disc_for_each_coat_at_its_hour_hollow_where_it_is_not_firm(wide, look):
    rail = plan(coats=[coat(5, 3, "10:00"), coat(6, 6, "09:00", GOOD_ODDS - 0.01), coat(7, 9, "09:00", coarse=True)])
    door = plan("door", [coat(1, 4, "12:00", None)], built_up_at=at(4, "13:00"))
    spec = plan_chart(Plans(plans=(rail, door)), look, wide=wide)
    assert_valid(spec)
    discs = [layer for layer in spec["layer"] if layer["mark"].get("size", 0) >= 300]
    firm, hollow = ([(row["piece"], row["h"]) for row in layer["data"]["values"]] for layer in discs)
    # Hours from the midnight that begins 3 June in Berlin.
    assert firm == [("Rail", 10.0), ("Door", 36.0)]
    assert hollow == [("Rail", 81.0), ("Rail", 153.0)]
    assert "strokeDash" in discs[1]["mark"]
    assert {row["said"] for row in values(spec, "text") if "said" in row} == {"5", "6", "7", "1"}
    diamond = next(layer for layer in spec["layer"] if layer["mark"].get("shape") == "diamond")
    assert diamond["data"]["values"] == [{"piece": "Door", "h": 37.0}]
    assert is_firm(coat(1, 4, "12:00", None))


def test_what_past_years_say_of_the_finish_is_a_bar_from_half_to_nine_of_ten():
    both = Beyond(built_up_50_at=at(20, "12:00"), built_up_90_at=at(28, "12:00"), years=10, until=at(30, "00:00"))
    half = Beyond(built_up_50_at=at(20, "12:00"), years=10, until=at(30, "00:00"))
    spec = plan_chart(Plans(plans=(plan(beyond=both), plan("door", beyond=half), plan("gate", beyond=Beyond()))))
    assert_valid(spec)
    assert values(spec, "bar") == [
        {"piece": "Rail", "h": 420.0, "to": 612.0},
        {"piece": "Door", "h": 420.0, "to": 648.0},  # later than was looked: no 90 % is written there
    ]
    ninety = next(layer for layer in spec["layer"] if layer["mark"].get("text") == "90 %")
    assert [row["piece"] for row in ninety["data"]["values"]] == ["Rail"]


def reviewed(lead, share, came):
    return Reviewed(np.array(lead), np.array(share) > 0.5, np.array(share, float), np.array(came, bool))


def test_a_review_draws_what_came_against_what_was_said_by_how_far_ahead():
    # Of four starts with 80 % said three came; of two with 20 % none; said two days ahead, one with 90 % did not come.
    found = reviewed([0, 0, 3, 6, 0, 1, 48], [0.8, 0.8, 0.8, 0.8, 0.2, 0.2, 0.9], [1, 1, 1, 0, 0, 0, 0])
    rows = [(row.span, row.low_pct, row.starts, row.said_pct, row.came_pct, row.few) for row in review_rows(found)]
    near = "now, up to 6 h ahead"
    assert rows == [
        (near, 20, 2, 20.0, 0.0, True),
        (near, 80, 4, 80.0, 75.0, True),
        ("2 days ahead", 90, 1, 90.0, 0.0, True),
    ]
    spec = review_chart(found)
    assert_valid(spec)
    assert [panel["title"] for panel in spec["concat"]] == [near, "2 days ahead"]
    points = [row for panel in spec["concat"] for layer in panel["layer"][2:] for row in layer["data"]["values"]]
    assert [(row["said"], row["came"], row["starts"]) for row in points] == [(*row[3:5], row[2]) for row in rows]


def test_only_odds_of_few_starts_are_hollow():
    found = reviewed([0] * FEW + [0], [0.5] * FEW + [0.1], [1] * FEW + [0])
    many, few = (layer["data"]["values"] for layer in review_chart(found, wide=True)["concat"][0]["layer"][2:])
    assert [row["starts"] for row in many] == [FEW]
    assert [row["starts"] for row in few] == [1]


def test_every_lead_time_that_is_reviewed_is_in_a_span():
    from dryspell.outlook.foretold import LEADS_H
    from dryspell.web.charts.review import SPANS

    assert all(any(first <= lead <= last for _, first, last in SPANS) for lead in LEADS_H)


def test_charts_are_plain_json():
    found, _ = seen()
    for spec in (strips_chart(found), plan_chart(Plans(plans=(plan(coats=[coat(5, 3, "10:00")]),)))):
        assert json.loads(json.dumps(spec)) == spec
