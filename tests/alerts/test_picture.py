"""The chart of the next 36 hours: what is in it, and that it can be drawn."""

import json
import struct
import sys
from dataclasses import replace
from datetime import timedelta
from itertools import combinations

import numpy as np
import pytest

from alerts.fakes import ZONE, at, outlook, window
from dryspell.alerts.draughtsman import Draughtsman, can_draw
from dryspell.alerts.picture import picture_spec, picture_text
from dryspell.alerts.picture_data import Ahead, ahead_of
from dryspell.alerts.picture_look import DARK, LIGHT
from dryspell.outlook.conditions import conditions_at
from dryspell.trade.families import family
from dryspell.trade.piece import Piece, Site
from yard import START, weather

NOW = at(3, "08:10")
SITE = Site(key="mooring", latitude="54.3 deg", longitude="10.2 deg", timezone="Europe/Berlin")
RAIL = Piece(key="rail", name="Toe rail", site="mooring", coating="oil_varnish_1k", area="4 m^2")
WINDOWS = [window(3, "09:45", "14:00"), window(4, "10:00", "12:00", word="tight")]


def ahead(now=NOW, piece=RAIL, **columns):
    met = conditions_at(piece, SITE, weather(START, **columns))
    return ahead_of(met, piece, SITE, family("oil_varnish_1k"), now)


def marks(spec, panel, kind):
    """Return the layers of a panel that are of one kind, those within layers too."""

    def within(layers):
        for layer in layers:
            yield from within(layer["layer"]) if "layer" in layer else [layer]

    return [layer for layer in within(spec["vconcat"][panel]["layer"]) if layer["mark"]["type"] == kind]


def bands(spec, panel=0):
    """Return the bands of a panel by colour: from when to when [h]."""
    found = {}
    for layer in marks(spec, panel, "rect"):
        for row in layer["data"]["values"]:
            if "h" in row and "v" not in row:
                found.setdefault(layer["mark"]["color"], []).append((row["h"], row["to"]))
    return found


def words(spec, panel=0):
    return [layer["mark"]["text"] for layer in marks(spec, panel, "text")]


def test_the_hours_ahead_begin_at_the_next_quarter_and_run_for_a_day_and_a_half():
    seen = ahead()
    assert seen.start == at(3, "08:15")
    assert (seen.hours[0], seen.hours[1], seen.hours[-1]) == (0.0, 0.5, 35.5)
    assert {len(each) for each in (seen.surface_c, seen.air_c, seen.dew_point_c, seen.margin_k)} == {len(seen.hours)}
    # 18 degC and 55 % relative humidity: a dew point of 8.8 degC (Magnus formula, WMO-No. 8).
    assert seen.air_c[0] == 18.0
    assert seen.dew_point_c[0] == pytest.approx(8.8, abs=0.1)
    assert seen.margin_k[0] == pytest.approx(seen.surface_c[0] - seen.dew_point_c[0], abs=0.02)


def test_nights_run_from_sunset_to_sunrise():
    # On 3 June at 54.3 N, 10.2 E the sun sets at 21:43 and rises at 04:51, Berlin time: worked by hand from the sunrise
    # equation with 90.833 deg, a declination of 22.2 deg (hour angle 126.5 deg) and an equation of time of 2 min.
    (night,) = ahead().nights
    set_at, rise_at = (ahead().start + timedelta(hours=hour) for hour in night)
    assert abs(set_at - at(3, "21:43")) < timedelta(minutes=6)
    assert abs(rise_at - at(4, "04:51")) < timedelta(minutes=6)


def test_rain_is_summed_by_the_hour_and_comes_to_no_piece_under_a_roof():
    wet = {"precipitation_amount": 0.7}
    seen = ahead(**wet)
    assert all(mm == pytest.approx(0.7, abs=0.01) for _, mm in seen.rain_mm)
    assert [hour for hour, _ in seen.rain_mm[:3]] == [0.0, 1.0, 2.0]
    roofed = ahead(piece=RAIL.model_copy(update={"shelter": "roof"}), **wet)
    assert ({mm for _, mm in roofed.rain_mm}, roofed.in_the_rain) == ({0.0}, False)
    assert "none reaches it" in words(picture_spec(outlook(NOW, WINDOWS), roofed), 2)


