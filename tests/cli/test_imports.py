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
    code = "import sys; from dryspell.cli import main; main(sys.argv[1:]); print(*sys.modules, file=sys.stderr)"
    done = subprocess.run(
        [sys.executable, "-c", code, *command.split(), *about], capture_output=True, text=True, check=True, timeout=60,
        env=os.environ | {"DRYSPELL_STATE": str(place / "state")},
    )  # fmt: skip
    loaded = set(done.stderr.split())
    assert "dryspell.cli" in loaded, done.stderr
    assert done.stdout
    assert loaded & never == set()


def test_a_short_command_leaves_the_search_for_garbage_as_it_was(capsys):
    gc.enable()
    assert main(["windows", "--help"]) == 0
    assert "Usage" in capsys.readouterr().out
    assert gc.isenabled()
