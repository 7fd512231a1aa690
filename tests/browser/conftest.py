"""Debian's Chromium before the real daemon: a process of its own, with its SQLite file and a page on a free port.

What was seen is kept: in the folder that DRYSPELL_SCREENSHOTS names, else in that of the test run.
"""

import os
import re
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from faults.daemon import write_weather
from page_tour import NOWHERE, TOKEN
from patience import with_patience

CHROMIUM = shutil.which("chromium")
FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
NOON = datetime(2026, 6, 2, 10, tzinfo=UTC)
CONFIG = """
state = "{folder}/state"
[page]
listen = "127.0.0.1:0"
{page}
[site.harbour]
name = "Low harbour"
latitude = "54.3 deg"
longitude = "10.2 deg"
timezone = "Europe/Berlin"
[person.kim]
name = "Kim"
[piece.rail]
name = "Toe rail"
coating = "oil_varnish_1k"
coats = 6
done = 3
area = "4.05 m^2"
shelter = "shed"
[piece.door]
name = "Oak front door"
coating = "urethane_alkyd_1k"
area = "2.5 m^2"
shelter = "shed"
hours = "06:00-09:00"
[weather]
sources = ["table"]
file = "weather.csv"
refresh = "10 min"
stale_after = "72 h"
[daemon]
tick = "1 s"
"""
_SERVED = re.compile(r"the page is at (\S+)")


class Daemon:
    """A running `dryspell run`."""

    def __init__(self, folder, *, now=NOON, page=""):
        write_weather(folder, now or datetime.now(UTC), days=12)
        file = folder / "yard.toml"
        file.write_text(CONFIG.format(folder=folder, page=page))
        asked = [sys.executable, "-m", "dryspell", "run", "--config", str(file)]
        asked += ["--now", now.isoformat()] if now else []
        env = {**os.environ, "DRYSPELL_PAGE": TOKEN}
        self._log = (folder / "daemon.log").open("w+")
        self.process = subprocess.Popen(asked, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True, env=env)
        self.url = ""
        with with_patience(self.process):
            for line in self.process.stderr:
                self._log.write(line)
                if found := _SERVED.search(line):
                    self.url = found[1]
                    break
        assert self.url, "the daemon ended before it served a page"

    def stop(self):
        self.process.terminate()
        with with_patience(self.process, 20):
            for line in self.process.stderr:
                self._log.write(line)
            code = self.process.wait()
        self.process.stderr.close()
        self._log.close()
        return code


@pytest.fixture
def start(tmp_path):
    """Start daemons that are stopped when the test is over."""
    running = []

    def begin(**how):
        running.append(Daemon(tmp_path, **how))
        return running[-1]

    yield begin
    for daemon in running:
        if daemon.process.poll() is None:
            assert daemon.stop() == 0


@pytest.fixture(scope="module")
def chromium():
    from playwright.sync_api import sync_playwright

    if CHROMIUM is None:
        pytest.skip("chromium is not installed (Debian: apt install chromium)")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield browser
        browser.close()


def is_complaint(said):
    """Say whether something is wrong; a browser also tells of every answer that refuses a form, as some have to."""
    if said.location["url"].endswith(NOWHERE):
        return False
    return said.type == "error" and not re.search(r"status of (403|409|422)|ERR_CONNECTION_REFUSED", said.text)


@pytest.fixture
def window(chromium):
    """Open a window of a size; what its page complains of fails the test."""
    contexts, complaints = [], []

    def open_window(url, *, width=390, height=844, **how):
        context = chromium.new_context(viewport={"width": width, "height": height}, base_url=url, **how)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda said: complaints.append(said.text) if is_complaint(said) else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        return page

    yield open_window
    for context in contexts:
        context.close()
    assert complaints == []


@pytest.fixture(scope="session")
def picture(tmp_path_factory):
    """Keep what a page looks like."""
    named = os.environ.get("DRYSPELL_SCREENSHOTS")
    folder = Path(named) if named else tmp_path_factory.mktemp("screenshots")
    folder.mkdir(parents=True, exist_ok=True)

    def keep(page, name):
        page.screenshot(path=folder / f"{name}.png", full_page=True)
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= page.viewport_size["width"], f"{name} is {wide} wide"

    return keep
