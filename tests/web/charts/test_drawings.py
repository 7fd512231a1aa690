"""Charts drawn in processes of their own, and the script for browsers: made once, kept, done without where need be."""

import gzip
import importlib.metadata
import json
import sys
from xml.etree import ElementTree as ET

import pytest

from dryspell.web.charts import drawings
from dryspell.web.charts.drawings import Drawings, script_name
from dryspell.web.charts.outlook import outlook_chart
from dryspell.web.charts.strips import strips_chart
from web.charts.scene import seen

SVG = "{http://www.w3.org/2000/svg}"


def chart(width=100):
    return json.dumps(
        {"width": width, "height": 20, "data": {"values": [{}]}, "mark": {"type": "text", "text": f"{width}"}}
    )


def echo(*lines):
    """Return a command that gives these lines."""
    return (sys.executable, "-c", f"import sys; sys.stdin.read(); print({chr(10).join(lines)!r}, end='')")


def test_a_chart_is_drawn_by_a_process_of_its_own_and_kept(tmp_path):
    outlook, days = seen(wide=False)
    drawing = Drawings(tmp_path).svg("a", {"a": json.dumps(outlook_chart(outlook, days))})
    svg = ET.fromstring(drawing.body)
    assert svg.tag == f"{SVG}svg"
    assert 370 <= float(svg.get("width")) <= 392
    texts = {"".join(text.itertext()) for text in svg.iter(f"{SVG}text")}
    assert {"3 K to brush", "1 K until dew-safe", "now", "coat", "none forecast"} <= texts
    # Nothing that a page under a strict policy would refuse, and nothing from anywhere else.
    assert b"<script" not in drawing.body
    assert b"<style" not in drawing.body
    assert b"style=" not in drawing.body
    assert b"href=" not in drawing.body
    assert "vl_convert" not in sys.modules


def test_several_charts_of_a_page_are_drawn_at_once(tmp_path):
    begun = tmp_path / "begun"
    count = f"open({str(begun)!r}, 'a').write('x')"
    code = f"{count}; import sys; from dryspell.alerts.picture_draw import main; main()"
    draw = Drawings(tmp_path, command=(sys.executable, "-c", code))
    charts = {"a": chart(100), "b": chart(140), "c": chart(180)}
    widths = [float(ET.fromstring(draw.svg(key, charts).body).get("width")) for key in charts]
    assert widths[0] < widths[1] < widths[2]
    assert begun.read_text() == "x"


def test_what_looks_the_same_after_a_tick_is_not_drawn_again(tmp_path):
    draw = Drawings(tmp_path, command=echo("<svg/>"))
    before = draw.svg("one tick", {"one tick": "{}"})
    draw._command = ("/nowhere",)
    assert draw.svg("the next", {"the next": "{}"}) is before
    assert draw.svg("changed", {"changed": "{ }"}) is None


def test_only_so_many_drawings_are_kept(tmp_path, monkeypatch):
    monkeypatch.setattr(drawings, "MOST_KEPT", 2)
    draw = Drawings(tmp_path, command=echo("<svg/>"))
    for key in "abc":
        assert draw.svg(key, {key: "{}"}).body == b"<svg/>"
    assert draw.kept("a") is None
    assert draw.kept("c") is not None


def test_what_goes_wrong_is_said_once_and_rested_from(tmp_path, caplog):
    now = [0.0]
    draw = Drawings(tmp_path, command=(sys.executable, "-c", "raise SystemExit(3)"), monotonic=lambda: now[0])
    assert draw.svg("a", {"a": "{}"}) is None
    draw._command = echo("<svg/>")
    assert draw.svg("a", {"a": "{}"}) is None
    assert draw.script() is None
    assert caplog.text.count("could not be drawn") == 1
    assert "its tables stand alone for ten minutes" in caplog.text
    now[0] = 601.0
    assert draw.svg("a", {"a": "{}"}).body == b"<svg/>"


def test_without_the_extra_nothing_is_drawn_and_nothing_is_tried(tmp_path, monkeypatch, caplog):
    monkeypatch.setattr(drawings, "can_draw", lambda: False)
    draw = Drawings(tmp_path, command=("/nowhere",))
    assert draw.svg("a", {"a": "{}"}) is None
    assert draw.script() is None
    assert script_name() is None
    assert not caplog.text


def test_the_script_is_made_once_for_each_version_of_what_draws_and_kept_packed(tmp_path):
    folder = tmp_path / "cache"
    folder.mkdir()
    old = folder / "vega-0.1.js.gz"
    old.write_bytes(b"old")
    made = Drawings(folder).script()
    name = script_name()
    assert name == f"vega-{importlib.metadata.version('vl-convert-python')}.js"
    assert b"window.vegaEmbed=" in made.body.replace(b" ", b"")
    assert len(made.packed) < 400_000
    assert [file.name for file in folder.iterdir()] == [f"{name}.gz"]
    assert Drawings(folder, command=("/nowhere",)).script().mark == made.mark


@pytest.mark.parametrize(
    "damaged", [b"", b"no gzip", gzip.compress(b"half of something else"), gzip.compress(b"x")[:9]]
)
def test_a_script_that_was_damaged_on_the_disk_is_made_anew(tmp_path, damaged):
    (tmp_path / f"{script_name()}.gz").write_bytes(damaged)
    assert Drawings(tmp_path, command=echo("/* vl-convert */", "new")).script().body == b"/* vl-convert */\nnew"


def test_where_the_script_cannot_be_kept_it_is_served_all_the_same(tmp_path, caplog):
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    draw = Drawings(blocked / "cache", command=echo("/* vl-convert */", "new"))
    assert draw.script().body.endswith(b"new")
    assert draw.script() is draw.script()
    assert caplog.text.count("cannot be kept") == 1


def test_strips_are_drawn_with_a_row_for_each_day(tmp_path):
    outlook, _ = seen("garden_bench")
    drawing = Drawings(tmp_path).svg("a", {"a": json.dumps(strips_chart(outlook))})
    texts = ["".join(text.itertext()) for text in ET.fromstring(drawing.body).iter(f"{SVG}text")]
    assert [text for text in texts if text.endswith(" Sep")] == [
        f"{day} {n} Sep" for n, day in zip(range(3, 19), ("Thu Fri Sat Sun Mon Tue Wed " * 3).split(), strict=False)
    ]
