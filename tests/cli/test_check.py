"""`dryspell check` says of each part whether it is good, and why not."""

import json
import re
import threading
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from dryspell.cli import alert_probes, check, probes
from dryspell.cli.paint import Paint
from dryspell.cli.parts import Finding, figures_document, figures_text, report
from dryspell.config import parse
from dryspell.errors import WeatherError
from dryspell.outlook.model import Coat
from dryspell.store.store import FILE_NAME, open_store
from dryspell.weather.table import WeatherTable

NOW = datetime(2026, 5, 20, 6, tzinfo=UTC)
PLACE = 'site.harbour = { latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }\n'
CONFIG = f"""\
{PLACE}
contact = "you@example.org"
weather = {{ sources = ["table"], file = "weather.csv" }}
piece.toe_rail = {{ coating = "spar", area = "4.05 m^2", done = 3, name = "Toe rail" }}
alert.phone = {{ url = "json://127.0.0.1:1/hunter2" }}
[coating.spar]
family = "oil_varnish_1k"
humidity_max = "80 %"
touch_dry = {{ "10 degC" = "9 h", "20 degC" = "5 h" }}
recoat = {{ "20 degC" = "24 h" }}
"""


def rows(start=NOW, days=4):
    lines = [f"# issued {NOW:%Y-%m-%dT%H:%MZ}"]
    names = (
        "air_temperature [degC]",
        "relative_humidity [percent]",
        "wind_speed [m/s]",
        "cloud_area_fraction [percent]",
    )
    lines.append(",".join(["time", *names, "precipitation_amount [mm]"]))
    hours = (start + timedelta(hours=h) for h in range(24 * days))
    return "\n".join([*lines, *(f"{hour:%Y-%m-%dT%H:%MZ},14,60,2,30,0" for hour in hours)]) + "\n"


@pytest.fixture
def yard(tmp_path, monkeypatch):
    """Make a configuration, and weather and a state folder beside it; return the file of the configuration."""
    monkeypatch.setenv("DRYSPELL_STATE", str(tmp_path / "state"))
    (tmp_path / "weather.csv").write_text(rows())
    file = tmp_path / "yard.toml"
    file.write_text(CONFIG)
    file.chmod(0o600)
    return file


def run(file, *options, text=None):
    if text is not None:
        file.write_text(text)
    return CliRunner().invoke(check.command, ["--config", str(file), "--now", NOW.isoformat(), *options])


def parts_of(result):
    document = json.loads(result.output)
    return {(part["part"], part["text"].split(":")[0]): part["word"] for part in document["parts"]}


def test_a_good_configuration_is_good_in_every_part(yard):
    result = run(yard)
    folder = re.escape(str(yard.parent))
    assert result.exit_code == 0
    unwrapped = re.sub(r"\n +", " ", result.output)
    expected = [
        rf"config    good    {folder}/yard\.toml",
        r"site      good    harbour: 54\.3000° N 10\.2000° E, 0 m; 08:00 in Europe/Berlin",
        (
            r"coating   good    spar on oil_varnish_1k: yours: humidity_max, touch_dry \(2 temperatures\), "
            r"recoat \(1 temperature: at others the common rule, twice the time for 10 K colder\); "
            r"the other 35 figures are ours \(common practice, no source; 5 with a source\)"
        ),
        (
            r"piece     good    toe_rail: 7 coats of spar, 3 on before the first one recorded; for severe sun 12 are "
            r"usual; at harbour; "
            r"horizontal, open, normal to the wind, clear on dark wood; 4\.05 m2, 40 min of brushing"
        ),
        r"weather   good    harbour: weather\.csv answers; issued 0 min ago, reaches to Sun 24 May 07:00",
        rf"state     good    {folder}/state/{FILE_NAME}: will be made at the first start",
        (r"alert     good    phone: json://… about all pieces: Apprise knows the address; nothing was sent"),
    ]
    assert len(unwrapped.splitlines()) == len(expected)
    for line, pattern in zip(unwrapped.splitlines(), expected, strict=True):
        assert re.fullmatch(pattern, line), line


def of_piece(**keys):
    """Return what is said of a piece with some more keys, written as TOML, from where it stands on."""
    more = "".join(f", {key} = {value}" for key, value in keys.items())
    config = parse(
        CONFIG.replace('name = "Toe rail"', f'name = "Toe rail"{more}'), Path("yard.toml"), env={"HOME": "/"}
    )
    (text,) = [finding.text for finding in report(config, NOW) if finding.part == "piece"]
    return text.split("at harbour; ")[1].removesuffix("; 4.05 m2, 40 min of brushing")


