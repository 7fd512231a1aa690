"""The kept figures of the table: a line of JSON a run, with what it ran on, and when a row has fallen below its own.

A ratio stands at `now / kept` where more is better, at `kept / now` where less is. A round is past the line where that
is under `LEAST`. A row has fallen where all rounds but one at most are past the line: were its true median still on
the line, six or seven of seven would lie past it in one of 16 runs. The guard measures a row that has fallen again, and
fails only if it falls twice: in one of 256.
"""

import json
import os
import platform
import subprocess
from datetime import UTC, datetime
from hashlib import sha256
from importlib import metadata
from pathlib import Path

FILE = Path(__file__).with_name("kept.jsonl")
LEAST = 0.7
LIBRARIES = ("numpy", "pydantic", "fastapi", "uvicorn", "ortools", "metpy", "psychrolib", "pvlib", "numba")


def standing(better, kept, now):
    """Return how a ratio stands against the kept one: 1 where it is the same, less where it is worse."""
    return now / kept if better == "more" else kept / now


def has_fallen(better, kept, ratios):
    """Return whether the rounds of a run say that a row has fallen below the line."""
    past = sum(standing(better, kept, ratio) < LEAST for ratio in ratios)
    return past >= len(ratios) - 1


def machine():
    """Return what kind of machine this is: kind of processor, which one by a digest of its name, how many there are."""
    info = Path("/proc/cpuinfo")
    lines = info.read_text(encoding="utf-8").splitlines() if info.exists() else []
    names = [each.partition(":")[2].strip() for each in lines if each.startswith(("model name", "Model"))]
    name = names[0] if names else platform.processor()
    return f"{platform.machine()}, {sha256(name.encode()).hexdigest()[:6]}, {os.cpu_count()}"


def commit():
    """Return the commit that is checked out, with a plus where something was changed since; empty where unknown."""
    try:
        told = subprocess.run(
            ["git", "describe", "--always", "--abbrev=12", "--dirty=+", "--exclude=*"],
            cwd=FILE.parent, capture_output=True, text=True, check=True,
        )  # fmt: skip
    except (OSError, subprocess.CalledProcessError):
        return ""
    return told.stdout.strip()


def versions():
    """Return the version of Python and of the libraries that are installed of those that matter."""
    found = {"python": platform.python_version()}
    for name in LIBRARIES:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            continue
    return found


def add(file, wanted, samples):
    """Add a line with the figures of a run to a file."""
    figures = {
        row.name: {
            "ratio": float(f"{samples[row.name].ratio:.5g}"),
            "better": row.better,
            "rounds": [float(f"{each:.5g}") for each in samples[row.name].ratios],
            "ours": float(f"{samples[row.name].ours:.5g}"),
            "reference": float(f"{samples[row.name].reference:.5g}"),
            "unit": row.unit,
        }
        for row in wanted
        if row.name in samples
    }
    told = {"at": f"{datetime.now(UTC):%Y-%m-%dT%H:%MZ}", "commit": commit(), "machine": machine()}
    with file.open("a", encoding="utf-8") as out:
        out.write(json.dumps(told | {"versions": versions(), "rows": figures}) + "\n")


def read(file):
    """Return the lines of a file, oldest first; none where there is no file."""
    return [json.loads(each) for each in file.read_text(encoding="utf-8").splitlines()] if file.exists() else []


def figure(lines, name, here=None):
    """Return the newest figure of a row: of a machine of this kind where there is one, else of any; None without."""
    here = here or machine()
    having = [each for each in lines if name in each["rows"]]
    same = [each for each in having if each["machine"] == here]
    return (same or having)[-1]["rows"][name] if having else None


def comparison(lines, before, after):
    """Return a text on how the figures of one commit stand against those of another."""

    def of(start):
        found = {}
        for each in lines:
            if each["commit"].startswith(start):
                found |= each["rows"]
        if not found:
            raise SystemExit(f"no figures of commit {start} are kept")
        return found

    old, new = of(before), of(after)
    text = [f"{'row':26} {before[:12]:>12} {after[:12]:>12}  stands at"]
    for name in (name for name in new if name in old):
        was, now = old[name]["ratio"], new[name]["ratio"]
        text.append(f"{name:26} {was:12.4g} {now:12.4g}  {standing(new[name]['better'], was, now):.0%}")
    return "\n".join(text)
