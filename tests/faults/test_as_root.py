"""Commands that root runs beside a daemon of somebody else leave nothing that is root's in the state."""

import os

import pytest

from faults.test_faults import START, Yard

SOMEBODY = 12_345
COMMANDS = (
    ("check",),
    ("windows",),
    ("plan",),
    ("coat", "bench"),
    ("backup", "{folder}/state/kept.sqlite3"),
    ("backup",),
    ("restore", "{folder}/state/kept.sqlite3"),
    ("status",),
)


def owners(folder):
    return {str(path.relative_to(folder)): path.stat().st_uid for path in [folder, *folder.rglob("*")]}


@pytest.fixture
def yard(tmp_path):
    if os.geteuid():  # nobody else can give files away; root is who runs this where it matters
        pytest.skip("for root alone")
    yard = Yard(tmp_path, "json://127.0.0.1:1/")
    yard.state.mkdir(mode=0o700)
    os.chown(yard.state, SOMEBODY, SOMEBODY)
    return yard


def test_what_root_makes_in_the_state_belongs_to_whoever_the_state_belongs_to(yard):
    for command, *arguments in COMMANDS:
        now = [] if command in ("backup", "restore") else ["--now", START.isoformat()]
        yard.command(command, *(each.format(folder=yard.folder) for each in arguments), *now, code=None)
        assert set(owners(yard.state).values()) == {SOMEBODY}, (command, owners(yard.state))
