"""The outlook's pages, the charts' addresses and the script: what they hold, and what they refuse."""

import gzip
import json
import re
from datetime import timedelta
from xml.etree import ElementTree as ET

import pytest

from dryspell.web.charts import drawings
from dryspell.web.charts.drawings import script_name
from served import START, served

NAMED = 'piece.gate = { name = "Gate & post", site = "harbour", coating = "oil_varnish_1k" }'


@pytest.fixture(scope="module")
def daemon(tmp_path_factory):
    with served(tmp_path_factory.mktemp("pages"), NAMED) as daemon:
        yield daemon


def rows_of(page):
    return re.findall(r"<tr[^>]*><th scope=\"row\">(\d\d:\d\d)</th>(.*?)</tr>", page)


def test_the_page_of_a_piece_holds_its_figures_as_a_table_with_its_caption(daemon):
    page = daemon.get("outlook/gate").text
    assert "<h1>Gate &amp; post, the days ahead" in page
    assert re.search(
        r"<caption>Gate &amp; post, Tue 2 Jun to \w+ \d Jun, every 3 hours of the clock in Europe/Berlin", page
    )
    rows = rows_of(page)
    assert {time for time, _ in rows} == {f"{hour:02d}:00" for hour in range(0, 24, 3)}
    # The yard's air: 18 degC and 55 %, whose dew point is 8.8 degC (Magnus, WMO-No. 8).
    assert "<td>8.8</td>" in rows[1][1]
    assert "<td>18.0</td><td>55</td>" in rows[1][1]
    heads = re.findall(r'<th scope="col">(.*?)</th>', page)
    assert heads[:2] == ["time", "surface over dew point, K"]
    assert {"surface, °C", "dew point, °C", "chance of rain, %"} < set(heads)
    assert page.count('scope="rowgroup"') == 5  # days


def test_a_day_that_is_chosen_has_every_hour(daemon):
    page = daemon.get("outlook/gate?day=2026-06-04").text
    assert len({time for time, _ in rows_of(page)}) == 24
    assert "Thu 4 Jun to Sat 6 Jun, every hour" in page
    assert 'href="/outlook/gate?day=2026-06-04" aria-current="page"' in page
    assert "day=2026-06-04" in re.search(r'data-spec="([^"]+)"', page)[1]


@pytest.mark.parametrize("day", ["nonsense", "2026-13-01", "1999-01-01", "9999-12-31", "2026-06-04T00:00", "%00"])
def test_a_day_that_is_none_of_these_weeks_is_as_none(daemon, day):
    assert len({time for time, _ in rows_of(daemon.get(f"outlook/gate?day={day}").text)}) == 8


def test_windows_stand_with_their_facts_and_the_spans_between_with_their_reasons(daemon):
    page = daemon.get("outlook/rail").text
    windows, _, waits = page.partition("Why not in between")
    outlook = daemon.service.board.known.outlook("rail")
    assert windows.count('<li class="span coat">') == sum(w.word == "coat" for w in outlook.windows) > 0
    assert "Nearest limit: " in windows
    assert 'class="span wait"' in waits


def test_units_are_those_that_are_chosen(daemon):
    page = daemon.get("outlook/gate", headers={"Cookie": "dryspell_units=us"}).text
    assert '<th scope="col">surface, °F</th>' in page
    assert "units=us" in re.search(r'data-spec="([^"]+)"', page)[1]
    # 18 degC are 64.4 degF, told to the degree.
    assert "<td>64</td>" in rows_of(page)[1][1]


def test_all_pieces_are_on_one_page_day_by_day(daemon):
    page = daemon.get("outlook").text
    assert re.findall(r'<h2 id="strip-\d"><a href="/outlook/(\w+)">', page) == ["rail", "bench", "gate"]
    assert page.count('<ul class="by-day">') == 3
    assert 'href="/outlook/rail?day=2026-06-03"' in page


def test_every_address_on_the_pages_is_there(daemon):
    found = set()
    for path in ("outlook", "outlook/gate", "plan", ""):
        page = daemon.get(path).text
        found |= set(re.findall(r'(?:src|href|srcset|data-spec|data-draws)="(/(?:charts|static|outlook)[^"]*)"', page))
    assert {f"/static/charts/{script_name()}"} < found
    assert len([address for address in found if ".svg?" in address]) > 12
    for address in sorted(found):
        answer = daemon.client.get(address.replace("&amp;", "&"))
        assert (address, answer.status_code) == (address, 200)


