"""The chart of an outlook: what is drawn are the outlook's own numbers, and no colour is needed to read it."""

import weakref
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dryspell.alerts.picture_look import DARK, LIGHT
from dryspell.outlook.conditions import conditions_at, face_weather
from dryspell.web.charts.days import days_of, span_of
from dryspell.web.charts.outlook import outlook_chart
from dryspell.web.charts.outlook_table import cells, headings, table, told
from dryspell.web.charts.panels import NARROW, WIDE
from dryspell.web.charts.sight import ALL_DAYS, Sight
from dryspell.web.charts.strips import strips_chart
from web.charts.scene import NOW, WAYS, gap, known, seen
from web.charts.schema import assert_valid

BERLIN = ZoneInfo("Europe/Berlin")
EVERY_WAY = [
    (piece, ways, wide, units, look)
    for piece, ways in (("toe_rail", 1), ("toe_rail", WAYS), ("front_door", WAYS), ("garden_bench", 1))
    for wide, units, look in ((True, "metric", LIGHT), (False, "us", DARK))
]


def layers_of(spec, panel):
    def within(layers):
        for layer in layers:
            yield from within(layer["layer"]) if "layer" in layer else [layer]

    return list(within(spec["vconcat"][panel]["layer"]))


def titles(spec):
    return [panel.get("title") for panel in spec["vconcat"]]


@pytest.mark.parametrize(("piece", "ways", "wide", "units", "look"), EVERY_WAY)
def test_the_chart_is_a_valid_specification_of_its_language(piece, ways, wide, units, look):
    outlook, days = seen(piece, ways=ways, wide=wide)
    assert_valid(outlook_chart(outlook, days, units, look, wide=wide) | {"usermeta": told(outlook, days, units)})
    assert_valid(strips_chart(outlook, units, look, wide=wide))


def test_a_chart_with_gaps_is_valid_and_draws_nothing_there():
    outlook, days = seen(ways=WAYS)
    spec = outlook_chart(outlook, gap(days, 30, 60), wide=True)
    assert_valid(spec)
    assert {spec["datasets"]["hours"][40][name] for name in ("surface", "margin", "humidity")} == {None}


@pytest.mark.parametrize("ways", [1, WAYS])
def test_what_is_drawn_at_each_hour_is_what_the_verdicts_are_made_of(ways):
    outlook, days = seen(ways=ways)
    spec = outlook_chart(outlook, days, wide=True)
    all_known = known(ways=ways)
    piece = all_known.config.piece["toe_rail"]
    met = conditions_at(piece, all_known.config.site_of(piece), all_known.tables[piece.site])
    first = int(np.searchsorted(met.times, np.datetime64(days.start.replace(tzinfo=None), "s")))
    rows = spec["datasets"]["hours"]
    assert len(rows) == len(days.hours) > 24 * 15
    # The middle of an even number of ways lies between two of them (numpy's median, not its percentile).
    for n in range(0, len(rows), 7):
        at = first + 4 * n
        assert rows[n]["surface"] == pytest.approx(np.median(met.surface_c[:, at]), abs=0.011)
        assert rows[n]["air"] == pytest.approx(np.median(met.air_c[:, at]), abs=0.011)
        assert rows[n]["dew"] == pytest.approx(np.median(met.dew_point_c[:, at]), abs=0.011)
        margin = met.surface_c[:, at] - met.dew_point_c[:, at]
        assert rows[n]["margin"] == pytest.approx(np.median(margin), abs=0.011)
        assert np.mean(margin < rows[n]["margin_low"] - 0.01) <= 0.1
        assert np.mean(margin > rows[n]["margin_high"] + 0.01) <= 0.1
        assert rows[n]["humidity"] == pytest.approx(np.median(met.humidity_pct[:, at]), abs=0.011)
    rain = [row["rain"] for row in spec["datasets"]["rain"]]
    fallen = np.mean(met.rain_mm, axis=0)[first + 1 : first + 1 + 4 * len(rain)]
    assert sum(rain) == pytest.approx(fallen.sum(), abs=0.1)
    assert sum(rain) > 10.0


def test_a_fan_is_drawn_of_many_ways_and_none_of_one():
    def fans(ways):
        spec = outlook_chart(*seen(ways=ways), wide=True)
        return [e for e in layers_of(spec, 1) if e["encoding"].get("y2", {}).get("field") == "margin_high"]

    assert fans(1) == []
    assert len(fans(WAYS)) == 1