def test_of_several_ways_the_weather_may_go_the_middle_is_drawn_with_its_spread():
    table = weather(START)
    ways = np.linspace(14.0, 22.0, 9)[:, None] + np.zeros((1, table.times.size))
    columns = {name: np.broadcast_to(column, ways.shape) for name, column in table.columns.items()}
    met = conditions_at(RAIL, SITE, replace(table, columns={**columns, "air_temperature": ways}))
    seen = ahead_of(met, RAIL, SITE, family("oil_varnish_1k"), NOW)
    assert seen.air_c[0] == 18.0
    assert seen.margin_low_k[0] < seen.margin_k[0] < seen.margin_high_k[0]


def test_weather_that_is_not_known_leaves_gaps_and_none_at_all_makes_no_chart():
    table = weather(START)
    gappy = table.columns["air_temperature"].copy()
    gappy[:, 80:] = np.nan
    met = conditions_at(RAIL, SITE, replace(table, columns={**table.columns, "air_temperature": gappy}))
    seen = ahead_of(met, RAIL, SITE, family("oil_varnish_1k"), NOW)
    assert seen.surface_c[0] is not None
    assert seen.surface_c[-1] is None
    assert json.loads(picture_text(outlook(NOW), seen))
    assert ahead_of(met, RAIL, SITE, family("oil_varnish_1k"), NOW + timedelta(days=30)) is None


def test_windows_and_nights_are_bands_with_their_names_in_every_panel():
    spec = picture_spec(outlook(NOW, WINDOWS), ahead())
    for panel in range(3):
        night, coat, tight = bands(spec, panel).values()
        assert len(night) == 1
        assert coat == [(1.5, 6.5)]  # 09:45 until the brush is down at 14:45
        assert tight == [(25.75, 28.5)]
    assert words(spec) == ["night", "coat", "tight"]
    assert spec["title"]["text"] == "Toe rail"
    assert spec["title"]["subtitle"] == [
        "Coat Wed 09:45, brush down by 14:45",
        "Tight Thu 10:00, brush down by 12:45",
        "From Wed 3 Jun 08:15 on, as forecast then",
    ]


def test_where_there_is_no_window_that_is_said():
    spec = picture_spec(outlook(NOW), ahead())
    assert spec["title"]["subtitle"][0] == "No window for a coat in these hours"
    assert words(spec) == ["night"]


def test_every_panel_has_its_unit_and_the_axis_of_time_its_zone():
    metric, us = (picture_spec(outlook(NOW), ahead(), units) for units in ("metric", "us"))

    def titles(spec):
        (line,) = marks(spec, 0, "line")
        legend = line["encoding"]["color"]["legend"]["title"]
        return [legend, *(panel["title"] for panel in spec["vconcat"][1:])]

    assert titles(metric) == ["Temperature, °C", "Surface over dew point, K", "Rain, mm/h"]
    assert titles(us) == ["Temperature, °F", "Surface over dew point, °F", "Rain, in/h"]
    (rain,) = [layer for layer in marks(metric, 2, "rect") if "v" in layer["data"]["values"][0]]
    assert rain["encoding"]["x"]["axis"]["title"] == "local time, Europe/Berlin"
    (line,) = marks(us, 0, "line")
    assert line["data"]["values"][len(ahead().hours)]["v"] == pytest.approx(64.4)  # air of 18 degC
    assert words(us, 1)[-2:] == ["5.4 °F to brush", "1.8 °F until dew-safe"]


@pytest.mark.parametrize(
    ("now", "hours"),
    [
        # Clocks go back at 03:00 on 25 October 2026 and forward at 02:00 on 28 March 2027 (Directive 2000/84/EC).
        ("2026-10-24T20:00+02:00", {"00:00": 4, "06:00": 11, "12:00": 17, "18:00": 23}),
        ("2027-03-27T20:00+01:00", {"00:00": 4, "06:00": 9, "12:00": 15, "18:00": 21}),
    ],
)
def test_the_hours_are_those_of_the_clock_on_the_wall_when_it_is_changed(now, hours):
    from datetime import datetime

    begin = datetime.fromisoformat(now)
    met = conditions_at(RAIL, SITE, weather(begin))
    spec = picture_spec(outlook(NOW), ahead_of(met, RAIL, SITE, family("oil_varnish_1k"), begin))
    axis = marks(spec, 2, "rect")[-1]["encoding"]["x"]["axis"]
    said = json.loads(axis["labelExpr"].partition("(")[2].rpartition(")[format")[0])
    by_text = {}
    for value in axis["values"]:
        text = said[f"{value:g}"]
        by_text.setdefault(text[0] if isinstance(text, list) else text, value)
    assert by_text == hours


