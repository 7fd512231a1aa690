"""Something never ends under the real daemon: a tick, which starves the watchdog, and names, which hold up nothing."""

import signal
import socket
import threading
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta

from faults.test_faults import FAST, Ailing, Yard, holds, last_tick, put_a_coat_on, receiver, wait_until
from faults.test_read_only import AILING

__all__ = ["receiver"]  # a fixture


class Manager:
    """A service manager as sd_notify(3) has it: hears what the daemon says of itself."""

    def __init__(self, path):
        self.heard = []
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(path))
        self.env = {"NOTIFY_SOCKET": str(path), "WATCHDOG_USEC": "300000000"}
        self._ear = threading.Thread(target=self._listen, daemon=True)
        self._ear.start()

    def _listen(self):
        while said := self._socket.recv(4096):
            self.heard.append(said.decode())

    @property
    def fed(self):
        return sum("WATCHDOG=1" in said.split("\n") for said in self.heard)

    def close(self):
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
            out.sendto(b"", self.env["NOTIFY_SOCKET"])
        self._ear.join()
        self._socket.close()


@contextmanager
def manager(path):
    found = Manager(path)
    try:
        yield found
    finally:
        found.close()


def test_a_tick_that_never_ends_feeds_no_watchdog_and_status_tells(tmp_path, receiver):
    with manager(tmp_path / "m") as heard:
        yard = Yard(tmp_path, receiver.url)
        try:
            yard.start(by=(AILING, str(tmp_path)), env=heard.env)
            wait_until(lambda: heard.fed > 1)
            held = put_a_coat_on(yard)
            (tmp_path / "stuck").touch()
            wait_until(lambda: "has not ended a tick" in yard.status()["daemon"]["said"])
            fed, since = heard.fed, yard.daemon.now
            wait_until(lambda: yard.daemon.now - since > timedelta(seconds=5 * FAST))  # time for five ticks
            assert heard.fed == fed
            status = yard.status()
            assert (status["well"], status["daemon"]["running"], status["daemon"]["word"]) == (False, True, "bad")
            # The scheduler may say that it leaves ticks out, and not each time.
            assert sum("WARNING" in line or "skipped" in line for line in yard.daemon.log) <= 1, yard.daemon.log
            (tmp_path / "stuck").unlink()
            wait_until(lambda: heard.fed > fed)
            wait_until(lambda: yard.status()["daemon"]["word"] == "good")
            assert holds(yard, held)
        finally:
            (tmp_path / "stuck").unlink(missing_ok=True)
            yard.close()


def test_names_that_are_never_resolved_hold_up_neither_the_other_site_nor_the_watchdog(tmp_path):
    yard = Yard(tmp_path, "json://alerts.invalid/", now=datetime.now(UTC) - timedelta(hours=2))
    text = yard.config.read_text().replace("[weather]\n", '[weather]\nopen-meteo.base_url = "http://weather.invalid"\n')
    text = text.replace("[piece.bench]\n", '[piece.bench]\nsite = "afar"\n').replace(
        "[piece.rail]\n", '[piece.rail]\nsite = "harbour"\n'
    )
    place = 'latitude = "54.6 deg", longitude = "10.2 deg", timezone = "Europe/Berlin"'
    afar = f'site.afar = {{ {place}, sources = ["open-meteo"] }}\n'
    yard.config.write_text(f'contact = "you@example.org"\n{text.replace("[piece.rail]", afar + "[piece.rail]", 1)}')
    (tmp_path / "dns").touch()
    with manager(tmp_path / "m") as heard:
        yard.daemon = Ailing(yard, env=heard.env)
        try:
            wait_until((tmp_path / "asked").exists)
            wait_until(lambda: yard.status()["daemon"]["last_tick_at"] is not None)
            held, first, fed = put_a_coat_on(yard), last_tick(yard), heard.fed
            wait_until(lambda: last_tick(yard) - first > timedelta(seconds=5))
            assert heard.fed >= fed + 1
            status = yard.status()
            assert (status["daemon"]["running"], status["daemon"]["failed_ticks"]) == (True, 0)
            by_site = {source["site"]: source["word"] for source in status["sources"]}
            assert by_site == {"harbour": "good", "afar": "bad"}
            yard.daemon.wait_for("Rail: ")
            assert not any("Rail: " in line and "unknown" in line for line in yard.daemon.log)
            assert yard.counted("weather.invalid") <= 1, yard.daemon.log
            assert not yard.counted("a tick failed")
            assert holds(yard, held)
            assert yard.daemon.leave(signal.SIGTERM)[0] == 0
        finally:
            (tmp_path / "dns").unlink(missing_ok=True)
            yard.close()