def test_what_is_shown_in_us_units_is_converted_and_says_so():
    outlook, days = seen()
    metric, us = (outlook_chart(outlook, days, units, wide=True) for units in ("metric", "us"))
    a, b = metric["datasets"]["hours"][20], us["datasets"]["hours"][20]
    # NIST SP 811: t/degF = 1.8 t/degC + 32; a difference has no offset; 1 mph = 0.447 04 m/s; 1 in = 25.4 mm.
    assert b["surface"] == pytest.approx(1.8 * a["surface"] + 32.0, abs=0.02)
    assert b["margin"] == pytest.approx(1.8 * a["margin"], abs=0.02)
    assert b["wind"] == pytest.approx(a["wind"] / 0.44704, abs=0.02)
    assert max(row["rain"] for row in us["datasets"]["rain"]) == pytest.approx(
        max(row["rain"] for row in metric["datasets"]["rain"]) / 25.4, abs=0.006
    )
    assert next(title for title in titles(us) if title and "°F" in title).startswith("Surface over dew point, °F")
    assert "Wind at the piece, mph" in titles(us)
    assert "Rain, in/h" in titles(us)


def test_strokes_reach_from_the_margin_to_each_limit_it_falls_short_of_and_the_graver_are_heavier():
    outlook, days = seen()
    spec = outlook_chart(outlook, days, wide=True)
    brush, film = [
        layer for layer in layers_of(spec, 1) if "y2" in layer["encoding"] and layer["mark"]["type"] == "rule"
    ]
    limits = days.limits
    assert (limits.apply_k, limits.hold_k) == (3.0, 1.0)  # the demo's oil varnish; shown as rules with their names
    short = [h for h, margin in zip(days.hours, days.margin_k, strict=True) if margin < limits.apply_k]
    wetting = [h for h, margin in zip(days.hours, days.margin_k, strict=True) if margin < limits.hold_k]
    assert [row["h"] for row in brush["data"]["values"]] == short
    assert [row["h"] for row in film["data"]["values"]] == wetting
    assert 0 < len(wetting) < len(short) < len(days.hours)
    assert film["mark"]["strokeWidth"] > 1.5 * brush["mark"]["strokeWidth"]
    said = {layer["mark"]["text"] for layer in layers_of(spec, 1) if layer["mark"]["type"] == "text"}
    assert {"3 K to brush", "1 K until dew-safe", "now"} == said


def test_windows_stand_where_the_outlook_has_them_and_differ_in_height_and_outline():
    outlook, days = seen(ways=WAYS)
    spec = outlook_chart(outlook, days, wide=True)
    bars = [e for e in layers_of(spec, 0) if e["mark"]["type"] == "rect" and "stroke" in e["mark"]]
    coat, tight = bars
    assert coat["encoding"]["y2"]["datum"] == 2 * tight["encoding"]["y2"]["datum"]
    assert "strokeDash" not in coat["mark"]
    assert "strokeDash" in tight["mark"]

    def hour(at):
        return (at - days.start).total_seconds() / 3600.0

    good = [(hour(w.good_from), hour(w.brush_down_by)) for w in outlook.windows if w.word == "coat"]
    assert [(row["h"], row["to"]) for row in coat["data"]["values"]] == good
    covered = sum(row["to"] - row["h"] for bar in bars for row in bar["data"]["values"])
    assert covered == pytest.approx(sum(hour(w.tight_until) - hour(w.start) for w in outlook.windows))
    said = [row["said"] for row in layers_of(spec, 0)[-2]["data"]["values"]]
    odds = [f"{w.probability:.0%}".replace("%", " %") for w in outlook.windows]
    assert said
    assert all(any(text.endswith(share) or share.startswith(text) for share in odds) for text in said)


def test_names_over_windows_do_not_run_into_each_other():
    for wide in (True, False):
        outlook, days = seen("front_door", ways=WAYS, wide=wide)
        spec = outlook_chart(outlook, days, wide=wide)
        px_h = (WIDE if wide else NARROW) / days.end_h
        names = layers_of(spec, 0)[-2]["data"]["values"]
        for one, other in pairwise(names):
            # Letters of 12 in a sans serif are about half as wide as high.
            assert other["h"] - one["h"] >= len(one["said"]) * 6.0 / px_h


def test_the_axis_has_the_hours_of_the_clock_on_the_wall_when_it_is_changed():
    # Clocks go back at 03:00 on 25 October 2026 (Directive 2000/84/EC): that day has 25 hours.
    site = known().config.site["quillhaven"]
    begin, end = span_of(NOW, site, date(2026, 10, 24), 3)
    assert end - begin == timedelta(hours=73)
    begin, end = span_of(NOW, site, date(2026, 10, 25), 1)
    assert end - begin == timedelta(hours=25)


