"""The README is true: its commands run, its configuration is good, its links lead somewhere, its picture is current."""

import csv
import importlib.util
import io
import json
import os
import re
import shlex
import signal
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from dryspell.bundled import bundled
from dryspell.config import parse
from patience import with_patience

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text("utf-8")
COMMANDS = [
    line.split("#")[0].strip()
    for block in re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    for line in block.splitlines()
    if line.strip()
]
CONFIGURATION, PAGE, SENSORS = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
SEASON = [command for command in COMMANDS if "season" in command]
KEEPING = [command for command in COMMANDS if re.search(r"dryspell (status|backup|restore|export)\b", command)]
OURS = [command for command in COMMANDS if command.startswith(".venv/bin/dryspell") and command not in SEASON + KEEPING]


def test_every_command_is_one_that_a_test_runs():
    tested_elsewhere = {"sh deploy/try --once", "sh deploy/check"}  # tests/test_deploy.py
    exports = {command for command in COMMANDS if command.startswith("export ")}
    assert set(COMMANDS) == tested_elsewhere | exports | set(OURS) | set(SEASON) | set(KEEPING)
    assert (len(OURS), len(SEASON), len(KEEPING)) == (9, 3, 4)


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    """A home folder with the README's configuration, and weather out of a file instead of the network."""
    folder = tmp_path_factory.mktemp("home")
    place = folder / ".config" / "dryspell"
    place.mkdir(parents=True)
    weather = 'weather = { sources = ["table"], file = "weather.csv" }\n'
    (place / "dryspell.toml").write_text(CONFIGURATION + weather, "utf-8")
    (place / "weather.csv").write_text(weather_from_yesterday(), "utf-8")
    return folder


def weather_from_yesterday():
    lines = [line for line in bundled("demo-weather.csv").read_text("utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.reader(lines))
    now = datetime.now(UTC)
    shift = (now - timedelta(days=1)).date() - datetime.fromisoformat(rows[1][0]).date()
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(rows[0])
    writer.writerows([(datetime.fromisoformat(time) + shift).isoformat(), *cells] for time, *cells in rows[1:])
    return f"# issued {now:%Y-%m-%dT%H:%MZ}\n{out.getvalue()}"


def start(command, home):
    (exported,) = re.findall(r"^export (\w+)=\"(.*)\"$", README, re.MULTILINE)
    assert exported[1].startswith("mailto://")
    nobody = "json://127.0.0.1:1/"  # in the evening there is a notice to send, and no mail goes out from here
    env = {**os.environ, exported[0]: nobody, "HOME": str(home), "PYTHONUNBUFFERED": "1"}
    for name in ("XDG_CONFIG_HOME", "XDG_STATE_HOME", "DRYSPELL_CONFIG", "DRYSPELL_STATE"):
        env.pop(name, None)
    arguments = shlex.split(command)[1:]
    return subprocess.Popen(
        [sys.executable, "-m", "dryspell", *arguments],
        cwd=home, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip


@pytest.mark.parametrize("command", [command for command in OURS if not command.endswith(" run")])
def test_the_commands_for_ones_own_place_work_with_the_configuration_shown(command, home):
    output, error = start(command, home).communicate(timeout=60)
    assert error == ""
    assert re.search(r"\bdoor\b", output)
    assert "bad " not in output


def test_the_commands_that_keep_it_work_one_after_the_other(home):
    start(".venv/bin/dryspell windows", home).communicate(timeout=60)  # a state to keep
    said = []
    for command in KEEPING:
        output, error = start(command, home).communicate(timeout=60)
        assert error == ""
        said.append(output)
    told, copied, put_back, written = said
    assert "does not run" in told
    assert "read through and whole" in copied
    assert "is now as in kept.sqlite3" in put_back
    assert "coats" in written
    assert "# What dryspell has kept" in (home / "kept" / "README.md").read_text("utf-8")


def test_the_commands_of_the_season_work(tmp_path):
    script, *replays = SEASON
    subprocess.run([sys.executable, ROOT / script.split()[1], "season"], cwd=tmp_path, check=True)
    for command in replays:
        day = command.replace("2013-11-01", "2013-04-02")
        arguments = [sys.executable, "-m", "dryspell", *shlex.split(day)[1:]]
        ran = subprocess.run(arguments, cwd=tmp_path, capture_output=True, text=True, check=True, timeout=300)
        assert ran.stderr == ""
        assert "As dryspell says: 0 of 0 coats" in ran.stdout  # the first of April was too cold


def test_the_daemon_starts_with_the_configuration_shown_and_leaves_when_told(home):
    process = start(".venv/bin/dryspell run", home)
    try:
        with with_patience(process):
            lines = iter(process.stderr.readline, "")
            assert "watches 1 piece" in next(lines)
            assert any("door: " in line for line in lines)  # the first verdict
        process.send_signal(signal.SIGTERM)
        _, error = process.communicate(timeout=20)
        assert process.returncode == 0, error
    finally:
        process.kill()


def test_the_sensors_shown_are_read_as_the_comments_beside_them_say():
    text = CONFIGURATION + 'weather.sources = ["sensors"]\nweather.rain_without_forecast = "assume none"\n' + SENSORS
    config = parse(text, Path("dryspell.toml"), env={"HOME": "/home/you", "DRYSPELL_PHONE": "json://localhost"})
    assert [sensor.site for sensor in config.sensor.values()] == ["home", "home"]
    (payload,) = re.findall(r"# (\{.*\})", SENSORS)
    measures = config.sensor["garden"].read
    assert [json.loads(payload)[measure.path] for measure in measures] == [14.2, 81]
    (header,) = re.findall(r"# (time,.*)", SENSORS)
    probe = config.sensor["probe"]
    assert header.split(",") == [probe.time.path, *(measure.path for measure in probe.read)]


def test_the_page_shown_is_served_to_whoever_knows_the_token_and_at_first_to_this_machine_alone():
    env = {"HOME": "/home/you", "DRYSPELL_PHONE": "json://localhost", "DRYSPELL_PAGE": "a token of many letters"}
    page = parse(CONFIGURATION + PAGE, Path("dryspell.toml"), env=env).page
    assert (page.listen, page.hosts) == (("0.0.0.0", 8417), ("varnish.lan",))
    assert page.token.get_secret_value() == env["DRYSPELL_PAGE"]
    host, port = parse(CONFIGURATION, Path("dryspell.toml"), env=env).page.listen
    assert f"http://{host}:{port}/" in README


def test_every_file_the_texts_link_to_is_there():
    for name in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / name).read_text("utf-8")
        links = [link for link in re.findall(r"\]\(([^)]+)\)", text) if "://" not in link]
        assert [link for link in links if not (ROOT / link).exists()] == []


def test_the_picture_shows_what_the_demo_prints_now():
    spec = importlib.util.spec_from_file_location("picture", ROOT / "deploy" / "picture.py")
    picture = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(picture)
    drawn = picture.PICTURE.read_text("utf-8")
    assert drawn == picture.drawn(picture.printed()), "python deploy/picture.py draws it anew"
    assert "deploy/picture.svg" in README