def luminance(colour):
    """Relative luminance, as WCAG 2.2 defines it."""
    parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])
def test_lines_stand_out_from_the_paper_as_wcag_asks_of_graphics(look):
    for colour in (look.surface, look.air, look.dew, look.rain, look.ink):
        lighter, darker = sorted((luminance(look.paper), luminance(colour)), reverse=True)
        assert (lighter + 0.05) / (darker + 0.05) >= 3.0  # success criterion 1.4.11


def test_no_two_lines_are_told_apart_by_colour_alone():
    for one, other in combinations(LIGHT.lines, 2):
        assert one[2] != other[2]


def test_letters_are_large_enough_for_a_telephone():
    spec = picture_spec(outlook(NOW, WINDOWS), ahead())
    sizes = [value for key, value in _all(spec) if key.endswith("ontSize")]
    assert min(sizes) >= 12
    assert spec["vconcat"][0]["width"] + 60 <= 400


def _all(value):
    if isinstance(value, dict):
        for key, each in value.items():
            yield key, each
            yield from _all(each)
    elif isinstance(value, list):
        for each in value:
            yield from _all(each)


def size_of(png):
    """Width and height stand in the first chunk (PNG specification, 11.2.2)."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    return struct.unpack(">II", png[16:24])


def test_the_chart_is_drawn_in_a_process_of_its_own_and_once_for_all_who_get_it():
    assert can_draw()
    draw = Draughtsman()
    chart = picture_text(outlook(NOW, WINDOWS), ahead(precipitation_amount=0.7))
    png = draw(chart)
    width, height = size_of(png)
    assert 900 < width < 1100
    assert 1200 < height < 1600
    assert len(png) < 700_000
    assert "vl_convert" not in sys.modules
    assert draw(chart) is png


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("import time; time.sleep(60)", "not done after 0.5 s"),
        ("raise SystemExit(3)", "what draws ended with 3"),
        ("print('no picture')", "what draws ended with 0"),
        ("import os, signal; os.kill(os.getpid(), signal.SIGTRAP)", "what draws ended with -5"),
    ],
)
def test_what_cannot_be_drawn_is_said_once_and_then_not_tried_for_an_hour(code, said, caplog):
    time = [0.0]
    draw = Draughtsman(within_s=0.5, command=(sys.executable, "-c", code), monotonic=lambda: time[0])
    assert draw("{}") is None
    draw._command = ("/nowhere",)
    assert draw("{}") is None
    assert caplog.text.count("could not be drawn") == 1
    assert said in caplog.text
    time[0] += 3601
    assert draw("{}") is None
    assert "what draws cannot be started: No such file or directory" in caplog.text


def test_what_draws_is_given_no_secret_of_the_environment(monkeypatch, tmp_path):
    monkeypatch.setenv("DRYSPELL_PHONE", "json://hunter2")
    seen = tmp_path / "seen"
    code = f"import os; open({str(seen)!r}, 'w').write(repr(dict(os.environ)))"
    Draughtsman(command=(sys.executable, "-c", code))("{}")
    assert "PATH" in seen.read_text()
    assert "hunter2" not in seen.read_text()


def test_an_outlook_of_another_zone_is_told_in_its_own_time():
    seen = ahead()
    spec = picture_spec(outlook(NOW, timezone="Asia/Kolkata"), seen)
    assert spec["title"]["subtitle"][-1] == "From Wed 3 Jun 11:45 on, as forecast then"
    assert ZONE.key not in json.dumps(spec)


def test_a_chart_can_be_made_of_weather_that_hardly_varies():
    flat = (5.0, 5.0)
    still = Ahead(NOW, (0.0, 0.5), flat, flat, flat, (0.0, 0.0), (0.0, 0.0), (0.0, 0.0), (), (), 3.0, 1.0, True)
    assert size_of(Draughtsman()(picture_text(outlook(NOW), still)))[0] > 900
