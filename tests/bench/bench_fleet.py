"""How a fleet scales: python tests/bench/bench_fleet.py [--sites 1000,10000] [--cells 300] [--workers 1,2] ...

A table of invented berths, a berth a site, with exposures, coatings and stages mixed over some hundred forecast
cells, each with an invented forecast of sixteen days, which is at hand before the clock runs. For each number of
sites and of workers one run from table to results: seconds of it (and before it, of reading the table and of starting
the workers), sites a second, how many times as fast as one worker on the same sites, what the first process (with
Dask's scheduler in it) and the workers took of the processors, and the most memory that a worker had. The reference
in the same run is one `make_outlook` after the other in this process, over a sample of the sites, which shares
nothing.

On a quiet machine with two processors: `--sites 10000 --members 1` takes some seven minutes, and
`--sites 100000 --members 1 --workers 2` a quarter of an hour.
"""

import argparse
import json
import os
import random
import statistics
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np

from dryspell import __version__
from dryspell.fleet.cells import Grid
from dryspell.fleet.cluster import Workers, local_client
from dryspell.fleet.parts import Parts
from dryspell.fleet.run import Setting, run
from dryspell.fleet.table import read_fleet
from dryspell.outlook.outlook import make_outlook
from dryspell.weather.error_model import DEFAULT_ERRORS
from dryspell.weather.noise import seed_of
from dryspell.weather.odds import members_of
from fleet import coast

NORTHWARD = 20
"""So many cells of a coast from north to south."""
SAMPLE = 40


def berths(count, cells):
    """Return berths along a coast: twenty cells from north to south, and as many columns of them as it takes."""
    rng = random.Random(count)
    hours_ago = (15, 20, 26, 30, 40, 50, 70)
    for number in range(count):
        cell = rng.randrange(cells)
        done = rng.randrange(6)
        yield {
            "site": f"berth {number}",
            "latitude [deg]": round(52.0 + 0.1 * (cell % NORTHWARD) + rng.uniform(-0.04, 0.04), 4),
            "longitude [deg]": round(8.0 + 0.1 * (cell // NORTHWARD) + rng.uniform(-0.04, 0.04), 4),
            "timezone": "Europe/Berlin",
            "coating": rng.choice(coast.COATINGS),
            "coats": 7,
            "done": done,
            "last_coat": f"{coast.NOW - timedelta(hours=rng.choice(hours_ago)):%Y-%m-%dT%H:%MZ}" if done else "",
            "brush_time": "1 h",
            **rng.choice(coast.EXPOSURES),
        }


class Skies:
    """Invented weather of each cell, made before anything is timed: a service would be waited for, not worked for."""

    def __init__(self, places):
        self._tables = {
            place.key: coast.weather(int(place.latitude_deg * 1000 + place.longitude_deg * 10), days=19)
            for place in places
        }

    def fetch(self, place, now):  # noqa: ARG002  (a source takes it)
        return self._tables[place.key]


def one_by_one(fleet, members):
    """Return the seconds that one piece takes where nothing is shared: the median of some."""
    times = []
    rng = np.random.default_rng(1)
    places = list(fleet.cells.items())
    skies = Skies(fleet.cells)
    for at in rng.integers(len(places), size=SAMPLE):
        place, cell = places[at]
        asked = cell.questions[0]
        table = skies.fetch(place, coast.NOW)
        begin = time.perf_counter()
        if members > 1:
            table = members_of(table, coast.NOW, DEFAULT_ERRORS, count=members, seed=seed_of(place.key))
        make_outlook(asked.piece, asked.site, asked.lays, asked.coats, table, coast.NOW, stale_after_h=6.0)
        times.append(time.perf_counter() - begin)
    return statistics.median(times)


def measure(table, out, workers, members):
    """Run once; return what it took."""
    begin = time.perf_counter()
    fleet = read_fleet(table, coast.config(members), Grid(), coast.NOW)
    read_s = time.perf_counter() - begin
    skies = Skies(fleet.cells)
    begin = time.perf_counter()
    with local_client(workers) as client:
        start_s = time.perf_counter() - begin
        idle_s = sum(used for used, _ in client.run(_used).values())
        begin, cpu = time.perf_counter(), time.process_time()
        with Parts(out, coast.NOW, 0.0) as parts:
            came = run(fleet, skies, Workers(client), parts, Setting(coast.NOW, 6.0, members))
        run_s, own_s = time.perf_counter() - begin, time.process_time() - cpu
        used = list(client.run(_used).values())
    assert came.failed == 0
    size = sum(path.stat().st_size for path in out.glob("*.parquet"))
    return {
        "rows": came.rows,
        "cells": came.cells,
        "questions": came.judged,
        "workers": workers,
        "members": members,
        "read_s": read_s,
        "start_s": start_s,
        "run_s": run_s,
        "client_cpu_s": own_s,
        "workers_cpu_s": sum(cpu_s for cpu_s, _ in used) - idle_s,
        "worker_peak_mib": max(peak for _, peak in used),
        "bytes": size,
    }


def _used():
    """Return the processor time of this process and the most memory that it had. [s, MiB]"""
    # Not ru_maxrss: that of a process goes on from the one that started it.
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    peak_kib = next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM"))
    return time.process_time(), peak_kib / 1024


def main():
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--sites", default="1000,10000")
    parser.add_argument("--cells", type=int, default=300)
    parser.add_argument("--workers", default="1,2")
    parser.add_argument("--members", type=int, default=20)
    parser.add_argument("--json", type=Path, help="add a line for each run to this file")
    asked = parser.parse_args()
    print(
        "  sites  cells  questions  workers   read  start      run  sites/s  speed-up"
        "  client CPU  worker CPU  worker peak  B/site"
    )
    for count in map(int, asked.sites.split(",")):
        with tempfile.TemporaryDirectory() as folder:
            table = coast.write(Path(folder) / "berths.csv", berths(count, asked.cells))
            alone = one_by_one(read_fleet(table, coast.config(), Grid(), coast.NOW), asked.members)
            first = None
            for workers in map(int, asked.workers.split(",")):
                took = measure(table, Path(folder) / f"out{workers}", workers, asked.members)
                first = first or took["run_s"]
                print(
                    f"{count:7} {took['cells']:6} {took['questions']:10} {workers:8} {took['read_s']:5.1f}s"
                    f" {took['start_s']:5.1f}s {took['run_s']:7.1f}s {count / took['run_s']:8.1f}"
                    f" {first / took['run_s']:8.2f}x {took['client_cpu_s']:10.1f}s {took['workers_cpu_s']:10.1f}s"
                    f" {took['worker_peak_mib']:8.0f} MiB"
                    f" {took['bytes'] / count:7.0f}",
                    flush=True,
                )
                if asked.json:
                    line = took | {"one_by_one_s": alone, "version": __version__, "processors": os.cpu_count()}
                    with asked.json.open("a", encoding="utf-8") as file:
                        file.write(json.dumps(line) + "\n")
            print(f"{count:7} one by one, nothing shared: {alone * 1e3:.0f} ms each, {alone * count:.0f} s for all")


if __name__ == "__main__":
    main()