def test_a_picture_is_the_same_until_the_next_tick_and_says_so(daemon):
    page = daemon.get("outlook/gate").text
    address = re.search(r'<img src="([^"]+svg[?]piece=[^"]+)"', page)[1].replace("&amp;", "&")
    answer = daemon.client.get(address)
    assert answer.headers["content-type"] == "image/svg+xml"
    assert answer.headers["cache-control"] == "private, max-age=3600"
    assert ET.fromstring(answer.content).tag == "{http://www.w3.org/2000/svg}svg"
    again = daemon.client.get(address, headers={"If-None-Match": answer.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    older = daemon.client.get(re.sub(r"of=[\d.]+", "of=1.000", address))
    assert older.headers["cache-control"] == "private, no-cache"


def test_the_script_comes_packed_from_here_and_may_be_kept_for_ever(daemon):
    address = f"static/charts/{script_name()}"
    with daemon.client.stream("GET", address, headers={"Accept-Encoding": "gzip"}) as answer:
        raw = b"".join(answer.iter_raw())
    assert answer.headers["content-encoding"] == "gzip"
    assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["x-content-type-options"] == "nosniff"
    plain = daemon.get(address, headers={"Accept-Encoding": "identity"})
    assert plain.content == gzip.decompress(raw)
    assert "content-encoding" not in plain.headers
    assert daemon.get("static/charts/vega-0.js").status_code == 404
    kept = daemon.service.config.state_dir / "cache" / f"{script_name()}.gz"
    assert kept.read_bytes() == raw


def test_the_specification_tells_what_is_said_at_each_hour(daemon):
    spec = daemon.get("charts/outlook.json?piece=gate&size=wide").json()
    said = spec["usermeta"]
    assert len(said["cells"]) == len(spec["datasets"]["hours"])
    assert said["cells"][10][said["headings"].index("air")] == "18.0 °C"


@pytest.mark.parametrize(
    "address",
    [
        "outlook/nix", "charts/nix.svg", "charts/outlook.svg?piece=nix", "charts/outlook.svg?piece=gate&theme=pink",
        "charts/outlook.svg?piece=gate&units=cubits", "charts/outlook.svg?piece=gate&size=vast",
        "charts/outlook.svg?piece=gate&day=1999-01-01", "charts/outlook.svg", "charts/strips.json",
        "charts/review.svg", "static/charts/..%2f..%2fetc", "charts/..%2foutlook.svg",
    ],
)  # fmt: skip
def test_what_is_not_there_is_not_there(daemon, address):
    answer = daemon.get(address)
    assert answer.status_code == 404
    assert "Traceback" not in answer.text


def test_without_what_draws_the_tables_stand_open_and_alone(daemon, monkeypatch):
    monkeypatch.setattr(drawings, "can_draw", lambda: False)
    daemon.tick(daemon.clock.at)  # another version of the board: pages are made anew
    page = daemon.get("outlook/gate").text
    assert "<figure" not in page
    assert "charts.js" not in page
    assert '<details class="figures" open>' in page
    assert len(rows_of(page)) > 20
    assert daemon.get("charts/outlook.svg?piece=gate&theme=dark&units=us").status_code == 503
    assert daemon.get(f"static/charts/vega-{1}.js").status_code == 404


def test_where_the_forecast_is_over_no_empty_chart_stands_and_nothing_is_said_of_how_far_it_reaches(tmp_path):
    with served(tmp_path) as daemon:
        assert "/charts/plan.svg" in daemon.get("plan").text
        assert "chart-key" in daemon.get("outlook").text
        daemon.tick(START + timedelta(days=30))
        plan, outlooks, outlook = (daemon.get(path).text for path in ("plan", "outlook", "outlook/rail"))
        assert "/charts/" not in plan
        assert "the forecast ended" in plan
        assert "so there is no weather to plan with" in plan
        assert "before the forecast ends" not in plan
        assert "Unknown, so wait" in outlooks
        assert "chart-key" not in outlooks
        assert "as far as the forecast reaches" not in outlook


def test_no_page_has_a_script_or_a_style_of_its_own(daemon):
    for path in ("outlook", "outlook/gate", "plan", ""):
        page = daemon.get(path).text
        assert not re.findall(r"<script(?![^>]*src=)", page)
        assert "<style" not in page
        assert " style=" not in page
        assert not re.findall(r" on\w+=", page)


def test_under_a_prefix_every_address_begins_with_it(tmp_path):
    with served(tmp_path, NAMED, prefix="/varnish") as daemon:
        page = daemon.get("outlook/gate").text
        addresses = re.findall(r'(?:src|href|srcset|data-spec|data-draws)="(/[^"]*)"', page)
        assert addresses
        assert all(address.startswith("/varnish/") for address in addresses)
        spec = re.search(r'data-spec="(/[^"]+)"', page)[1].replace("&amp;", "&")
        assert json.loads(daemon.client.get(spec.removeprefix("/varnish/")).text)["vconcat"]
