"""A season lived through by the real daemon on a clock that runs fast, and what its process holds day by day.

All that it talks with is here, on loopback: a weather service, sensors, a target, readers of its page, a finisher.
"""

import http.server
import json
import math
import re
import signal
import socket
import threading
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import httpx
import numpy as np

from alerts.receiver import Receiver
from dryspell.store.store import FILE_NAME
from dryspell.tick.heartbeat import read_heartbeat
from faults.daemon import Daemon

ROOT = Path(__file__).resolve().parents[2]

START = datetime(2026, 5, 1, tzinfo=UTC)
HOUR = timedelta(hours=1)
TOKEN = "a token of the soak"
CONFIG = """
contact = "soak@example.org"
state = "{folder}/state"
page.listen = "127.0.0.1:0"
push = {{ listen = "127.0.0.1:{push}", token_file = "{folder}/token" }}
weather = {{ open-meteo.base_url = "http://127.0.0.1:{weather}", refresh = "60 min" }}
daemon.tick = "{tick}"
alert.phone = {{ url = "{phone}", pictures = false }}
site.harbour = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }}
person.ada = {{ }}
[piece.rail]
coating = "oil_varnish_1k"
coats = 40
area = "3 m^2"
shelter = "roof"
[piece.door]
coating = "urethane_alkyd_1k"
coats = 40
area = "2 m^2"
face = "vertical"
facing = "SW"
[sensor.mast]
push = true
time = {{ path = "at" }}
read.air_temperature = {{ path = "t", unit = "degC" }}
read.relative_humidity = {{ path = "h", unit = "%" }}
read.wind_speed = {{ path = "w", unit = "m/s" }}
[sensor.probe]
piece = "rail"
file = {{ path = "probe.csv" }}
time = {{ path = "time" }}
read.surface_temperature = {{ path = "surface", unit = "degC" }}
"""
PAGES = (
    "/", "/plan", "/outlook", "/outlook/rail", "/record/rail", "/material", "/review", "/doing", "/more",
    "/api/v1/plan", "/api/v1/record/door", "/api/v1/material", "/api/v1/review", "/api/v1/weather/site/harbour",
    "/api/v1/weather/piece/rail", "/api/v1/status", "/calendar/site/harbour.ics", "/metrics", "/health",
    "/record/nobody", "/charts/dew.svg?piece=nobody",
)  # fmt: skip
CHART_EVERY = 10
"""So many days; it is drawn in a process of its own, which takes the machine for seconds."""
LOOK_EVERY_S = 0.1
READ_EVERY = timedelta(minutes=10)