@pytest.mark.parametrize(
    ("keys", "text"),
    [
        ({"cover": '"17:00-09:00"'}, "horizontal, open, normal to the wind, clear on dark wood; cover on 17:00-09:00"),
        ({"sun": '"12:45-19:30"'}, "horizontal, open, normal to the wind, clear on dark wood; sun 12:45-19:30"),
        (
            {"horizon": '{ S = "25 deg", "240 deg" = "40.5 deg" }'},
            "horizontal, open, normal to the wind, clear on dark wood; skyline S 25°, 240° 40.5°",
        ),
        (
            {"horizon": '{ N = "1 deg", E = "2 deg", S = "25 deg", SW = "40 deg", W = "3 deg" }'},
            "horizontal, open, normal to the wind, clear on dark wood; skyline up to 40° (SW)",
        ),
        (
            {"shelter": '"tent"', "heat": '"9 K"', "shut_by_day": "true"},
            "horizontal, tent heated by 9 K and shut by day, normal to the wind, clear on dark wood",
        ),
        (
            {"shelter": '"shed"', "shut_by_day": "true"},
            "horizontal, shed shut by day, normal to the wind, clear on dark wood",
        ),
        (
            {"shelter": '"shed"', "shut_by_day": "true", "lag": '"2.5 h"', "air_changes": '"1.2 / hour"'}
            | {"sun_warmth": '"12 K m^2/kW"'},
            (
                "horizontal, shed shut by day, normal to the wind, clear on dark wood; its air 2.5 h behind; "
                "its air changed 1.2 times an hour; the sun warms it by 12 K for each kW/m2"
            ),
        ),
        (
            {"wind_share": '"35 %"', "back_conductance": '"4 W/m^2/K"', "sky": '"60 %"'},
            "horizontal, open, 35 % of the wind at 10 m, clear on dark wood; 60 % of the sky; 4 W/m2K through its back",
        ),
    ],
)
def test_how_a_piece_stands_is_told_where_it_is_not_the_usual(keys, text):
    assert of_piece(**keys) == text


def test_people_are_listed_with_their_hours_and_the_days_off_that_are_to_come(yard):
    more = """
    person.kim = { name = "Kim", hours = "Mon-Fri 07:30-16:30, Sat 08:00-12:00", pieces = ["toe_rail"],
                   days_off = ["2026-05-01", "2026-06-08 to 2026-06-12", "2026-05-20"] }
    person.sasha = { hours = "Sun-Tue 20:00-24:00" }
    person.old_hand = {}
    """.replace("\n                ", "")
    found = [finding.text for finding in report(parse(more + CONFIG, Path("yard.toml"), env={}), NOW)
             if finding.part == "person"]  # fmt: skip
    assert found == [
        "kim (Kim): Mon-Fri 07:30-16:30, Sat 08:00-12:00; off 2026-05-20, 2026-06-08 to 2026-06-12; toe_rail",
        "sasha: Sun-Tue 20:00-24:00; all pieces",
        "old_hand: in the hours of each piece; all pieces",
    ]
    result = run(yard, text=more + CONFIG)
    assert re.search(r"^person +good +kim \(Kim\): Mon-Fri", result.output, re.MULTILINE)


def test_a_sky_that_is_brighter_round_the_sun_is_told_of_its_site(yard):
    text = CONFIG.replace(
        'timezone = "Europe/Berlin"', 'timezone = "Europe/Berlin", diffuse_sky = "brighter round the sun"'
    )
    assert "in Europe/Berlin; sky brighter round the sun" in re.sub(r"\n +", " ", run(yard, text=text).output)


def test_what_the_coats_have_taught_is_among_the_figures_with_where_it_is_from(yard):
    plain = run(yard, "--figures").output
    assert "learned from" not in plain
    store = open_store(yard.parent / "state")
    for number in (1, 2):
        coat = Coat(piece="toe_rail", number=number, finished_at=NOW, recorded_at=NOW)
        store.see_sandable(store.add_coat(coat), NOW, coating="spar", progress=1.4, recorded_at=NOW)
    store.close()
    (pace,) = [line for line in run(yard, "--figures").output.splitlines() if line.startswith("  pace ")]
    assert re.fullmatch(r"  pace +1\.\d+  \(learned from 2 coats of yours\)", pace)
    (spar,) = json.loads(run(yard, "--figures", "--json").output)["coatings"]
    (figure,) = [each for each in spar["figures"] if each["figure"] == "factors.pace"]
    assert (figure["mark"], figure["pace"] > 1.0) == ("learned from 2 coats of yours", True)


