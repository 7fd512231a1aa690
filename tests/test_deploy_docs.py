"""The texts of deploy/ are true: each command is run, or what it names is there; links lead to what they name."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
DEPLOY = ROOT / "deploy"
TEXTS = sorted([*DEPLOY.glob("*.md"), DEPLOY / "science" / "README.md", ROOT / "README.md", ROOT / "DEVELOPERS.md"])
INSTALLED = "/opt/dryspell/bin/dryspell"


def commands(text):
    """Return the commands of the blocks for a shell, each in a line, without the remarks."""
    for block in re.findall(r"```sh\n(.*?)```", text, re.DOTALL):
        for line in block.replace("\\\n", " ").splitlines():
            if words := shlex.split(line, comments=True):
                yield words


RUNNING = list(commands((DEPLOY / "README.md").read_text("utf-8")))
NAMED = re.findall(r"`([^`]+)`", re.sub(r"```.*?```", "", (DEPLOY / "README.md").read_text("utf-8"), flags=re.DOTALL))
UNIT = (DEPLOY / "systemd" / "dryspell.service").read_text("utf-8")


def test_every_command_is_one_that_a_test_here_looks_at():
    assert [words[0] for words in RUNNING if words[0] not in LOOKED_AT] == []


def test_what_is_installed_is_in_the_checkout_and_goes_where_the_unit_looks_for_it():
    copies = [words for words in RUNNING if words[0] == "install" and "-d" not in words]
    targets = {}
    for *_, source, target in copies:
        assert (ROOT / source).is_file(), source
        targets[source] = target if not target.endswith("/") else target + Path(source).name
    configuration, unit = targets["config/example.toml"], targets["deploy/systemd/dryspell.service"]
    assert unit == "/etc/systemd/system/dryspell.service"
    assert f"DRYSPELL_CONFIG=%E/{Path(configuration).relative_to('/etc')}" in UNIT  # %E is /etc (systemd.unit(5))
    (folder,) = (words[-1] for words in RUNNING if words[0] == "install" and "-d" in words)
    assert Path(configuration).parent == Path(folder)
    assert "ConfigurationDirectory=dryspell" in UNIT


def test_the_environment_that_is_made_is_the_one_that_the_unit_starts():
    (place,) = (words[-1] for words in RUNNING if words[:3] == ["python3", "-m", "venv"])
    assert f"ExecStart={place}/bin/dryspell run" in UNIT
    (pip,) = (words for words in RUNNING if words[0].endswith("/pip"))
    assert pip == [f"{place}/bin/pip", "install", ".[charts]"]
    assert "charts = [" in (ROOT / "pyproject.toml").read_text("utf-8")


def test_the_service_that_is_enabled_is_that_of_the_unit():
    assert [words for words in RUNNING if words[0] == "systemctl"] == [
        ["systemctl", "daemon-reload"],
        ["systemctl", "enable", "--now", "dryspell"],
    ]


def test_the_commands_beside_the_service_work_in_the_folder_of_a_state(tmp_path):
    (beside,) = (words for words in RUNNING if INSTALLED in words)
    variable, program, *arguments = beside
    name, _, folder = variable.partition("=")
    assert (name, program) == ("DRYSPELL_STATE", INSTALLED)
    assert Path(folder).name in re.findall(r"^StateDirectory=(\S+)", UNIT, re.MULTILINE)
    ran = subprocess.run(
        [sys.executable, "-m", "dryspell", *arguments, "--config", ROOT / "config" / "demo.toml"],
        env={name: str(tmp_path / "state"), "HOME": str(tmp_path), "PATH": "/usr/bin:/bin"},
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    assert (tmp_path / "state" / "dryspell.sqlite3").is_file()


def test_the_lock_that_is_looked_through_for_holes_is_there_and_has_hashes():
    (audit,) = (words for words in RUNNING if words[0] == "pip-audit")
    assert {"--require-hashes", "--disable-pip"} <= set(audit)
    assert "--hash=sha256:" in (ROOT / audit[-1]).read_text("utf-8")


def test_files_that_are_named_are_there():
    assert "lock.sh" in NAMED
    assert all((DEPLOY / "container" / name).is_file() for name in ("lock.sh", "requirements.lock", "compose.yaml"))
    assert "LoadCredential=" in UNIT
    assert re.search(r"^#\s*LoadCredential=phone:/etc/dryspell/phone", UNIT, re.MULTILINE)


def test_the_state_is_the_file_that_is_named():
    from dryspell.store.store import FILE_NAME

    assert FILE_NAME in NAMED


LOOKED_AT = {
    "python3", "install", "systemctl", "/opt/dryspell/bin/pip", "DRYSPELL_STATE=/var/lib/dryspell", "pip-audit",
}  # fmt: skip


def headings(file):
    """Return the headings of a text as the marks that links to them end with."""
    lines = re.findall(r"^#+ (.*)$", re.sub(r"```.*?```", "", file.read_text("utf-8"), flags=re.DOTALL), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", line.lower()).replace(" ", "-") for line in lines}


@pytest.mark.parametrize("text", TEXTS, ids=lambda text: str(text.relative_to(ROOT)))
def test_every_link_leads_to_a_file_and_to_a_heading_there(text):
    for link in re.findall(r"\]\(([^)\s]+)\)", text.read_text("utf-8")):
        if "://" in link:
            continue
        path, _, heading = link.partition("#")
        file = text.parent / path if path else text
        assert file.exists(), link
        assert not heading or heading in headings(file), link


@pytest.mark.parametrize("text", TEXTS, ids=lambda text: str(text.relative_to(ROOT)))
def test_every_command_of_ours_that_is_named_is_there(text):
    from dryspell.cli import COMMANDS

    named = re.findall(r"\bdryspell ([a-z]+)\b[^`\n]*`", re.sub(r"[^`]*`([^`]*)`", r"`\1`\n", text.read_text("utf-8")))
    assert [name for name in named if name not in COMMANDS] == []


def test_the_options_of_a_coat_that_are_named_are_there():
    from dryspell.cli.coat import command

    known = {option for parameter in command.params for option in parameter.opts}
    named = set(re.findall(r"`dryspell coat [A-Z]+ (--[a-z-]+)`", (DEPLOY / "cannot-know.md").read_text("utf-8")))
    assert named
    assert named <= known
