"""Where CI=true nothing may be skipped: a test that would be counts as failed."""

import os

import pytest

NOTHING_SKIPS = os.environ.get("CI", "").lower() == "true"
# Recorded data is not part of a checkout; everything else a test needs has to be there.
MAY_SKIP = "measured"


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