def test_what_is_said_fits_into_80_columns_in_colour_or_without(yard):
    plain, coloured = run(yard, "--figures", "--no-colour").output, run(yard, "--figures", "--colour").output
    assert "\x1b[" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain
    longer = [line for line in plain.splitlines() if len(line) > 80]
    assert all(str(yard.parent) in line for line in longer)  # only a path is not broken
    assert not any("hunter2" in text for text in (plain, coloured))


def test_nothing_is_made_where_nothing_is_yet(yard):
    run(yard)
    assert not (yard.parent / "state").exists()


def test_every_problem_of_a_bad_configuration_is_shown_and_nothing_else_is_tried(yard):
    result = run(yard, text=CONFIG.replace('"80 %"', '"80 kg"').replace('"4.05 m^2"', '"4.05"'))
    assert result.exit_code == 2
    assert re.sub(r"\n +", " ", result.output).splitlines() == [
        f'config    bad     {yard}: coating.spar.humidity_max = "80 kg" is a mass, not a share; wanted such as "85 %"',
        f'config    bad     {yard}: piece.toe_rail.area = "4.05" has no unit; wanted such as "4.5 m^2"',
    ]


def test_a_file_that_is_not_there_is_a_bad_configuration(yard):
    result = run(yard.parent / "other.toml")
    assert result.exit_code == 2
    assert re.sub(r"\s+", " ", result.output) == f"config bad {yard.parent}/other.toml: there is no such file "


def test_a_caution_is_worth_a_look_but_is_not_bad(yard):
    yard.chmod(0o644)
    result = run(yard)
    assert result.exit_code == 0
    assert "config    look" in result.output
    assert f"chmod 600 {yard}" in result.output.replace("\n" + " " * 18, " ")


def test_the_json_document_says_the_same(yard):
    result = run(yard, "--json", "--figures")
    document = json.loads(result.output)
    assert (document["schema"], document["generated_at"], document["good"]) == (
        "dryspell.check/1",
        "2026-05-20T06:00:00Z",
        True,
    )
    assert parts_of(result)["weather", "harbour"] == "good"
    (spar,) = document["coatings"]
    figures = {figure["figure"]: figure for figure in spar["figures"]}
    assert figures["humidity_max"] == {"figure": "humidity_max", "mark": "yours", "humidity_max_pct": 80.0}
    assert figures["air"]["air_c"] == [5.0, 30.0]
    assert figures["recoat"]["points"] == [{"film_c": 20.0, "time_h": 24.0}]
    bad = json.loads(run(yard, "--json", text="x = 1").output)
    assert bad["good"] is False
    assert {part["word"] for part in bad["parts"]} == {"bad"}


def test_a_network_source_is_not_asked_offline(yard):
    text = CONFIG.replace('sources = ["table"], file = "weather.csv"', 'open-meteo.base_url = "http://127.0.0.1:1"')
    result = run(yard, "--offline", text=text)
    assert result.exit_code == 0
    assert "weather   skipped harbour: open-meteo was not asked\n" in result.output


class Fake:
    """A source that gives what it is told to."""

    name = "fake"
    attribution = "by nobody"

    def __init__(self, answer):
        self.answer = answer

    def fetch(self, _now):
        if isinstance(self.answer, Exception):
            raise self.answer
        return self.answer


def table(issued_at=NOW, notes=(), hours=72, start=NOW, drop=()):
    times = np.datetime64(start.replace(tzinfo=None), "s") + np.arange(hours) * np.timedelta64(3600, "s")
    values = {
        "air_temperature": 14.0,
        "relative_humidity": 60.0,
        "wind_speed": 2.0,
        "cloud_area_fraction": 30.0,
        "precipitation_amount": 0.0,
    }
    columns = {name: np.full((1, hours), value) for name, value in values.items() if name not in drop}
    return WeatherTable(times, columns, "fake", issued_at, "by nobody", tuple(notes))


def asked(answer):
    config = parse(CONFIG, Path("yard.toml"), env={"HOME": "/home/you"})
    (finding,) = probes.weather(config, NOW, sources={"harbour": Fake(answer)})
    return finding


WEATHER = [
    (WeatherError("the service is down"), "bad", "harbour: the service is down"),
    (
        table(NOW - timedelta(minutes=20)),
        "good",
        "harbour: fake answers; issued 20 min ago, reaches to Sat 23 May 07:00; by nobody",
    ),
    (
        table(notes=["two rows were dropped"]),
        "look",
        "harbour: fake answers; issued 0 min ago, reaches to Sat 23 May 07:00; two rows were dropped; by nobody",
    ),
    (
        table(NOW - timedelta(hours=7)),
        "bad",
        "harbour: fake answers; issued 7 h ago, and nothing older than 6 h is acted on (stale_after); by nobody",
    ),
    (
        table(drop=["wind_speed"]),
        "bad",
        "harbour: fake answers; it does not tell wind_speed, which is needed; by nobody",
    ),
    (
        table(start=NOW - timedelta(days=9)),
        "bad",
        "harbour: fake answers; it knows nothing from now on; by nobody",
    ),
]


