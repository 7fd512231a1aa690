"""Where CI=true nothing may be skipped: a test that would be counts as failed. And no test reaches beyond loopback."""

import json
import os
from pathlib import Path

import pytest
from hypothesis import settings

from guard import no_network

# No test is timed: a busy machine is no fault.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

NOTHING_SKIPS = os.environ.get("CI", "").lower() == "true"
# Recorded data is not part of a checkout; everything else a test needs has to be there.
MAY_SKIP = "measured"


def pytest_configure():
    """Watch this process, and every Python that a test starts."""
    no_network.watch()
    guard = str(Path(no_network.__file__).parent)
    os.environ["PYTHONPATH"] = os.pathsep.join([guard, *filter(None, [os.environ.get("PYTHONPATH")])])


@pytest.fixture(autouse=True)
def nobody_is_asked_over_the_network():
    """Fail a test that reached out, even where the code under test caught the error, or a thread died of it."""
    before = len(no_network.refused)
    yield
    assert no_network.refused[before:] == []


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item):
    report = yield
    if NOTHING_SKIPS and report.skipped and not hasattr(report, "wasxfail") and MAY_SKIP not in item.keywords:
        report.outcome = "failed"
        report.longrepr = f"skipped, where CI=true lets nothing be: {report.longrepr}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector):
    report = yield
    if NOTHING_SKIPS and report.outcome == "skipped":
        report.outcome = "failed"
        report.longrepr = f"{collector.nodeid} is skipped, where CI=true lets nothing be: {report.longrepr}"
    return report


def pytest_collection_modifyitems(config, items):
    """Where figures are wanted, run the tests that note one and no others."""
    if "DRYSPELL_FIGURES" in os.environ:
        config.hook.pytest_deselected(items=[item for item in items if "figure" not in item.fixturenames])
        items[:] = [item for item in items if "figure" in item.fixturenames]


@pytest.fixture(scope="session")
def figure():
    """Note what a check against measurements or a reference came to, for the page that tells of them.

    `figure(name, value, *, bar=None, unit, source)`; at the end of the run all of them are written as JSON to the file
    that DRYSPELL_FIGURES names, each with the test that noted it. Without that variable nothing is written.
    """
    noted = []

    def note(name, value, *, bar=None, unit, source):
        test = os.environ["PYTEST_CURRENT_TEST"].partition(" (")[0].partition("[")[0]
        noted.append({"name": name, "value": float(value), "bar": bar, "unit": unit, "source": source, "test": test})

    yield note
    if path := os.environ.get("DRYSPELL_FIGURES"):
        Path(path).write_text(json.dumps(noted, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
