"""The shell scripts of deploy/, in a copy of the checkout whose packages are in already: no network is asked."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
CHECKS = ["ruff", "mypy", "lint-imports"]


@pytest.fixture
def checkout(tmp_path):
    """A checkout with an environment whose commands are this one's, and note that they were called."""
    for name in ("deploy", "config"):
        shutil.copytree(ROOT / name, tmp_path / name)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    commands = tmp_path / ".venv" / "bin"
    commands.mkdir(parents=True)
    write(commands / "python", f'exec "{sys.executable}" "$@"')
    write(commands / "dryspell", f'exec "{sys.executable}" -m dryspell "$@"')
    installed(tmp_path, ".[test]")
    return tmp_path


def write(file, text):
    file.write_text(f"#!/bin/sh\n{text}\n", "utf-8")
    file.chmod(0o755)


def installed(checkout, what):
    with (checkout / "pyproject.toml").open("rb") as file:
        digest = subprocess.run(["cksum"], stdin=file, capture_output=True, text=True, check=True).stdout.strip()
    (checkout / ".venv" / "installed").write_text(f"{what} {digest} {checkout}\n", "utf-8")


def sh(checkout, script, *arguments, **env):
    path = "/usr/bin:/bin"
    return subprocess.run(
        ["sh", str(checkout / script), *arguments],
        env={"PATH": path, "HOME": str(checkout), **env}, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip


def test_try_once_prints_the_demo_and_leaves(checkout):
    result = sh(checkout, "deploy/try", "--once", "--now", "2026-09-03T11:15+02:00")
    assert result.returncode == 0
    assert result.stdout.startswith("Thu 3 Sep 2026 11:15")
    assert "What it would send" in result.stdout
    assert result.stderr == ""


@pytest.fixture
def checks(checkout):
    """The checks as stand-ins that note their call; pytest ends with its own closing line."""
    called = checkout / "called"
    for name in CHECKS:
        write(checkout / ".venv/bin" / name, f'echo "{name} $*" >>"{called}"\ntest "$FAILS" != {name}')
    closing = "== 3 passed in 0.1s =="
    write(
        checkout / ".venv/bin/python",
        f'[ "$2" = pytest ] || exec "{sys.executable}" "$@"\n'
        f'echo "pytest $*" >>"{called}"; echo "{closing}"; test "$FAILS" != pytest',
    )
    return called


def test_check_runs_style_types_imports_and_tests_and_ends_with_the_line_of_pytest(checkout, checks):
    result = sh(checkout, "deploy/check", "-q")
    assert result.returncode == 0
    assert checks.read_text().splitlines() == [
        "ruff check",
        "ruff format --check",
        "mypy ",
        "lint-imports ",
        "pytest -m pytest -q",
    ]
    assert result.stdout.splitlines()[-1] == "== 3 passed in 0.1s =="


@pytest.mark.parametrize("failing", [*CHECKS, "pytest"])
def test_one_failing_check_fails_all_and_the_others_are_run_all_the_same(checkout, checks, failing):
    result = sh(checkout, "deploy/check", FAILS=failing)
    assert result.returncode != 0
    assert len(checks.read_text().splitlines()) == 5
    assert failing == "pytest" or f"failed before the tests: {failing}" in result.stderr


def test_a_changed_list_of_packages_is_installed_anew_and_a_failure_says_what_is_needed(checkout):
    with (checkout / "pyproject.toml").open("a", encoding="utf-8") as file:
        file.write("# changed\n")
    write(
        checkout / ".venv/bin/python",
        f'if [ "$3" = install ]; then echo "no route" >&2; exit 1; fi; exec "{sys.executable}" "$@"',
    )
    result = sh(checkout, "deploy/try", "--once")
    assert result.returncode == 1
    assert "no route" in result.stderr
    assert "The first run needs the network" in result.stderr


def pip_that_takes(checkout, *wanted):
    """Have pip note what it is asked for, and take only some of it."""
    asked = checkout / "asked"
    cases = "|".join(f"'{each}'" for each in wanted)
    write(
        checkout / ".venv/bin/python",
        f'if [ "$3" = install ]; then for what; do :; done; echo "$what" >>"{asked}"; '
        f'case "$what" in {cases}) exit 0;; *) echo "no wheel" >&2; exit 1;; esac; fi; exec "{sys.executable}" "$@"',
    )
    (checkout / ".venv/installed").unlink()
    return asked


def test_try_installs_what_draws_charts_too_and_once(checkout):
    asked = pip_that_takes(checkout, ".[charts]", ".")
    for _ in range(2):
        assert sh(checkout, "deploy/try", "--help").returncode == 0
    assert asked.read_text().splitlines() == [".[charts]"]


def test_where_nothing_draws_charts_try_says_so_and_goes_on_without_and_does_not_ask_again(checkout):
    asked = pip_that_takes(checkout, ".")
    result = sh(checkout, "deploy/try", "--help")
    assert result.returncode == 0
    assert "no wheel" in result.stderr
    assert "Without it messages have no pictures." in result.stderr
    assert sh(checkout, "deploy/try", "--help").stderr == ""
    assert asked.read_text().splitlines() == [".[charts]", "."]


def test_without_a_python_new_enough_it_says_what_to_install(checkout, tmp_path):
    shutil.rmtree(checkout / ".venv")
    tools = tmp_path / "tools"
    tools.mkdir()
    for name in ("sh", "dirname", "cksum", "cat", "rm"):
        (tools / name).symlink_to(shutil.which(name))
    write(tools / "python3", "exit 1")
    result = sh(checkout, "deploy/try", PATH=str(tools))
    assert result.returncode == 1
    assert "dryspell needs Python 3.11 or newer" in result.stderr
    assert "apt install python3" in result.stderr


def test_without_the_module_that_makes_environments_it_says_what_to_install(checkout, tmp_path):
    shutil.rmtree(checkout / ".venv")
    python = tmp_path / "python3"
    write(python, f'if [ "$2" = venv ]; then exit 1; fi; exec "{sys.executable}" "$@"')
    result = sh(checkout, "deploy/try", PYTHON=str(python))
    assert result.returncode == 1
    assert "apt install python3-venv" in result.stderr
    assert not (checkout / ".venv").exists()
