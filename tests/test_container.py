"""The container: what is pinned, who it runs as, and what it may."""

import re
import tomllib
from pathlib import Path

import pytest
import yaml
from packaging.markers import Marker
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "deploy" / "container"
PIN = re.compile(r"^(?P<name>[a-z0-9.-]+)==(?P<version>\S+?)(?: ; (?P<marker>[^\\]+?))?\s*\\$")
HASH = re.compile(r"^    --hash=sha256:[0-9a-f]{64}( \\)?$")
ARM = {"platform_machine": "armv7l", "sys_platform": "linux", "python_version": "3.13", "python_full_version": "3.13.0"}
HOMES = [{**ARM, "platform_machine": machine} for machine in ("x86_64", "aarch64")]


def pins(name):
    """By package, every version that the lock has of it and for which machines."""
    found = {}
    for line in (FOLDER / name).read_text("utf-8").splitlines():
        if pin := PIN.match(line):
            found.setdefault(pin["name"], []).append((pin["version"], pin["marker"]))
        else:
            assert HASH.match(line), line
    return found


def wanted():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    return [Requirement(text) for text in (*project["dependencies"], *project["optional-dependencies"]["charts"])]


@pytest.mark.parametrize("machine", HOMES, ids=lambda home: home["platform_machine"])
def test_the_lock_has_what_the_project_wants_once_and_in_a_version_it_takes(machine):
    locked = pins("requirements.lock")
    for requirement in wanted():
        here = [
            version for version, marker in locked[requirement.name] if not marker or Marker(marker).evaluate(machine)
        ]
        assert len(here) == 1, requirement
        assert requirement.specifier.contains(here[0]), requirement


def test_every_file_of_a_lock_is_known_by_its_hash():
    for name in ("requirements.lock", "build.lock"):
        blocks = (FOLDER / name).read_text("utf-8").split("\n")
        pinned = [i for i, line in enumerate(blocks) if PIN.match(line)]
        assert pinned
        assert all(HASH.match(blocks[i + 1]) for i in pinned)


def test_the_lock_is_what_the_container_installs_and_nothing_else():
    text = (FOLDER / "Containerfile").read_text("utf-8")
    installs = [line for line in re.sub(r"\\\n\s*", " ", text).split("&&") if "pip install" in line]
    assert installs
    assert all("--require-hashes" in line or "--no-index" in line for line in installs)


def test_the_container_runs_as_nobody_in_particular_by_number():
    text = (FOLDER / "Containerfile").read_text("utf-8")
    assert re.search(r"^USER (\d+):(\d+)$", text, re.MULTILINE)
    assert text.rindex("USER ") > text.rindex("RUN ")
    assert "HEALTHCHECK" in text
    assert "DRYSPELL_STATE=/data" in text


def test_the_compose_file_takes_every_right_away_that_is_not_needed():
    services = yaml.safe_load((FOLDER / "compose.yaml").read_text("utf-8"))["services"]
    for service in services.values():
        assert service["read_only"] is True
        assert service["cap_drop"] == ["ALL"]
        assert service["security_opt"] == ["no-new-privileges:true"]
    assert all(port.startswith("127.0.0.1:") for port in services["dryspell"]["ports"])
    assert (ROOT / "deploy" / "container" / services["dryspell"]["build"]["context"]).resolve() == ROOT


def test_both_images_that_are_built_on_or_run_can_be_pinned_by_digest_and_are_tags_else():
    text = (FOLDER / "Containerfile").read_text("utf-8")
    (base,) = re.findall(r"^ARG BASE=(\S+)$", text, re.MULTILINE)
    assert re.findall(r"^FROM (\S+)", text, re.MULTILINE) == ["${BASE}", "${BASE}"]
    assert text.index("ARG BASE") < text.index("FROM")  # or no stage would know it
    services = yaml.safe_load((FOLDER / "compose.yaml").read_text("utf-8"))["services"]
    assert services["dryspell"]["build"]["args"] == {"BASE": f"${{DRYSPELL_BASE:-{base}}}"}
    (broker,) = re.findall(r"^\$\{DRYSPELL_BROKER:-(\S+)\}$", services["broker"]["image"])
    told = (ROOT / "deploy" / "README.md").read_text("utf-8")
    assert f"`DRYSPELL_BASE={base}@sha256:...`" in told
    assert f"`DRYSPELL_BROKER={broker}@sha256:...`" in told
