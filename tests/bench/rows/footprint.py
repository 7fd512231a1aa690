"""What the daemon takes of a small machine: memory held after a day, and the processor while nothing is due.

A home of five pieces with the page, alerts and MQTT both ways, on the real process; all it talks with is on loopback.
"""

import os
import subprocess
import sys
import time
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from bench.row import Row

SECONDS_A_DAY = 12.0
IDLE_S = 20.0
REST_S = 5.0
"""So long after its first tick a daemon has made its plans and done what else a start brings."""
MOST_MIB = 110.0
MOST_OF_A_CORE = 0.005
LIBRARIES = "apscheduler.schedulers.background, fastapi, jinja2, numpy, paho.mqtt.client, requests, sqlite3, uvicorn"
HOME = """
[piece.hatch]
coating = "pu_clear_2k"
shelter = "roof"
area = "0.6 m^2"
[piece.sill]
coating = "urethane_alkyd_1k"
face = "vertical"
facing = "N"
[piece.bench]
coating = "oil_varnish_1k"
coats = 12
[broker.house]
host = "127.0.0.1"
port = {port}
tls = false
[mqtt_out]
broker = "house"
[sensor.shed]
site = "harbour"
mqtt = {{ broker = "house", topic = "shed/climate" }}
read.air_temperature = {{ path = "t", unit = "degC" }}
"""


def resident_mib(pid):
    """Return what a process holds in memory now. [MiB]"""
    lines = Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS:")) / 1024


def of_the_libraries():
    """Return what a process holds that has imported what the daemon stands on, and does nothing. [MiB]"""
    code = f"import {LIBRARIES}; print(flush=True); input()"
    with subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        process.stdout.readline()
        held = resident_mib(process.pid)
        process.communicate(b"\n")
    return held


@contextmanager
def home(seconds_a_day, tick):
    """Run a season in which the home talks to a broker."""
    from faults.season import Season
    from weather.sensors.small_broker import SmallBroker

    broker = SmallBroker()
    broker.start()
    try:
        with (
            TemporaryDirectory() as folder,
            Season(folder, seconds_a_day, tick=tick, more=HOME.format(port=broker.port)) as season,
        ):
            yield season
            assert broker.published, "nothing was published"
    finally:
        broker.stop()


@contextmanager
def memory():
    """Yield the least that is held over a day, of each of some days in a row, and what the libraries take."""
    with home(SECONDS_A_DAY, "30 min") as season:
        yield lambda: season.live_a_day().memory_mb, of_the_libraries


@contextmanager
def idle():
    """Yield the processor time of a daemon for a while in which nothing is due, and that while by the clock."""
    with home(86400.0, "60 min") as season:
        time.sleep(REST_S)
        pid, ticks = season.daemon.process.pid, os.sysconf("SC_CLK_TCK")

        def used_s():
            fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
            return (int(fields[11]) + int(fields[12])) / ticks

        def ours():
            before, begun = used_s(), time.perf_counter()
            time.sleep(IDLE_S)
            return (used_s() - before) / (time.perf_counter() - begun)

        yield ours, lambda: 1.0


ROWS = (
    Row(
        "daemon_memory", "the daemon of a home after a day and more, charts drawn outside it", "its libraries imported",
        memory, better="less", unit="MiB", ours_at_most=MOST_MIB,
    ),
    Row(
        "daemon_idle", "processor time of that daemon with nothing due", "one core",
        idle, better="less", bar=MOST_OF_A_CORE, unit="core",
    ),
)  # fmt: skip