@pytest.mark.parametrize(("answer", "word", "text"), WEATHER)
def test_the_weather_is_good_only_when_it_can_be_acted_on(answer, word, text):
    assert asked(answer) == Finding("weather", word, text)


def test_a_state_that_cannot_be_kept_is_bad(yard):
    (yard.parent / "state").write_text("a file in the way")
    result = run(yard)
    assert result.exit_code == 2
    assert "state     bad" in result.output


def test_a_state_that_is_there_is_tried(yard):
    folder = yard.parent / "state"
    folder.mkdir()
    (folder / FILE_NAME).touch()
    assert f"{FILE_NAME}: can be written" in re.sub(r"\s+", " ", run(yard).output)
    (folder / FILE_NAME).write_text("no database at all, but more than a hundred bytes of it" * 9)
    result = run(yard)
    assert result.exit_code == 2
    assert "state     bad" in result.output


def test_an_address_that_apprise_does_not_know_is_bad_and_stays_hidden(yard):
    result = run(yard, text=CONFIG.replace("json://127.0.0.1:1/", "pigeon://"))
    assert result.exit_code == 2
    assert "alert     bad     phone: pigeon://… its address is not one that Apprise knows\n" in result.output
    assert "hunter2" not in result.output


def test_a_configuration_without_targets_is_worth_a_look(yard):
    text = "".join(line for line in CONFIG.splitlines(keepends=True) if not line.startswith("alert"))
    assert "alert     look    no target: what there is to say stands in the log only\n" in run(yard, text=text).output


@pytest.fixture
def receiver():
    """A local HTTP receiver; yields its address without the scheme, and the bodies that came in."""
    bodies = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self):
            bodies.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_):
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    yield f"127.0.0.1:{server.server_port}", bodies
    server.shutdown()
    thread.join()
    server.server_close()


def test_a_test_message_goes_out_only_when_asked_for(yard, receiver):
    address, bodies = receiver
    text = CONFIG.replace("127.0.0.1:1/hunter2", f"{address}/hunter2")
    assert run(yard, text=text).exit_code == 0
    assert bodies == []
    result = run(yard, "--send")
    assert result.exit_code == 0
    assert "a test was sent, with a picture; see that it came" in re.sub(r"\s+", " ", result.output)
    assert [body["title"] for body in bodies] == [alert_probes.TEST_TITLE]


def test_a_test_message_that_is_not_taken_is_bad(yard):
    result = run(yard, "--send")
    assert result.exit_code == 2
    assert "alert     bad     phone: json://… its service cannot be reached\n" in result.output


def test_figures_are_shown_in_the_units_of_the_messages():
    config = parse(CONFIG, Path("yard.toml"), env={"HOME": "/home/you"})
    metric = {key: value for key, value, _ in figures_text(config.coating["spar"], "metric")}
    us = {key: value for key, value, _ in figures_text(config.coating["spar"], "us")}
    assert (metric["air"], us["air"]) == ("5 °C to 30 °C", "41 °F to 86 °F")
    assert (metric["margin_apply"], us["margin_apply"]) == ("3 K", "5.4 °F")
    assert metric["thinner"] == "50, 25, 10, 0"
    assert metric["touch_dry"].replace("\xa0", " ") == "9 h at 10 °C, 5 h at 20 °C"
    assert metric["full_cure"].replace("\xa0", " ").startswith("70 d at 5 °C, 56 d at 10 °C")
    assert len(figures_document(config.coating["spar"])) == len(metric) == len(config.coating["spar"].figures())


def test_a_coating_of_ones_own_that_no_piece_has_is_shown_as_such():
    config = parse(CONFIG + '[coating.spare]\nfamily = "primer_1k"\n', Path("yard.toml"), env={"HOME": "/home/you"})
    texts = [finding.text for finding in report(config, NOW) if finding.part == "coating"]
    assert len(texts) == 2
    assert texts[1] == (
        "spare on primer_1k: all 37 figures are ours (common practice, no source; 4 with a source); no piece has it"
    )


def test_lines_without_an_end_to_break_at_are_left_whole():
    long = "/a/" + "x" * 90
    assert list(check.findings_text([Finding("config", "good", long)], Paint(on=False))) == [
        f"config    good    {long}"
    ]
