"""The command line as a whole: what it lists, how it fails, what it imports."""

import importlib
import os
import re
import subprocess
import sys

import click
import pytest

from dryspell.cli import COMMANDS, group, main
from dryspell.errors import ConfigError


def python(code, **env):
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, env={**os.environ, **env}, timeout=60
    )


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example_of_itself(name, capsys):
    assert main([name, "--help"]) == 0
    text = capsys.readouterr().out
    assert re.search(rf"^ +Examples?:\n +dryspell {name}\b", text, re.MULTILINE)
    assert all(option in text for option in ("--config", "--json", "--now"))
    assert max(map(len, text.splitlines())) <= 80


def test_the_list_of_commands_is_that_of_the_modules_and_promises_none_that_is_not_there(capsys):
    assert main(["--help"]) == 0
    text = capsys.readouterr().out
    assert all(f"  {name} " in text for name in COMMANDS)
    assert all(isinstance(importlib.import_module(f"dryspell.cli.{name}").command, click.Command) for name in COMMANDS)


def test_help_imports_nothing_heavy():
    heavy = ["click", "numpy", "pydantic", "pint", "requests", "apprise", "apscheduler"]
    code = "import sys; from dryspell.cli import main; main(['--help']); print(*sys.modules)"
    assert set(python(code).stdout.split()).isdisjoint(heavy)


@pytest.mark.parametrize("columns", ["40", "79", "80", "200"])
def test_help_without_click_is_what_click_says(columns, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", columns)
    assert main(["-h"]) == 0
    text = capsys.readouterr().out
    group.cli.main(["--help"], prog_name="dryspell", standalone_mode=False)
    assert text == capsys.readouterr().out


def test_help_read_by_a_pipe_that_closes_says_nothing_more():
    code = "import sys; from dryspell.cli import main; sys.exit(main(['--help']))"
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run([sys.executable, "-c", code], stdout=writer, stderr=subprocess.PIPE, check=False, timeout=60)
    os.close(writer)
    assert (done.returncode, done.stderr) == (0, b"")


def test_an_unknown_command_is_bad_input(capsys):
    assert main(["varnish"]) == 2
    assert "No such command 'varnish'" in capsys.readouterr().err


def test_a_local_time_is_refused_with_what_would_be_right(capsys, monkeypatch):
    monkeypatch.setenv("TZ", "Europe/Berlin")
    assert main(["demo", "--once", "--now", "2026-09-03T11:15"]) == 2
    error = capsys.readouterr().err
    assert "has no offset from UTC" in error
    assert re.search(r"2026-09-03T11:15[+-]\d\d:\d\d, or 2026-09-03T\d\d:\d\dZ", error)


def test_what_is_no_instant_is_refused_with_an_example(capsys):
    assert main(["windows", "--now", "noon"]) == 2
    assert "'noon' is not an instant; wanted such as 2026-09-03T08:00+02:00" in capsys.readouterr().err


@pytest.mark.parametrize("instant", ["0001-01-01", "0001-01-01T00:00+14:00", "9999-12-31T23:59-14:00"])
def test_an_instant_of_no_time_of_ours_is_refused(instant, capsys):
    assert main(["windows", "--now", instant]) == 2
    assert "is not of our time; wanted a year from 1940 to 2199" in capsys.readouterr().err


def failing(error):
    @click.command()
    def command():
        raise error

    return lambda *_: command


def test_an_error_a_person_can_put_right_is_its_message_and_exit_code_2(capsys, monkeypatch):
    monkeypatch.setattr(group.LazyGroup, "get_command", failing(ConfigError(["one thing", "another"])))
    assert main(["windows"]) == 2
    assert capsys.readouterr().err == "dryspell: one thing\nanother\n"


def test_a_fault_of_the_program_is_one_plain_line_with_how_to_see_more(capsys, monkeypatch):
    monkeypatch.delenv("DRYSPELL_DEBUG", raising=False)
    monkeypatch.setattr(group.LazyGroup, "get_command", failing(ZeroDivisionError("by nothing")))
    assert main(["windows"]) == 70
    error = capsys.readouterr().err
    assert error.splitlines()[0] == "dryspell: a fault of the program, not of yours: ZeroDivisionError: by nothing"
    assert "DRYSPELL_DEBUG=1" in error
    assert "Traceback" not in error


def test_debugging_shows_a_fault_in_full(monkeypatch):
    monkeypatch.setenv("DRYSPELL_DEBUG", "1")
    monkeypatch.setattr(group.LazyGroup, "get_command", failing(ZeroDivisionError("by nothing")))
    with pytest.raises(ZeroDivisionError):
        main(["windows"])


def test_an_interrupted_command_leaves_quietly(capsys, monkeypatch):
    monkeypatch.setattr(group.LazyGroup, "get_command", failing(KeyboardInterrupt()))
    assert main(["windows"]) == 130
    assert "Traceback" not in capsys.readouterr().err


def test_a_reader_that_leaves_early_is_no_error():
    command = f"{sys.executable} -m dryspell demo --once --now 2026-09-03T11:15+02:00 | head -n 1"
    result = subprocess.run(["sh", "-c", command], capture_output=True, text=True, check=True, timeout=60)
    assert result.stdout.startswith("Thu 3 Sep 2026 11:15")
    assert result.stderr == ""