def test_the_present_is_marked_and_the_days_begin_a_little_before_it():
    outlook, days = seen()
    assert days.start == datetime(2026, 9, 3, 6, 0, tzinfo=BERLIN)
    assert days.now_h == pytest.approx(5.25)
    assert days.start.tzinfo is not None
    later = seen(day=date(2026, 9, 7))[1]
    assert later.start == datetime(2026, 9, 7, tzinfo=BERLIN)
    assert later.now_h < 0
    rules = [e for e in layers_of(outlook_chart(outlook, later, wide=True), 1) if e["mark"].get("strokeDash") == [2, 2]]
    assert rules == []


def test_a_telephone_shows_few_days_in_letters_that_are_large_enough():
    outlook, days = seen(wide=False)
    assert days.end_h == 72.0
    spec = outlook_chart(outlook, days)
    sizes = [value for key, value in _all(spec) if key.lower().endswith("fontsize")]
    assert min(sizes) >= 12
    assert spec["vconcat"][0]["width"] + 66 <= 390


def _all(value):
    if isinstance(value, dict):
        for key, each in value.items():
            yield key, each
            yield from _all(each)
    elif isinstance(value, list):
        for each in value:
            yield from _all(each)


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("ways", [1, WAYS])
def test_the_table_holds_what_the_chart_draws(units, ways):
    outlook, days = seen(ways=ways)
    spec = outlook_chart(outlook, days, units, wide=True)
    drawn = {row["h"]: row for row in spec["datasets"]["hours"]}
    rain = {row["h"]: row for row in spec["datasets"]["rain"]}
    heads = list(headings(days, units))
    rows = [row for part in table(outlook, days, units, every_h=3) for row in part.rows]
    assert len(rows) == -(-len(drawn) // 3)
    for row in rows:
        cell = dict(zip(heads, row.cells, strict=True))
        for name, field in (("margin", "margin"), ("surface", "surface"), ("dew", "dew"), ("air", "air")):
            assert figure(cell[name]) == pytest.approx(drawn[row.hour][field], abs=0.5 if units == "us" else 0.056)
        assert figure(cell["humidity"]) == pytest.approx(drawn[row.hour]["humidity"], abs=0.51)
        assert figure(cell["wind"]) == pytest.approx(drawn[row.hour]["wind"], abs=0.51)
        if row.hour in rain:
            assert figure(cell["rain"]) == pytest.approx(rain[row.hour]["rain"], abs=0.051)


def figure(cell):
    return float(cell.removesuffix(" wet").replace("−", "-"))


def test_each_hour_of_the_table_says_whether_a_brush_may_be_out():
    outlook, days = seen()
    marks = {(part.date, row.time): row.mark for part in table(outlook, days, "metric") for row in part.rows}
    # The first window of the demo is open from 11:15 to 14:15, and tight to 14:45 (the README's picture says so).
    today = date(2026, 9, 3)
    assert [marks[today, f"{h}:00"] for h in (11, 12, 14, 15)] == ["", "coat", "coat", ""]
    assert marks[date(2026, 9, 17), "15:00"] == "tight"


def test_what_is_not_known_is_a_dash_in_the_table_and_no_zero():
    _, days = seen(ways=WAYS)
    assert set(cells(gap(days, 0, 5), 2, "metric")) == {"–"}


def test_of_each_hour_the_span_it_lies_in_is_told_with_its_limit_in_words():
    outlook, days = seen()
    said = told(outlook, days, "metric")
    assert len(said["cells"]) == len(said["times"]) == len(days.hours)
    for one, other in pairwise(said["spans"]):
        assert one["to"] <= other["from"]
    words = {span["word"] for span in said["spans"]}
    assert words == {"coat", "tight", "wait", "off"}
    window = said["spans"][0]
    assert window["said"].startswith("Coat: brush down by 14:15, tight to 14:45. Nearest limit: sun heats the film")
    assert any("Dew" in span["said"] and "K over it needed" in span["said"] for span in said["spans"])
    assert "usermeta" not in outlook_chart(outlook, days)


def test_rain_is_as_likely_as_the_source_says_or_else_as_many_ways_bring_some():
    all_known = known(ways=WAYS)
    piece = all_known.config.piece["toe_rail"]
    site, of = all_known.config.site_of(piece), all_known.tables[piece.site]
    columns = {name: values for name, values in of.columns.items() if name != "probability_of_precipitation"}
    rain = np.zeros_like(columns["precipitation_amount"])
    rain[:5, 60] = 0.8  # five of twenty ways bring a shower in one hour
    silent = replace(of, columns={**columns, "precipitation_amount": rain})
    met = conditions_at(piece, site, silent)
    sun = face_weather(piece, site, silent).plane_w_m2
    coating = all_known.config.lay_of(piece, 4).coating
    days = days_of(met, sun, piece, coating, site, NOW, span_of(NOW, site, None, ALL_DAYS), odds=True)
    assert {chance for chance in days.chance_pct if chance} == {25.0}
    assert {mm for mm in days.rain_mm if mm} == {0.2}  # a quarter of 0.8 mm
    alone = days_of(met, sun, piece, coating, site, NOW, span_of(NOW, site, None, ALL_DAYS))
    assert set(alone.chance_pct) == {None}
    said = seen()[1].chance_pct
    assert max(chance for chance in said if chance is not None) >= 60.0  # the demo's weather file


def test_weather_of_which_nothing_is_known_then_makes_no_chart():
    all_known = known()
    piece = all_known.config.piece["toe_rail"]
    site, of = all_known.config.site_of(piece), all_known.tables[piece.site]
    met, sun = conditions_at(piece, site, of), face_weather(piece, site, of).plane_w_m2
    coating = all_known.config.lay_of(piece, 4).coating
    later = datetime(2026, 12, 1, tzinfo=UTC)
    assert days_of(met, sun, piece, coating, site, NOW, (later, later + timedelta(days=3))) is None


def test_what_comes_is_worked_out_once_a_tick_and_little_of_it_is_kept(monkeypatch):
    from dryspell.web.charts import sight

    worked_out = []
    real = sight._met
    monkeypatch.setattr(sight, "_met", lambda now, of, since: worked_out.append(of.piece) or real(now, of, since))
    one, first = sight.Sight(), known()
    rail, door = (first.outlook(piece) for piece in ("toe_rail", "front_door"))
    wide = one.days(first, rail, None, wide=True)
    one.days(first, rail, None, wide=False)
    one.ahead(first, rail)
    one.days(first, door, None, wide=True)
    assert one.days(first, rail, None, wide=True) is wide
    assert worked_out == ["toe_rail", "front_door"]
    later = replace(first)
    assert one.days(later, rail, None, wide=True) is not wide
    assert worked_out[2:] == ["toe_rail"]


def test_what_was_worked_out_goes_with_its_tick_though_nobody_looks_again():
    one, now = Sight(), replace(known())
    one.days(now, now.outlook("toe_rail"), None, wide=True)
    worked_out = weakref.ref(one._last[1])
    assert worked_out() is not None
    del now
    assert worked_out() is None
    assert one._days == {}


def test_of_weeks_past_only_what_is_shown_is_kept_and_a_day_among_them_is_the_same_as_afresh():
    now = known(ways=WAYS, now=NOW + timedelta(days=9))
    rail, one = now.outlook("toe_rail"), Sight()
    ahead = one.days(now, rail, None, wide=True)
    of = now.tables[rail.site].times
    begins, ends = one._last[1].conditions.times[[0, -1]]
    assert of[0] + np.timedelta64(9, "D") < begins < np.datetime64(now.at.astimezone(UTC).replace(tzinfo=None), "s")
    assert ends == of[-1]
    for day in (4, 2, 3, 10):
        asked = one.days(now, rail, (NOW + timedelta(days=day)).date(), wide=True)
        assert asked is not None
        assert asked == Sight().days(now, rail, (NOW + timedelta(days=day)).date(), wide=True)
    assert Sight().days(now, rail, None, wide=True) == ahead
    site, table = now.config.site_of(now.config.piece["toe_rail"]), now.tables[rail.site]
    piece, coating = (
        now.config.piece["toe_rail"],
        now.config.lay_of(now.config.piece["toe_rail"], rail.next_coat).coating,
    )
    met, sun = conditions_at(piece, site, table), face_weather(piece, site, table).plane_w_m2
    between = span_of(now.at, site, None, 16)
    assert days_of(met, sun, piece, coating, site, now.at, between, odds=True) == ahead


def test_a_piece_without_weather_has_no_days():
    blind = replace(known(), tables=dict.fromkeys(known().tables))
    assert Sight().days(blind, blind.outlook("toe_rail"), None, wide=True) is None
    assert Sight().ahead(blind, blind.outlook("toe_rail")) is None
