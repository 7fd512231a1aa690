"""What the commands cost to start: against an interpreter that does nothing, and against their libraries alone."""

import math
import sys
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from bench.row import Row, child_cpu, pair
from dryspell.cli import COMMANDS

NOTHING = [sys.executable, "-c", "pass"]
KEEPS_BYTECODE = {"PYTHONDONTWRITEBYTECODE": ""}
"""As an installed program has it; some build machines set it, and compile every module at every start."""
TIMES = 3
START = datetime(2026, 9, 1, tzinfo=UTC)
CONFIG = """
contact = "bench@example.org"
state = "{folder}/state"
page.listen = "none"
weather = {{ sources = ["table"], file = "{folder}/weather.csv" }}
site.home = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "UTC" }}
piece.rail = {{ coating = "oil_varnish_1k" }}
"""
LIBRARIES = {
    "windows": "click, numpy, pydantic, sqlite3",
    "plan": "click, numpy, pydantic, sqlite3",
    "status": "click, numpy, pydantic, sqlite3",
    "log": "click, numpy, pydantic, sqlite3",
    "material": "click, numpy, pydantic, sqlite3",
    "check": "click, numpy, pydantic, requests, sqlite3",
    "run": "apscheduler.job, click, fastapi, jinja2, numpy, pydantic, requests, sqlite3, uvicorn",
}
"""What is imported by a command that does its work; of pydantic what every model needs."""


def home(folder):
    """Write a configuration and its weather; return the configuration."""
    names = "air_temperature [degC],relative_humidity [%],wind_speed [m/s],precipitation_amount [mm]"
    rows = [f"# issued {START:%Y-%m-%dT%H:%MZ}", f"time,{names},cloud_area_fraction [%]"]
    for hour in range(24 * 16):
        day = math.sin((hour - 9) / 12 * math.pi)
        rows.append(f"{START + timedelta(hours=hour):%Y-%m-%dT%H:%MZ},{15 + 6 * day:.1f},{70 - 20 * day:.0f},3,0,50")
    (folder / "weather.csv").write_text("\n".join(rows), encoding="utf-8")
    (folder / "yard.toml").write_text(CONFIG.format(folder=folder), encoding="utf-8")
    return folder / "yard.toml"


def dryspell(*arguments):
    """Return a command line of ours."""
    return [sys.executable, "-m", "dryspell", *arguments]


def working(name, *more):
    """Return a `prepare` of a command on weather at hand, against an interpreter that does nothing."""

    @contextmanager
    def prepare():
        with TemporaryDirectory() as folder:
            config = home(Path(folder))
            now = f"{START + timedelta(hours=6):%Y-%m-%dT%H:%MZ}"
            command = dryspell(name, "--config", str(config), "--now", now, *more)
            yield child_cpu(command, TIMES, KEEPS_BYTECODE), child_cpu(NOTHING, TIMES)

    return prepare


def starting(name, reference):
    """Return a `prepare` of what the help of a command costs, which imports what its module begins with."""
    return pair(
        lambda: child_cpu(dryspell(*name.split(), "--help"), TIMES, KEEPS_BYTECODE),
        lambda: child_cpu(reference, TIMES, KEEPS_BYTECODE),
    )


def libraries(name):
    """Return the command line that imports what a command stands on."""
    return [sys.executable, "-c", f"import {LIBRARIES[name]}; pydantic.BaseModel"]


AN_INTERPRETER = "python -c pass"
ROWS = (
    Row("help", "dryspell --help", AN_INTERPRETER, starting("", NOTHING), better="less", bar=4.0, guard=True),
    Row("windows_start", "dryspell windows on weather at hand", AN_INTERPRETER, working("windows"), better="less",
        bar=30.0, guard=True),
    Row("status_start", "dryspell status", AN_INTERPRETER, working("status"), better="less"),
    Row("log_start", "dryspell log", AN_INTERPRETER, working("log"), better="less"),
    *(
        Row(f"start_{name}", f"dryspell {name} --help", AN_INTERPRETER, starting(name, NOTHING), better="less")
        for name in COMMANDS
    ),
    *(
        Row(f"over_libraries_{name}", f"dryspell {name} --help", f"importing {LIBRARIES[name]}",
            starting(name, libraries(name)), better="less")
        for name in LIBRARIES
    ),
)  # fmt: skip
