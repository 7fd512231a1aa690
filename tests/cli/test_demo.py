"""The demo: its invented weather is sound, it shows what it is there to show, and it runs and leaves as a daemon."""

import csv
import json
import os
import signal
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from dryspell.bundled import bundled
from dryspell.cli import main
from dryspell.cli.demo import Scenario
from dryspell.cli.showers import showers
from dryspell.config import load
from dryspell.outlook.model import Limit
from dryspell.tick.look import look
from patience import with_patience

NOW = "2026-09-03T11:15+02:00"
SCENARIO = Scenario(load(bundled("demo.toml")), datetime.fromisoformat(NOW))


@pytest.fixture(scope="module")
def weather():
    lines = [line for line in bundled("demo-weather.csv").read_text("utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    columns = {name.split(" [")[0]: np.array([float(row[name]) for row in rows]) for name in rows[0] if name != "time"}
    return [datetime.fromisoformat(row["time"]) for row in rows], columns


def test_the_weather_is_hourly_for_yesterday_and_sixteen_days_without_a_gap(weather):
    times, _ = weather
    assert {b - a for a, b in pairwise(times)} == {timedelta(hours=1)}
    assert times[-1] - times[0] == timedelta(days=17)


def test_temperature_dew_point_and_humidity_belong_together(weather):
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    _, columns = weather
    air, dew, humidity = (columns[n] for n in ("air_temperature", "dew_point_temperature", "relative_humidity"))
    assert np.all(dew <= air)
    by_library = [100 * psychrolib.GetRelHumFromTDewPoint(t, td) for t, td in zip(air, dew, strict=True)]
    assert np.max(np.abs(by_library - humidity)) < 1.0  # written to a tenth of a degree and a whole percent


def test_rain_comes_with_cloud_and_a_chance_and_gusts_are_no_less_than_the_wind(weather):
    _, columns = weather
    wet = columns["precipitation_amount"] > 0
    assert 5 < columns["precipitation_amount"].sum() < 60
    assert np.all(columns["probability_of_precipitation"][wet] >= 30)
    assert np.all(columns["cloud_area_fraction"][wet] >= 80)
    assert np.all(columns["wind_speed_of_gust"] >= columns["wind_speed"])


def test_the_forecast_starts_today_and_the_day_before_is_there_for_the_film_that_dries():
    zone = SCENARIO.config.site["quillhaven"].zone
    table = SCENARIO.sources["quillhaven"].fetch(SCENARIO.begin)
    first, last = (datetime.fromisoformat(f"{t}+00:00").astimezone(zone) for t in (table.times[0], table.times[-1]))
    assert first.date().isoformat() == "2026-09-02"
    assert last.date().isoformat() == "2026-09-19"


@pytest.mark.parametrize("month", range(1, 13))
def test_whatever_the_season_every_piece_has_a_window_and_there_are_many_reasons_against_the_rest(month):
    begin = datetime(2026, month, 10, 10, 0, tzinfo=UTC)
    scenario = Scenario(SCENARIO.config, begin)
    tables = {key: source.fetch(begin) for key, source in scenario.sources.items()}
    outlooks = look(scenario.config, scenario.coats(), tables, begin)
    assert all(any(window.word == "coat" for window in outlook.windows) for outlook in outlooks)
    assert any(window.word == "tight" for outlook in outlooks for window in outlook.windows)
    against = {block.reason.limit for outlook in outlooks for block in outlook.blocks}
    assert {Limit.MARGIN_HOLD, Limit.DRY, Limit.WIND, Limit.HUMIDITY, Limit.COAT_BELOW} <= against
    assert against & {Limit.SUN, Limit.SURFACE_HIGH}
    assert against & {Limit.RAIN, Limit.RAIN_CHANCE}


def once(capsys, *more):
    assert main(["demo", "--once", "--now", NOW, *more]) == 0
    return capsys.readouterr().out


def test_once_prints_verdicts_first_then_windows_with_reasons_and_the_alerts_it_would_send(capsys):
    text = once(capsys)
    head, *_ = text.split("\n\nToe rail, Quillhaven")
    assert [line.split()[0] for line in head.splitlines()[2:5]] == ["COAT", "COAT", "WAIT"]
    assert "brush down by" in head
    assert "tight to" in text
    assert "sun on the wet film" in text
    assert "% of the way to sandable" in text
    _, alerts = text.split("What it would send in the next 4 days")
    assert "Coat now, brush down by" in alerts
    assert "Coat from " in alerts  # of the next day, of several pieces at one site
    assert "data sheet" in alerts


def test_a_fixed_now_makes_it_print_the_same_again(capsys):
    assert once(capsys) == once(capsys)


def test_nothing_is_wider_than_eighty_columns_and_colour_adds_no_words(capsys):
    plain, coloured = once(capsys, "--no-colour"), once(capsys, "--colour")
    assert max(map(len, plain.splitlines())) <= 80
    assert coloured != plain
    codes = [part.partition("m") for part in coloured.split("\x1b[")]
    assert codes[0][0] + codes[0][1] + codes[0][2] + "".join(rest for _, _, rest in codes[1:]) == plain


def test_the_document_holds_the_alerts_too(capsys):
    document = json.loads(once(capsys, "--json"))
    assert document["schema"] == "dryspell.demo/1"
    assert [piece["verdict"] for piece in document["pieces"]] == ["coat", "coat", "wait"]
    assert all(alert["at"].endswith("Z") and alert["title"] and alert["body"] for alert in document["alerts"])
    assert [alert["at"] for alert in document["alerts"]] == sorted(alert["at"] for alert in document["alerts"])


def test_alerts_are_not_repeated_and_open_windows_are_told_at_their_opening(capsys):
    document = json.loads(once(capsys, "--json"))
    told = [(alert["at"], alert["piece"], alert["kind"]) for alert in document["alerts"]]
    assert len(set(told)) == len(told)
    opened = {(at, piece) for at, piece, kind in told if kind == "coat_now"}
    starts = {(w["start"], piece["piece"]) for piece in document["pieces"] for w in piece["windows"]}
    assert opened <= starts


def test_showers_that_a_later_forecast_has_are_told_in_time_to_cover_and_taken_back(capsys):
    _, alerts = once(capsys).split("And if showers came up")
    assert "Rain 16:00, cover it: Toe rail" in alerts
    assert "Cover it before 16:00" in alerts
    assert "No rain after all: Toe rail" in alerts
    told = json.loads(once(capsys, "--json"))["alerts_if_showers"]
    assert [alert["kind"] for alert in told] == ["film_risk", "risk_over"]
    # The last stroke is the end of an hour of brushing from 11:15 on, and the shower comes within four hours of it.
    assert [alert["at"] for alert in told] == ["2026-09-03T11:30:00Z", "2026-09-03T13:00:00Z"]


@pytest.mark.parametrize("month", range(1, 13))
def test_whatever_the_season_showers_on_a_fresh_coat_are_told(month):
    begin = datetime(2026, month, 10, 8, 0, tzinfo=UTC)
    scenario = Scenario(SCENARIO.config, begin)
    tables = {key: source.fetch(begin) for key, source in scenario.sources.items()}
    told = showers(scenario.config, scenario.coats(), tables, look(scenario.config, scenario.coats(), tables, begin))
    assert [alert.kind for alert in told if alert.kind in ("film_risk", "risk_over")] == ["film_risk", "risk_over"]


def test_a_scenario_without_a_weather_file_is_refused(capsys, tmp_path):
    file = tmp_path / "net.toml"
    file.write_text(
        'contact = "you@example.org"\n'
        'site.home = { latitude = "54 deg", longitude = "10 deg", timezone = "UTC" }\n'
        'piece.door = { coating = "primer_1k" }\n'
    )
    assert main(["demo", "--once", "--config", str(file)]) == 2
    assert "the demo takes its weather out of a file" in capsys.readouterr().err


@pytest.fixture
def daemon(tmp_path):
    """Start the demo as a daemon, in a temporary folder of its own."""
    running = []

    def start(*more):
        env = {
            **os.environ,
            "TMPDIR": str(tmp_path),
            "DRYSPELL_STATE": str(tmp_path / "state"),
            "PYTHONUNBUFFERED": "1",
        }
        command = [sys.executable, "-m", "dryspell", "demo", "--now", NOW, *more]
        running.append(subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env))
        return running[-1]

    yield start
    for process in running:
        if process.poll() is None:
            process.kill()
        process.communicate()


def read_until(process, wanted):
    seen = ""
    with with_patience(process):
        for line in process.stdout:
            seen += line
            if wanted in line:
                return seen
    raise AssertionError(f"{wanted!r} never came:\n{seen}\n{process.stderr.read()}")


@pytest.mark.parametrize("with_signal", [signal.SIGINT, signal.SIGTERM])
def test_the_daemon_prints_its_alerts_until_it_is_told_to_leave_and_keeps_nothing(daemon, tmp_path, with_signal):
    process = daemon()
    shown = read_until(process, "Coat now, brush down by 14:15: Toe rail")
    assert shown.startswith("Thu 3 Sep 2026 11:15")
    assert list(tmp_path.glob("dryspell-demo-*"))
    process.send_signal(with_signal)
    _, error = process.communicate(timeout=60)
    assert process.returncode == 0, error
    assert "Traceback" not in error
    assert list(Path(tmp_path).iterdir()) == []


@pytest.mark.parametrize("with_signal", [signal.SIGINT, signal.SIGTERM])
def test_one_that_is_told_to_leave_before_it_has_begun_keeps_nothing_either(daemon, tmp_path, with_signal):
    process = daemon()
    read_until(process, "Ctrl-C leaves")
    process.send_signal(with_signal)
    _, error = process.communicate(timeout=60)
    assert process.returncode == 0, error
    assert list(Path(tmp_path).iterdir()) == []


def test_the_daemon_writes_json_lines_where_asked(daemon):
    process = daemon("--json")
    alert = json.loads(read_until(process, "Toe rail"))
    assert alert["schema"] == "dryspell.alert/1"
    process.send_signal(signal.SIGTERM)
    _, error = process.communicate(timeout=60)
    assert all(json.loads(line)["message"] for line in error.splitlines())