def weather_at(hours):
    """Return the weather of hours since the start: a daily course, and rain on every fourth day."""
    hours = np.asarray(hours, float)
    day = np.sin((hours - 9) / 24 * 2 * np.pi)
    slow = np.sin(hours / 24 / 3.7 * 2 * np.pi)
    rain = np.where((hours // 24 % 4 == 3) & (hours % 24 > 9) & (hours % 24 < 15), 0.6, 0.0)
    return {
        "temperature_2m": ("°C", 16 + 5 * day + 3 * slow),
        "relative_humidity_2m": ("%", np.clip(68 - 18 * day - 6 * slow + 15 * (rain > 0), 5, 100)),
        "wind_speed_10m": ("m/s", 2.5 + day + 0.5 * slow),
        "precipitation": ("mm", rain),
        "cloud_cover": ("%", np.clip(50 + 30 * slow + 40 * (rain > 0), 0, 100)),
        "shortwave_radiation": ("W/m²", 600 * np.clip(np.sin((hours - 5) / 24 * 2 * np.pi), 0, None)),
    }


def issued(now, seed=4):
    """Return the answer of a weather service: two days back and sixteen ahead, off by what grows with lead."""
    hour = int((now - START) / HOUR)
    midnight = START + timedelta(days=hour // 24 - 2)
    first = int((midnight - START) / HOUR)
    hours = np.arange(first, first + 18 * 24)
    lead = np.sqrt(np.clip(hours - hour, 0, None) / 24)
    chance = np.random.default_rng((seed, max(hour, 0)))
    columns = {name: (unit, values.copy()) for name, (unit, values) in weather_at(hours).items()}
    for name, much, low, high in (("temperature_2m", 0.6, -40, 45), ("relative_humidity_2m", 4, 5, 100)):
        unit, values = columns[name]
        columns[name] = unit, np.clip(values + 0.5 + much * lead * chance.normal(size=hours.size), low, high)
    return {
        "latitude": 54.3,
        "longitude": 10.2,
        "utc_offset_seconds": 0,
        "hourly_units": {"time": "unixtime"} | {name: unit for name, (unit, _) in columns.items()},
        "hourly": {"time": [int(START.timestamp()) + 3600 * int(each) for each in hours]}
        | {name: np.round(values, 1).tolist() for name, (_, values) in columns.items()},
    }


def as_installed():
    """Return the environment that the unit for systemd gives the daemon, but for where its files are."""
    unit = (ROOT / "deploy" / "systemd" / "dryspell.service").read_text("utf-8")
    lines = re.findall(r"^Environment=(.+)$", unit, re.MULTILINE)
    return {k: v for line in lines for k, v in (word.split("=", 1) for word in line.split()) if k[:9] != "DRYSPELL_"}


@dataclass(frozen=True)
class Held:
    """What a process held towards the end of a day, the least of many looks; `peak_mb` is the most of the whole day.

    On the first day not everything has been loaded yet in the hours before.
    """

    memory_mb: float
    peak_mb: float
    threads: int
    handles: int
    state_mb: float
    ticks: int


class Season:
    """A daemon in a folder and all around it; `live_a_day` lets a day of its clock go by.

    `more` is added to its configuration.
    """

    def __init__(self, folder, seconds_a_day, *, start=START, tick="30 min", more=""):
        self.folder = Path(folder)
        self._more = more
        self.asked = self.coats = 0
        self.refused = []
        self._start, self._speed, self._tick = start, 86400 / seconds_a_day, tick
        self._read_until = self._fed_until = start
        self._day = 0

    def __enter__(self):
        season = self

        class Service(http.server.BaseHTTPRequestHandler):
            def do_GET(self):
                body = json.dumps(issued(season.daemon.now)).encode()
                self.send_response(200)
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_):
                pass

        self._weather = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Service)
        threading.Thread(target=self._weather.serve_forever, args=(0.05,), daemon=True).start()
        self._phone = Receiver()
        self.told = self._phone.got
        push = free_port()
        self._push = httpx.Client(
            base_url=f"http://127.0.0.1:{push}", headers={"Authorization": f"Bearer {TOKEN}"}, timeout=60,
            trust_env=False,
        )  # fmt: skip
        (self.folder / "token").write_text(TOKEN)
        (self.folder / "token").chmod(0o600)
        (self.folder / "probe.csv").write_text("time,surface\n")
        config = self.folder / "yard.toml"
        config.write_text(
            CONFIG.format(
                folder=self.folder, push=push, weather=self._weather.server_port,
                phone=self._phone.url, tick=self._tick,
            )
            + self._more
        )  # fmt: skip
        self.daemon = Daemon(config, now=self._start, speed=self._speed, env=as_installed())
        self.daemon.wait_until_up()
        self.daemon.wait_for("the page is at http://")
        page = next(found[1] for line in self.daemon.log if (found := re.search(r"page is at (http://\S+)", line)))
        self._page = httpx.Client(base_url=page, timeout=60, trust_env=False)
        self.daemon.wait_for("rail: ")
        for path in PAGES:  # what is loaded by the first who asks
            self._ask("GET", path)
        return self

    def __exit__(self, *_):
        if self.daemon.process.poll() is None:
            self.daemon.kill()
        self._page.close()
        self._push.close()
        self._phone.close()
        self._weather.shutdown()
        self._weather.server_close()

    def live_a_day(self):
        """Read the pages, feed the sensors and put on coats until the day is over; return what was held."""
        self._day += 1
        until = self._start + timedelta(days=self._day)
        looks, at = [], self.daemon.now
        over = threading.Event()
        looking = threading.Thread(target=self._look_on, args=(looks, over))
        looking.start()
        while self.daemon.now < until:
            self._feed(self.daemon.now)
            self._finish()
            for page in PAGES[self.asked % len(PAGES) :][:3]:
                self._ask("GET", page)
            at += HOUR
            time.sleep(max(0.0, (at - self.daemon.now).total_seconds() / self._speed))
        if self._day % CHART_EVERY == 1:
            self._look_at_chart(f"/charts/outlook.svg?piece=rail&day={until.date()}")
        state = self.folder / "state"
        size = sum(each.stat().st_size for each in state.glob(f"{FILE_NAME}*"))
        over.set()
        looking.join()
        memory, threads, handles = zip(*looks[len(looks) // 2 :], strict=True)
        most = max(memory for memory, _, _ in looks)
        return Held(min(memory), most, min(threads), min(handles), size / 1e6, self._ticks())

    def _look_at_chart(self, chart):
        """Have a chart drawn while the day goes on."""
        url = str(self._page.base_url.join(chart))
        threading.Thread(
            target=httpx.get, args=(url,), kwargs={"timeout": 120, "trust_env": False}, daemon=True
        ).start()

    def _look_on(self, looks, over):
        while not looks or not over.wait(LOOK_EVERY_S):
            looks.append(self._look())

    def _look(self):
        process = Path("/proc") / str(self.daemon.process.pid)
        status = dict(line.split(":", 1) for line in (process / "status").read_text().splitlines())
        return (
            int(status["VmRSS"].split()[0]) / 1024,
            int(status["Threads"]),
            sum(1 for _ in (process / "fd").iterdir()),
        )

    def _ask(self, method, path, **more):
        self.asked += 1
        answer = self._page.request(method, path, **more)
        assert answer.status_code in (200, 201, 404, 409, 503), (path, answer.text)  # 503: no plan yet
        return answer

    def _ticks(self):
        told = self._ask("GET", "/metrics").text
        return int(float(re.search(r"^dryspell_tick_seconds_count (\S+)", told, re.MULTILINE)[1]))

    def failed_ticks(self):
        return read_heartbeat(self.folder / "state").failures

    def _feed(self, now):
        """Let the sensors tell what has been read since the last time."""
        rows = []
        while self._fed_until + READ_EVERY < now:
            self._fed_until += READ_EVERY
            hours = (self._fed_until - START) / HOUR
            there = {name: float(values) for name, (_, values) in weather_at(hours).items()}
            wobble = math.sin(hours * 11)
            rows.append((
                f"{self._fed_until:%Y-%m-%dT%H:%M:%SZ}", round(there["temperature_2m"] + 0.1 * wobble, 1),
                round(there["relative_humidity_2m"] - wobble, 1), round(there["wind_speed_10m"] + 0.2 * wobble, 1),
            ))  # fmt: skip
        with (self.folder / "probe.csv").open("a") as probe:
            probe.writelines(f"{at},{t + 0.8:.2f}\n" for at, t, _, _ in rows)
        for at, t, h, w in rows:
            body = {"at": at, "t": t, "h": h, "w": w}
            answer = self._push.post("/v1/readings/mast", json=body)
            assert answer.status_code == 200, answer.text

    def _finish(self):
        """Put on every coat that can go on now."""
        for piece in self._ask("GET", "/api/v1/windows").json()["pieces"]:
            if piece["verdict"] != "coat":
                continue
            record = f"/api/v1/record/{piece['piece']}/coats"
            number = piece["next_coat"]
            if self.coats % 5 == 4 and piece["film"]:
                self._ask("POST", f"{record}/{number - 1}/sandable", json={})
            answer = self._ask("POST", record, json={"coat": number, "thinner_parts": 10, "who": "ada"})
            if answer.status_code != 201:
                self.refused.append(answer.text)
                continue
            self.coats += 1
            if self.coats % 7 == 0:
                self._ask("POST", f"{record}/{number}/correction", json={"note": "with the wide brush"})
            if self.coats % 11 == 0:
                self._ask("DELETE", f"{record}/{number}")

    def leave(self):
        return self.daemon.leave(signal.SIGTERM)[0]

    def unusual(self):
        """Return the lines of the log that tell of something going wrong."""
        return [line for line in self.daemon.log if " WARNING " in line or " ERROR " in line or "Traceback" in line]


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as server:
        return server.getsockname()[1]
