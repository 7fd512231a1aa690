"""What commands do without: a library that is loaded for nothing is most of what a start costs on a small machine."""

import gc
import os
import shutil
import subprocess
import sys

import pytest

from dryspell.bundled import bundled
from dryspell.cli import main

NOW = "2026-09-03T08:00Z"
NEVER = {
    "apprise", "apscheduler", "dask", "distributed", "fastapi", "icalendar", "jinja2", "ortools", "paho", "pandas",
    "pint", "prometheus_client", "psychrolib", "pvlib", "pyarrow", "uvicorn", "vl_convert", "dryspell.service",
    "dryspell.web", "dryspell.alerts.decide",
}  # fmt: skip
"""No command that only looks needs these, where quantities are in units that are usual."""
NO_NETWORK = {"requests", "ssl", "urllib3"}
"""Nor these, where the weather is at hand."""
A_PIECE = """
state = "state"
page.listen = "none"
weather = { sources = ["table"], file = "demo-weather.csv" }
site.home = { latitude = "54.3 deg", longitude = "10.2 deg", timezone = "UTC" }
piece.rail = { coating = "oil_varnish_1k" }
"""
NOT_FOR_A_PIECE = {
    "email", "importlib.metadata", "importlib.resources", "numpy.ma", "tempfile",
    "dryspell.alerts.memory", "dryspell.alerts.model", "dryspell.config.people", "dryspell.config.sensors",
    "dryspell.config.targets", "dryspell.outlook.coat_log", "dryspell.outlook.plan_model", "dryspell.science.pace",
    "dryspell.store.backup", "dryspell.store.calendar_entry", "dryspell.store.notices", "dryspell.trade.person",
    "dryspell.trade.stock", "dryspell.weather.alone", "dryspell.weather.correction", "dryspell.weather.http",
    "dryspell.weather.learn_errors", "dryspell.weather.sensors.model", "dryspell.weather.sources.met_norway",
    "dryspell.weather.sources.nws", "dryspell.weather.sources.open_meteo", "dryspell.weather.sources.preferred",
}  # fmt: skip
"""What one piece and a table of weather need nothing of: plans, alerts, sensors, people, services, a second source."""


@pytest.fixture
def place(tmp_path):
    for name in ("demo.toml", "demo-weather.csv"):
        shutil.copy(bundled(name), tmp_path / name)
    return tmp_path


@pytest.mark.parametrize(
    ("command", "never"),
    [
        ("--help", NEVER | NO_NETWORK | {"click", "numpy", "pydantic", "sqlite3"}),
        ("windows", NEVER | NO_NETWORK | {"dryspell.tick.round", "dryspell.outlook.shared_plan"}),
        ("windows --json", NEVER | NO_NETWORK | {"dryspell.tick.round"}),
        ("status", NEVER | {"dryspell.tick.round", "dryspell.outlook.judge"}),
        ("log", NEVER | NO_NETWORK),
        ("material", NEVER | NO_NETWORK),
        ("check --help", NEVER | NO_NETWORK),
        ("run --help", NEVER | NO_NETWORK),
    ],
)
def test_a_command_loads_nothing_that_it_does_not_use(place, command, never):
    about = [] if "--help" in command else ["--now", NOW, "--config", str(place / "demo.toml")]
    assert loaded_by(place, *command.split(), *about) & never == set()


def test_windows_of_one_piece_load_no_more_than_it_takes(place):
    config = place / "piece.toml"
    config.write_text(A_PIECE, encoding="utf-8")
    loaded = loaded_by(place, "windows", "--now", NOW, "--config", str(config))
    assert "dryspell.weather.sources.table_file" in loaded
    assert loaded & NOT_FOR_A_PIECE == set()


def loaded_by(place, *arguments):
    """Return the modules that a command has loaded when it is done, in a process of its own."""
    code = "import sys; from dryspell.cli import main; main(sys.argv[1:]); print(*sys.modules, file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True, timeout=60,
        env=os.environ | {"DRYSPELL_STATE": str(place / "state")},
    )  # fmt: skip
    loaded = set(done.stderr.split())
    assert "dryspell.cli" in loaded, done.stderr
    assert done.stdout
    return loaded


@pytest.mark.parametrize(
    ("arguments", "says", "code"),
    [(["windows", "--help"], "Usage", 0), (["windows", "--nothing"], "", 2), (["windows", "--config", "none"], "", 2)],
)
def test_a_short_command_in_a_process_of_its_own_ends_with_its_words_and_code(arguments, says, code):
    command = [sys.executable, "-m", "dryspell", *arguments]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert (done.returncode, says in done.stdout, bool(done.stderr)) == (code, True, code != 0)


def test_the_search_for_plugins_that_is_left_out_makes_way_for_whoever_asks_more_of_it():
    code = (
        "import dryspell.cli; from dryspell.cli.plugins import leave_out; leave_out(); import pydantic\n"
        "class Model(pydantic.BaseModel): figure: int\n"
        "assert Model(figure=1).figure == 1\n"
        "from pydantic.plugin._loader import PYDANTIC_ENTRY_POINT_GROUP, get_plugins\n"
        "print(PYDANTIC_ENTRY_POINT_GROUP, *get_plugins())"
    )
    env = {name: value for name, value in os.environ.items() if name != "PYDANTIC_DISABLE_PLUGINS"}
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60, env=env)
    assert done.stdout.split() == ["pydantic"]


def test_a_short_command_leaves_the_search_for_garbage_as_it_was(capsys):
    gc.enable()
    assert main(["windows", "--help"]) == 0
    assert "Usage" in capsys.readouterr().out
    assert gc.isenabled()
