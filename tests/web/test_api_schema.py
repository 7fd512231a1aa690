"""Every check of schemathesis against the API as it is served, by the document that it tells of itself.

In all its phases: the examples, every bound and just past it, fuzzing, and sequences of calls that hang together.
"""

import subprocess
import sys

from served import PEOPLE, served

EXAMPLES = 3
POT = 'piece.spar = { name = "Spar", site = "harbour", shelter = "shed", coating = "pu_clear_2k" }\n'


def test_the_api_is_what_its_document_says_whatever_is_sent_to_it(tmp_path, monkeypatch):
    monkeypatch.setattr("dryspell.service.ASKED_TICK_S", 0.0)  # a change is answered before the tick after it ends
    with served(tmp_path, POT + PEOPLE) as daemon:
        run = subprocess.run(
            [
                sys.executable, "-m", "schemathesis.cli", "run", f"{daemon.url}api/openapi.json", "--checks", "all",
                "--max-examples", str(EXAMPLES), "--seed", "1", "--workers", "1", "--no-color",
                "--generation-database", "none",
            ],
            cwd=tmp_path, capture_output=True, text=True, timeout=600, check=False,
        )  # fmt: skip
        assert run.returncode == 0, run.stdout[-5000:] + run.stderr[-1000:]
        assert "20 selected / 20 total" in run.stdout
        assert daemon.get("health").status_code == 200
