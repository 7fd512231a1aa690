"""What deploy/api.md tells other programs to send is answered as it says."""

import re
import shlex
from itertools import pairwise
from pathlib import Path

from served import PEOPLE, served

TEXT = (Path(__file__).resolve().parents[2] / "deploy" / "api.md").read_text("utf-8")
CALLS = [
    shlex.split(command)[1:]
    for block in re.findall(r"```sh\n(.*?)```", TEXT, re.DOTALL)
    for command in block.replace("\\\n", " ").splitlines()
]
DOOR = 'piece.door = { name = "Door", site = "orchard", shelter = "shed", coating = "urethane_alkyd_1k", done = 2 }\n'


def sent(client, call):
    """Send what a command of curl would."""
    given = dict(pairwise(call))
    headers = dict(value.split(": ") for option, value in pairwise(call) if option == "-H")
    (url,) = (part for part in call if part.startswith("http://127.0.0.1:8417/"))
    path = url.removeprefix("http://127.0.0.1:8417/")
    return client.request(given.get("-X", "GET"), path, headers=headers, content=given.get("-d"))


def test_every_command_works_in_its_turn(tmp_path):
    assert len(CALLS) == 6
    with served(tmp_path, DOOR + PEOPLE) as daemon:
        answers = [sent(daemon.client, call) for call in CALLS]
        assert [answer.status_code for answer in answers] == [200, 200, 200, 201, 200, 200], answers[-1].text
        assert [answer.json().get("did") for answer in answers[3:]] == ["record", "correct", "undo"]
        found = daemon.get("metrics").text
        assert all(f"dryspell_{name}" in found for name in re.findall(r"`((?:piece|plan)_\w+)`", TEXT))
        for path in re.findall(r"^\| `(/[^`]+)`", TEXT, re.MULTILINE):
            address = path.replace("KEY", "harbour").replace("...", "windows").split("`")[0]
            assert daemon.get(address.lstrip("/")).status_code == 200, address
