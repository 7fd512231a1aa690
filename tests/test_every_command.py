"""Every command that a text of the project shows is run by a test, or stands here with the reason why it is not."""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pyarrow.parquet as pq
import pytest

import test_readme
from cli.mild import mild

ROOT = Path(__file__).resolve().parents[1]
TEXTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "deploy").rglob("*.md"))]
BLOCK = re.compile(r"^```(?:sh|bash|shell|console)\n(.*?)^```", re.MULTILINE | re.DOTALL)


def commands(text):
    """Return the commands of the blocks for a shell, each in a line, without prompts and remarks."""
    for block in BLOCK.findall(text):
        for line in re.sub(r"\\\n\s*", "", block).splitlines():
            if words := shlex.split(line.removeprefix("$ "), comments=True):
                yield shlex.join(words)


def shown(name):
    return list(commands((ROOT / name).read_text("utf-8")))


FLEET = [command for command in shown("deploy/fleet.md") if command.startswith("dryspell fleet ")]
BENCH = [command for command in shown("deploy/fleet.md") if "bench_fleet.py" in command]

RUN_BY = {
    "tests/test_readme.py": [*test_readme.OURS, *test_readme.SEASON, *test_readme.KEEPING],
    "tests/test_deploy.py": ["sh deploy/try --once", "sh deploy/check"],
    "tests/test_deploy_docs.py": ["DRYSPELL_STATE=/var/lib/dryspell /opt/dryspell/bin/dryspell windows"],
    "tests/web/test_api_doc.py": [command for command in shown("deploy/api.md") if command.startswith("curl ")],
    "here": [*FLEET, *BENCH],
}
NOT_RUN = {
    r"export [A-Z_]+=\S+": "sets what the commands below it read; tests/test_readme.py gives them another address",
    r"python3 -m venv /opt/dryspell": "writes outside the checkout; tests/test_deploy_docs.py looks at it",
    r"install -.* /etc/.*": "as the one before",
    r"systemctl .*": "needs a running systemd; tests/test_systemd.py verifies the unit",
    r"\S*pip install .*": "asks the package index; tests/test_deploy_docs.py looks whether the extra is there",
    r"pip-audit .*": "asks a database of holes; tests/test_deploy_docs.py looks at the lock",
    r"DRYSPELL_FIGURES=\S+ python -m pytest .*": "is a part of this suite, and reads recorded data",
    r"OMP_NUM_THREADS=1 python tests/bench/roofline.py": "takes minutes of a quiet machine",
}


@pytest.mark.parametrize("text", TEXTS, ids=lambda text: str(text.relative_to(ROOT)))
def test_every_command_is_run_by_a_test_or_has_a_reason_not_to_be(text):
    run = {shlex.join(shlex.split(command, comments=True)) for part in RUN_BY.values() for command in part}
    left = [command for command in commands(text.read_text("utf-8")) if command not in run]
    assert [command for command in left if not any(re.fullmatch(each, command) for each in NOT_RUN)] == []


def test_every_reason_is_that_of_some_command():
    found = [command for text in TEXTS for command in commands(text.read_text("utf-8"))]
    assert [each for each in NOT_RUN if not any(re.fullmatch(each, command) for command in found)] == []


def test_commands_of_one_kind_of_block_are_found_like_those_of_another():
    text = "```console\n$ one  # a remark\n```\n```sh\ntwo \\\n  'a b'\n\n```\n```\nno command\n```\n"
    assert list(commands(text)) == ["one", "two 'a b'"]


def test_files_and_extras_that_such_commands_name_are_there():
    extras = (ROOT / "pyproject.toml").read_text("utf-8")
    for text in TEXTS:
        for command in commands(text.read_text("utf-8")):
            assert [name for name in re.findall(r"\btests/[\w/.]+", command) if not (ROOT / name).exists()] == []
            assert [extra for extra in re.findall(r"\.\[(\w+)\]", command) if f"\n{extra} = [" not in extras] == []


@pytest.mark.parametrize("command", FLEET)
def test_the_fleet_shown_is_judged_by_the_command_shown(command, tmp_path):
    (table,) = re.findall(r"```\n(site,piece,.*?)```", (ROOT / "deploy" / "fleet.md").read_text("utf-8"), re.DOTALL)
    (tmp_path / "berths.csv").write_text(table, "utf-8")
    (tmp_path / "dryspell.toml").write_text('contact = "you@example.org"\n', "utf-8")
    (tmp_path / "w.csv").write_text(mild(range(1, 9), cloud_pct=40, issued="2026-06-02T06:00Z"), "utf-8")
    env = {"DRYSPELL_CONFIG": str(tmp_path / "dryspell.toml"), "DRYSPELL_STATE": str(tmp_path / "state")}
    ran = subprocess.run(
        [sys.executable, "-m", *shlex.split(command), "--weather", "w.csv", "--now", "2026-06-02T10:00Z"],
        cwd=tmp_path, env=os.environ | env, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.startswith("2 rows in ")
    verdicts = pq.read_table(tmp_path / "results").column("verdict").to_pylist()
    assert len(verdicts) == 2
    assert "unknown" not in verdicts, ran.stderr


@pytest.mark.parametrize("command", BENCH)
def test_the_figures_of_the_fleet_are_taken_by_the_command_shown_with_fewer_sites(command):
    few = [*shlex.split(command)[1:], "--sites", "8", "--cells", "2", "--workers", "1"]
    ran = subprocess.run(
        [sys.executable, *few], cwd=ROOT, capture_output=True, text=True, check=False, timeout=120
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    assert "      8      2 " in ran.stdout
