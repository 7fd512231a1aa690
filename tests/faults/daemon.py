"""The real daemon in a process of its own, on weather out of a file, with a clock that may run fast."""

import os
import re
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta

CONFIG = """
state = "{folder}/state"
page.listen = "none"
site.harbour = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }}
[piece.rail]
name = "Rail"
coating = "oil_varnish_1k"
shelter = "shed"
hours = "05:00-22:00"
after_sunrise = "0 h"
[piece.bench]
name = "Bench"
coating = "urethane_alkyd_1k"
shelter = "shed"
hours = "06:30-21:00"
after_sunrise = "0 h"
[weather]
{weather}
refresh = "10 min"
members = 1
stale_after = "72 h"
[alert.phone]
url = "{url}"
pictures = false
{more}
[daemon]
tick = "1 s"
"""
NAMES = {
    "air_temperature [degC]": 18.0,
    "relative_humidity [%]": 55.0,
    "wind_speed [m/s]": 2.0,
    "precipitation_amount [mm]": 0.0,
    "cloud_area_fraction [%]": 40.0,
}
_IMAGINED = re.compile(r"an imagined clock: --now (\S+) --speed \S+ --anchor (\S+)")


def write_weather(folder, issued_at, *, damp_from=None, days=5):
    """Write mild, dry weather from the day before; from `damp_from` on too damp for any coat."""
    first = issued_at.replace(hour=0, minute=0) - timedelta(days=1)
    lines = [f"# issued {issued_at:%Y-%m-%dT%H:%MZ}", ",".join(["time", *NAMES])]
    for hour in range(24 * days):
        at = first + timedelta(hours=hour)
        values = dict(NAMES)
        if damp_from is not None and at >= damp_from:
            values["relative_humidity [%]"] = 95.0
        lines.append(",".join([f"{at:%Y-%m-%dT%H:%MZ}", *map(str, values.values())]))
    new = folder / "weather.csv.new"
    new.write_text("\n".join(lines))
    new.replace(folder / "weather.csv")


def write_config(folder, url, weather='sources = ["table"]\nfile = "weather.csv"', more=""):
    file = folder / "yard.toml"
    file.write_text(CONFIG.format(folder=folder, url=url, weather=weather, more=more))
    return file


class Daemon:
    """A running `dryspell run`; its log is read as it comes."""

    def __init__(self, config, *, now, speed=1.0, by=("-m", "dryspell"), env=()):
        self.speed = speed
        self.log = []
        self._start = now
        self._anchor = None
        self._line = threading.Condition()
        self.process = subprocess.Popen(
            [
                sys.executable,
                *by,
                "run",
                "--config",
                str(config),
                "--now",
                now.isoformat(),
                "--speed",
                str(speed),
            ],
            stderr=subprocess.PIPE,
            text=True,
            env={name: value for name, value in os.environ.items() if name != "DRYSPELL_STATE"} | dict(env),
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self):
        for line in self.process.stderr:
            with self._line:
                self.log.append(line.rstrip("\n"))
                if match := _IMAGINED.search(line):
                    self._start, self._anchor = datetime.fromisoformat(match[1]), float(match[2])
                self._line.notify_all()
        with self._line:
            self._line.notify_all()

    def wait_for(self, text, timeout_s=60):
        """Wait for a text in the log."""
        with self._line:
            assert self._line.wait_for(lambda: self.said(text), timeout_s), "\n".join(self.log)

    def said(self, text):
        return any(text in line for line in self.log)

    def wait_until_up(self):
        with self._line:
            assert self._line.wait_for(lambda: self._anchor is not None, 60), "\n".join(self.log)

    @property
    def now(self):
        """What time it is in the daemon; as long as it is not up, its time stands still."""
        with self._line:
            if self._anchor is None:
                return self._start
            return self._start + timedelta(seconds=(time.time() - self._anchor) * self.speed)

    def kill(self):
        """Kill it outright, and return what time it was in it."""
        now = self.now
        self.process.kill()
        self.process.wait()
        self._reader.join()
        self.process.stderr.close()
        # The line with its clock may have been on its way.
        return max(now, self._start).astimezone(UTC)

    def leave(self, signal_number):
        """Ask it to leave; return its exit code and how long that took [s]."""
        asked = time.monotonic()
        self.process.send_signal(signal_number)
        code = self.process.wait(60)
        took = time.monotonic() - asked
        self._reader.join()
        self.process.stderr.close()
        return code, took
