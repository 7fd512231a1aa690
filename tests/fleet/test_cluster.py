"""Real worker processes: one that is killed loses nothing, and a cluster is joined by its address."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from contextlib import contextmanager

import psutil
import pyarrow.parquet as pq
import pytest
from distributed import LocalCluster

from dryspell.cli import main
from dryspell.errors import FleetError
from dryspell.fleet import cluster as clusters
from dryspell.fleet.cells import Grid
from dryspell.fleet.cluster import Workers, client_at, local_client
from dryspell.fleet.parts import RUNNING, Parts
from dryspell.fleet.run import Setting, run
from dryspell.fleet.table import read_fleet
from fleet import coast

NOW = f"{coast.NOW:%Y-%m-%dT%H:%MZ}"


HERE = {
    "processes": False,
    "host": "127.0.0.1",
    "protocol": "tcp://",
    "dashboard_address": None,
    "scheduler_kwargs": {"dashboard_address": "127.0.0.1:0"},
}
"""Workers within this process."""


@pytest.fixture
def place(tmp_path, monkeypatch):
    """A folder with a configuration, a table and weather for its cells."""
    monkeypatch.setenv("DRYSPELL_STATE", str(tmp_path / "state"))
    (tmp_path / "fleet.toml").write_text('contact = "you@example.org"\nweather.members = 1\n', "utf-8")
    coast.write(tmp_path / "t.csv", coast.berths(36, cells=6))
    (tmp_path / "weather").mkdir()
    for cell in range(6):
        table = coast.weather(540 + cell)
        lines = [
            ",".join(map(str, row)) for row in zip(table.times, *(c[0] for c in table.columns.values()), strict=True)
        ]
        units = ("degC", "degC", "m/s", "%", "mm")
        head = ["time", *(f"{name} [{unit}]" for name, unit in zip(table.columns, units, strict=True))]
        text = "\n".join([f"# issued {NOW}", ",".join(head), *(line.replace(",", "Z,", 1) for line in lines)])
        (tmp_path / "weather" / f"{54 + cell / 10:g}_10.2.csv").write_text(text + "\n", "utf-8")
    return tmp_path


def arguments(place, out, *more):
    return ["fleet", str(place / "t.csv"), "--out", str(place / out), "--config", str(place / "fleet.toml"),
            "--weather", str(place / "weather"), *more]  # fmt: skip


def results(folder):
    return pq.read_table(sorted(folder.glob("*.parquet"))).sort_by("row").to_pylist()


def test_a_worker_killed_midway_loses_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr("dryspell.fleet.run.ROWS", 6)
    monkeypatch.setattr("dryspell.fleet.run.QUESTIONS", 4)
    monkeypatch.setattr("dryspell.fleet.run.FETCH_AHEAD", 1)
    table = coast.write(tmp_path / "t.csv", coast.berths(36, cells=6))
    fleet = read_fleet(table, coast.config(), Grid(), coast.NOW)
    killed = []
    with local_client(2) as client:
        given = Workers.give

        def give(workers, job, batch, part):
            given(workers, job, batch, part)
            if batch == 2 and not killed:
                at, pid = next(iter(client.run(os.getpid).items()))
                assert client.processing()[at]  # it is at work
                os.kill(pid, signal.SIGKILL)
                killed.append(pid)

        monkeypatch.setattr(Workers, "give", give)
        with Parts(tmp_path / "out", coast.NOW, 0.0) as parts:
            came = run(fleet, coast.Skies(), Workers(client), parts, Setting(coast.NOW, 6.0, 1))
    assert killed
    assert (came.rows, came.failed) == (36, 0)
    with (
        LocalCluster(n_workers=1, **HERE) as here,
        client_at(here.scheduler_address) as client,
        Parts(tmp_path / "whole", coast.NOW, 0.0) as parts,
    ):
        run(fleet, coast.Skies(), Workers(client), parts, Setting(coast.NOW, 6.0, 1))
    found = results(tmp_path / "out")
    assert [row["row"] for row in found] == list(range(2, 38))  # each line of the table once
    assert found == results(tmp_path / "whole")


@contextmanager
def started(module, *options):
    """A process of Dask's own, as those who run a cluster start it; it ends with the block."""
    command = [sys.executable, "-m", f"distributed.cli.{module}", *options, "--host", "127.0.0.1",
               "--dashboard-address", "127.0.0.1:0"]  # fmt: skip
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        yield process
    finally:
        process.terminate()
        process.wait(30)


def test_a_cluster_of_scheduler_and_worker_processes_is_joined_by_its_address(place, capsys):
    at = place / "scheduler.json"
    with (
        started("dask_scheduler", "--port", "0", "--scheduler-file", str(at)) as scheduler,
        started("dask_worker", "--scheduler-file", str(at), "--nthreads", "1", "--no-nanny",
                "--local-directory", str(place / "worker")) as worker,
    ):  # fmt: skip
        for _ in range(600):
            if at.exists() or scheduler.poll() is not None:
                break
            time.sleep(0.05)
        address = json.loads(at.read_text("utf-8"))["address"]
        assert main(arguments(place, "out", "--now", NOW, "--cluster", address, "--json")) == 0
        told = json.loads(capsys.readouterr().out)
        assert (scheduler.poll(), worker.poll()) == (None, None)  # it is not ours to end
    assert (told["rows"], told["failed_rows"]) == (36, 0)
    with LocalCluster(n_workers=1, **HERE) as here:
        assert main(arguments(place, "whole", "--now", NOW, "--cluster", here.scheduler_address)) == 0
    assert results(place / "out") == results(place / "whole")


