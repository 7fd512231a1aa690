"""Process time of `dryspell windows --json` on a forecast: python tests/bench/bench_windows.py [FORECAST.json ...]

Each recorded Open-Meteo answer named (default: those in ../shared/weather-samples, else an invented fortnight) is
served on loopback to a real `dryspell windows --json` in a process of its own with a fresh state. Printed per answer:
user and system time of that process, median of five, its ratio to a process that only imports numpy, and the spread.
"""

import http.server
import json
import math
import os
import statistics
import subprocess
import sys
import tempfile
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
RUNS = 5
CONFIG = """
contact = "bench@example.org"
[site.home]
latitude = "{latitude} deg"
longitude = "{longitude} deg"
timezone = "UTC"
[piece.rail]
coating = "oil_varnish_1k"
[piece.door]
coating = "pu_clear_2k"
face = "vertical"
facing = "SW"
[weather]
open-meteo.base_url = "http://127.0.0.1:{port}"
"""


def invented():
    """Return a fortnight of hourly weather in the shape of the service's answer."""
    start = datetime(2026, 9, 1, tzinfo=UTC)
    hours = range(24 * 14)
    day = [math.sin((h - 9) / 24 * 2 * math.pi) for h in hours]
    columns = {
        "temperature_2m": ("°C", [15 + 6 * s for s in day]),
        "relative_humidity_2m": ("%", [70 - 20 * s for s in day]),
        "wind_speed_10m": ("m/s", [3.0] * len(day)),
        "precipitation": ("mm", [0.0] * len(day)),
        "cloud_cover": ("%", [50] * len(day)),
    }
    return {
        "latitude": 54.0,
        "longitude": 10.0,
        "utc_offset_seconds": 0,
        "hourly_units": {"time": "iso8601"} | {name: unit for name, (unit, _) in columns.items()},
        "hourly": {"time": [f"{start + timedelta(hours=h):%Y-%m-%dT%H:%M}" for h in hours]}
        | {name: values for name, (_, values) in columns.items()},
    }


def cpu_s(command, env=None):
    """Return the user and system time of a command, which must succeed."""
    before = os.times()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=env)
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system


def serve(body):
    """Serve one body on a free loopback port; return the server."""

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_):
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    return server


def first_instant(answer):
    """Return when the first hour of an answer is, for the clock of the run."""
    hourly = answer["hourly"]["time"][0]
    if isinstance(hourly, (int, float)):
        return datetime.fromtimestamp(hourly, UTC)
    offset = timedelta(seconds=answer.get("utc_offset_seconds", 0))
    return datetime.fromisoformat(hourly).replace(tzinfo=UTC) - offset


def bench(name, data, reference_s):
    """Time one answer and print a line."""
    first = data[0] if isinstance(data, list) else data
    server = serve(json.dumps(data).encode())
    times = []
    with tempfile.TemporaryDirectory() as folder:
        config = Path(folder) / "dryspell.toml"
        place = {"latitude": first["latitude"], "longitude": first["longitude"], "port": server.server_port}
        config.write_text(CONFIG.format(**place), encoding="utf-8")
        now = f"{first_instant(first) + timedelta(hours=1):%Y-%m-%dT%H:%MZ}"
        command = [sys.executable, "-m", "dryspell", "windows", "--json", "--config", str(config), "--now", now]
        for run in range(RUNS + 1):
            env = os.environ | {"DRYSPELL_STATE": str(Path(folder) / f"state{run}")}
            times.append(cpu_s(command, env))
    server.shutdown()
    median = statistics.median(times[1:])  # the first run warms the disk
    print(f"{median:6.2f} s  {median / reference_s:5.1f} x  {min(times[1:]):.2f}-{max(times[1:]):.2f} s  {name}")


def main(paths):
    """Time every answer named."""
    samples = ROOT.parent / "shared" / "weather-samples" / "open-meteo-forecast"
    paths = [Path(path) for path in paths] or sorted(samples.glob("*.json"))
    reference_s = statistics.median(cpu_s([sys.executable, "-c", "import numpy"]) for _ in range(RUNS))
    print(f"{reference_s:6.2f} s    1.0 x  import numpy, the reference")
    if not paths:
        bench("an invented fortnight", invented(), reference_s)
    for path in paths:
        bench(path.name, json.loads(path.read_text(encoding="utf-8")), reference_s)


if __name__ == "__main__":
    main(sys.argv[1:])
