"""`dryspell fleet`: what it says, the document it writes, and how it fails."""

import importlib.util
import json
import subprocess
import sys

import pyarrow.parquet as pq
import pytest
from distributed import LocalCluster

from cli.mild import mild
from dryspell.cli import main
from fleet import coast

NOW = "2026-06-02T10:00Z"
ROW = {"site": "quay", "latitude [deg]": "54.3", "longitude [deg]": "10.2", "timezone": "Europe/Berlin",
       "coating": "oil_varnish_1k", "shelter": "tent"}  # fmt: skip


@pytest.fixture(scope="module")
def address():
    """The address of a cluster with a worker in this process."""
    within = {
        "processes": False,
        "host": "127.0.0.1",
        "protocol": "tcp://",
        "dashboard_address": None,
        "scheduler_kwargs": {"dashboard_address": "127.0.0.1:0"},
    }
    with LocalCluster(n_workers=1, threads_per_worker=1, **within) as cluster:
        yield cluster.scheduler_address


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.setenv("DRYSPELL_STATE", str(tmp_path / "state"))
    (tmp_path / "fleet.toml").write_text('contact = "you@example.org"\n', "utf-8")
    (tmp_path / "w.csv").write_text(mild(range(1, 9), cloud_pct=40, issued="2026-06-02T06:00Z"), "utf-8")
    coast.write(tmp_path / "t.csv", [ROW | {"piece": "rail"}, ROW | {"piece": "mast", "colour": "tar"}])
    return tmp_path


def fleet(place, *more, code=0):
    table, out, config = (str(place / name) for name in ("t.csv", "out", "fleet.toml"))
    assert main(["fleet", table, "--out", out, "--config", config, "--now", NOW, *more]) == code


def test_it_says_how_many_have_which_verdict_and_names_who_has_none(place, address, capsys):
    fleet(place, "--weather", str(place / "w.csv"), "--cluster", address)
    said = capsys.readouterr()
    assert said.out.splitlines() == [
        "2 rows in 1 cells: 1 coat, 0 tight, 0 wait, 1 unknown",
        "1 could not be judged; 1 questions worked out",
        f"2 parts in {place / 'out'}",
    ]
    assert said.err.startswith(f'dryspell: {place / "t.csv"}, row 3 (quay, mast): colour = "tar" is none of white, ')
    assert len(said.err.splitlines()) == 1


def test_its_verdict_is_that_of_windows_on_the_same_piece(place, address, capsys):
    own = '\nweather = { sources = ["table"], file = "w.csv", members = 1 }\n'
    site = 'site.quay = { latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }\n'
    piece = 'piece.rail = { coating = "oil_varnish_1k", shelter = "tent" }\n'
    config = place / "fleet.toml"
    config.write_text(config.read_text() + own + site + piece, "utf-8")
    fleet(place, "--cluster", address)
    capsys.readouterr()
    assert main(["windows", "rail", "--json", "--config", str(config), "--now", NOW]) == 0
    (told,) = json.loads(capsys.readouterr().out)["pieces"]
    found, _ = pq.read_table(place / "out").sort_by("row").to_pylist()
    first = told["windows"][0]
    assert (found["verdict"], found["state"], found["windows"]) == (
        told["verdict"],
        told["state"],
        len(told["windows"]),
    )
    assert f"{found['brush_down_by']:%Y-%m-%dT%H:%M:%SZ}" == first["brush_down_by"]
    assert found["margin_hold_k"] == first["margin_hold_k"]


def test_the_document_counts_and_names(place, address, capsys):
    fleet(place, "--weather", str(place / "w.csv"), "--cluster", address, "--json", "--exit-code", code=1)
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "dryspell.fleet/1"
    assert (document["rows"], document["failed_rows"], document["parts_kept"]) == (2, 1, 0)
    assert document["verdicts"] == {"coat": 1, "tight": 0, "wait": 0, "unknown": 1}
    (failed,) = document["failed"]
    assert (failed["row"], failed["site"], failed["piece"]) == (3, "quay", "mast")


def test_many_that_failed_are_not_all_printed(place, address, capsys):
    coast.write(place / "t.csv", [ROW | {"latitude [deg]": "99"}] * 25)
    fleet(place, "--weather", str(place / "w.csv"), "--cluster", address)
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 21
    assert lines[-1] == "dryspell: 5 more rows could not be judged; column error of the results says why"


def test_without_its_extra_it_says_what_to_install(place, capsys, monkeypatch):
    there = importlib.util.find_spec
    monkeypatch.setattr("dryspell.cli.fleet.find_spec", lambda name: None if name == "pyarrow" else there(name))
    fleet(place, code=2)
    assert capsys.readouterr().err == (
        "dryspell: fleet needs pyarrow; install dryspell with its extra fleet: dryspell[fleet]\n"
    )


def test_no_other_command_and_no_help_imports_distributed_or_arrow():
    code = (
        "import sys; from importlib import import_module; from dryspell.cli import COMMANDS, main\n"
        "[import_module(f'dryspell.cli.{name}') for name in COMMANDS]\n"
        "main(['fleet', '--help']); print(*sys.modules)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    # pint looks for dask by itself, and takes it up where it is there.
    assert {"distributed", "pyarrow"}.isdisjoint(run.stdout.split())


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--workers", "2", "--cluster", "tcp://127.0.0.1:1"], "give one of them"),
        (["--weather", "nowhere"], "nowhere is not there"),
        (["--cell", "0"], "--cell"),
    ],
)
def test_what_cannot_be_done_is_said_before_anything_is_begun(place, capsys, more, said):
    fleet(place, *more, code=2)
    assert said in capsys.readouterr().err


def test_keys_of_weather_services_stay_in_this_process(place, monkeypatch, capsys):
    """What is handed to workers is looked at as it goes over the wire."""
    import cloudpickle

    from dryspell.fleet.cluster import Workers

    monkeypatch.setenv("SERVICE_KEY", "a-key-that-is-secret")
    (place / "fleet.toml").write_text(
        'contact = "you@example.org"\n'
        '[weather.open-meteo]\nbase_url = "https://customer.example.org"\napi_key_env = "SERVICE_KEY"\n',
        "utf-8",
    )
    asked, given = [], []

    def fetch(source, now):
        asked.append((source._api_key, now))
        return coast.weather()

    monkeypatch.setattr("dryspell.weather.sources.open_meteo.OpenMeteo.fetch", fetch)
    hand_out = Workers.give

    def give(workers, job, batch, part):
        given.append(cloudpickle.dumps(job))
        hand_out(workers, job, batch, part)

    monkeypatch.setattr(Workers, "give", give)
    fleet(place, "--workers", "1")
    assert [key for key, _ in asked] == ["a-key-that-is-secret"]
    assert given
    assert not any(b"a-key-that-is-secret" in job or b"you@example.org" in job for job in given)
    capsys.readouterr()