def test_a_job_that_takes_every_worker_with_it_is_named_and_tried_again_by_the_next_run(tmp_path):
    came = _with_a_failing_worker(tmp_path)
    assert came.failed == 4
    assert {bad.problem for bad in came.named} == {"took 4 workers with it: out of memory, it may be"}
    assert [path.name for path in (tmp_path / "out").glob("*.parquet")] == ["part-00000-again.parquet"]


def _with_a_failing_worker(tmp_path):
    """Judge four rows with workers whose every job ends as distributed tells of one that was killed too often."""

    class Killed(Workers):
        def __init__(self):
            self.given = []

        free = True
        busy = property(lambda self: bool(self.given))

        def give(self, _job, batch, part):
            self.given.append((batch, part))

        def take(self):
            self._given = {Ended(): self.given.pop()}
            self._done = iter(self._given)
            return super().take()

    class Ended:
        def result(self):
            from distributed.scheduler import KilledWorker

            raise KilledWorker(task="judge", last_worker=None, allowed_failures=3)

        def release(self):
            pass

    table = coast.write(tmp_path / "t.csv", coast.berths(4, cells=1))
    fleet = read_fleet(table, coast.config(), Grid(), coast.NOW)
    with Parts(tmp_path / "out", coast.NOW, 0.0) as parts:
        return run(fleet, coast.Skies(), Killed(), parts, Setting(coast.NOW, 6.0, 1))


def test_a_run_that_is_killed_keeps_what_it_finished_and_ends_the_same(place):
    code = (
        "import sys\nfrom dryspell.fleet import run\nrun.ROWS, run.QUESTIONS = 6, 4\n"
        "from dryspell.cli import main\n"
        "if __name__ == '__main__':\n    sys.exit(main(sys.argv[1:]))\n"
    )
    script = place / "small_batches.py"
    script.write_text(code, "utf-8")
    command = [sys.executable, str(script), *arguments(place, "out", "--now", NOW, "--workers", "1", "--json")]
    out = place / "out"
    first = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    for _ in range(1200):
        if list(out.glob("*.parquet")) or first.poll() is not None:
            break
        time.sleep(0.05)
    first.kill()
    assert first.wait(30) == -signal.SIGKILL
    assert (out / RUNNING).exists()
    before = {path.name: path.stat().st_ino for path in out.glob("*.parquet")}
    assert before
    second = subprocess.run(command, capture_output=True, text=True, check=True, timeout=120)
    told = json.loads(second.stdout)
    assert told["parts_kept"] == len(before) < told["parts"]
    after = {path.name: path.stat().st_ino for path in out.glob("*.parquet")}
    assert after.items() >= before.items()
    assert not (out / RUNNING).exists()
    with LocalCluster(n_workers=1, **HERE) as here:
        address = here.scheduler_address
        assert main(arguments(place, "whole", "--now", NOW, "--cluster", address)) == 0
    assert results(out) == results(place / "whole")


def test_an_address_where_no_cluster_is_says_so(monkeypatch):
    monkeypatch.setattr(clusters, "CONNECT_S", 0.5)
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    for address in (f"tcp://127.0.0.1:{port}", "nonsense://x"):
        with pytest.raises(FleetError, match=f"no Dask cluster can be joined at {address}"), client_at(address):
            pass


def test_a_cluster_without_workers_says_so(monkeypatch):
    monkeypatch.setattr(clusters, "JOIN_S", 1)
    with (
        LocalCluster(n_workers=0, **HERE) as here,
        pytest.raises(FleetError, match="has had no worker for 1 s"),
        client_at(here.scheduler_address),
    ):
        pass


def test_local_workers_keep_free_memory_unless_the_environment_says_otherwise(monkeypatch):
    # mallopt(3) of glibc: where one of the two is set, it adapts the other no longer, so both have to be.
    monkeypatch.setenv("MALLOC_TRIM_THRESHOLD_", "1048576")
    monkeypatch.delenv("MALLOC_MMAP_THRESHOLD_", raising=False)
    with local_client(1) as client:
        (told,) = client.run(lambda: {name: os.environ[name] for name in os.environ if "MALLOC" in name}).values()
    assert told == {"MALLOC_TRIM_THRESHOLD_": "1048576", "MALLOC_MMAP_THRESHOLD_": str(32 << 20)}


def test_local_workers_keep_no_notes_of_where_their_time_goes():
    with local_client(1) as client:
        (does,) = client.run(lambda dask_worker: list(dask_worker.periodic_callbacks)).values()
    assert "heartbeat" in does
    assert not [name for name in does if "profile" in name]


def test_local_workers_listen_on_loopback_alone_and_by_tls():
    with local_client(1) as client:
        addresses = [client.scheduler.address, *client.nthreads()]
        processes = [psutil.Process(), *psutil.Process().children(recursive=True)]
        connections = [each for process in processes for each in process.net_connections()]
    assert all(address.startswith("tls://127.0.0.1:") for address in addresses)
    assert {each.laddr.ip for each in connections if each.status == psutil.CONN_LISTEN} == {"127.0.0.1"}
