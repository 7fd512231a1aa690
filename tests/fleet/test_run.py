"""A fleet judged: the same answers as one by one, each cell asked about once, and nothing lost on the way."""

import json
from dataclasses import replace
from datetime import timedelta

import pyarrow.parquet as pq
import pytest
from distributed import Client, LocalCluster

from dryspell.errors import FleetError
from dryspell.fleet import judge as judging
from dryspell.fleet.cells import Grid
from dryspell.fleet.cluster import Workers
from dryspell.fleet.columns import OF_ANSWER, OF_ROW, answer_of, schema_of, table_of
from dryspell.fleet.judge import judge
from dryspell.fleet.parts import RUNNING, Parts
from dryspell.fleet.run import Setting, run
from dryspell.fleet.table import read_fleet
from dryspell.outlook.outlook import make_outlook
from dryspell.weather.error_model import DEFAULT_ERRORS
from dryspell.weather.noise import seed_of
from dryspell.weather.odds import members_of
from fleet import coast


@pytest.fixture(scope="module")
def client():
    """A cluster within this process: what it does is the same, and it is there at once."""
    within = {
        "processes": False,
        "host": "127.0.0.1",
        "protocol": "tcp://",
        "dashboard_address": None,
        "scheduler_kwargs": {"dashboard_address": "127.0.0.1:0"},
    }
    with LocalCluster(n_workers=1, threads_per_worker=1, **within) as cluster, Client(cluster) as client:
        yield client


@pytest.fixture(autouse=True)
def small_batches(monkeypatch):
    monkeypatch.setattr("dryspell.fleet.run.ROWS", 10)
    monkeypatch.setattr("dryspell.fleet.run.QUESTIONS", 4)


def judged(client, folder, rows, skies, *, members=1, now=coast.NOW, resume_s=0.0):
    """Judge rows into folder/out; return what came of it and the results by row."""
    table = coast.write(folder / "t.csv", rows)
    with Parts(folder / "out", now, resume_s) as parts:
        fleet = read_fleet(table, coast.config(members), Grid(), parts.now)
        came = run(fleet, skies, Workers(client), parts, Setting(parts.now, 6.0, members))
    return came, results(folder / "out")


def results(folder):
    return pq.read_table(sorted(folder.glob("*.parquet"))).sort_by("row").to_pylist()


def files(folder):
    return {path.name: path.stat().st_ino for path in folder.glob("*.parquet")}


@pytest.mark.parametrize("members", [1, 3])
def test_every_row_is_what_its_piece_is_told_alone(client, tmp_path, members):
    rows = coast.berths(24, cells=3)
    came, found = judged(client, tmp_path, rows, coast.Skies(), members=members)
    assert [row["piece"] for row in found] == [row["piece"] for row in rows]
    alone = []
    fleet = read_fleet(tmp_path / "t.csv", coast.config(), Grid(), coast.NOW)
    for place, cell in fleet.cells.items():
        table = coast.weather(round(place.latitude_deg * 10))
        if members > 1:
            table = members_of(table, coast.NOW, DEFAULT_ERRORS, count=members, seed=seed_of(place.key))
        for berth in cell.berths:
            asked = cell.questions[berth.question]
            outlook = make_outlook(
                asked.piece, asked.site, asked.lays, asked.coats, table, coast.NOW, stale_after_h=6.0
            )
            row = {"row": berth.row, "site": berth.site, "piece": berth.piece, "cell": place.key}
            alone.append((row | {"made_at": coast.NOW}, answer_of(outlook)))
    alone.sort(key=lambda each: each[0]["row"])
    expected = table_of([row for row, _ in alone], [answer for _, answer in alone], range(len(alone)))
    assert found == expected.to_pylist()
    assert len({row["verdict"] for row in found}) > 1
    assert came.verdicts.total() == came.rows == len(rows)
    assert came.failed == 0


def test_sites_in_one_cell_share_one_fetch_and_like_pieces_one_computation(client, tmp_path):
    rows = coast.berths(6, cells=2)
    many = [row | {"piece": f"{row['piece']}/{copy}"} for row in rows for copy in range(5)]
    skies = coast.Skies()
    came, found = judged(client, tmp_path, many, skies)
    assert sorted(skies.asked) == ["54.1_10.2", "54_10.2"]
    assert came.judged <= len(rows)
    assert len(found) == len(many)


def test_what_makes_no_difference_to_the_weather_at_a_piece_may_share_its_sight():
    of = {name for name in judging._OF_COATS if name != "coating"}
    assert of <= set(judging.Piece.model_fields)
    # That the answers are the same is tested above, with coatings and stages mixed over each exposure.
    assert {"face", "shelter", "hours", "odds_pct", "cover", "shade"}.isdisjoint(of)


def test_bad_rows_and_cells_without_weather_are_named_and_the_rest_is_judged(client, tmp_path):
    rows = coast.berths(12, cells=3)
    rows[4]["coating"] = "tar"
    came, found = judged(client, tmp_path, rows, coast.Skies(fails=["54.2_10.2"]))
    failed = {row["row"]: row["error"] for row in found if row["error"]}
    assert failed[6].startswith('coating = "tar" is no coating')
    without = {number: text for number, text in failed.items() if number != 6}
    assert set(without.values()) == {"no weather: the service answers 503"}
    assert {row["site"] for row in found if row["row"] in without} == {"harbour 2"}
    assert {row["verdict"] for row in found if row["error"]} == {"unknown"}
    assert all(row["verdict"] != "unknown" for row in found if not row["error"])
    assert came.failed == len(failed) == 5
    assert {(bad.row, bad.problem) for bad in came.named} == set(failed.items())
    assert came.fetched == 2


@pytest.mark.parametrize(
    ("changes", "reason"),
    [({"issued_at": coast.NOW - timedelta(hours=7)}, "known"), ({"drop": ["wind_speed"]}, "known")],
)
def test_weather_that_is_old_or_lacks_something_is_never_a_go(client, tmp_path, changes, reason):
    _, found = judged(client, tmp_path, coast.berths(6, cells=2), coast.Skies(**changes))
    assert {row["verdict"] for row in found} == {"unknown"}
    assert {row["reason"] for row in found} == {reason}
    assert all(row["window_from"] is None for row in found)


def test_a_question_that_fails_says_so_and_keeps_no_other_back(monkeypatch):
    def fails_once(piece, *rest, **named):
        if piece.coating == "pu_clear_2k":
            raise ZeroDivisionError("by nothing")
        return make_outlook(piece, *rest, **named)

    monkeypatch.setattr(judging, "make_outlook", fails_once)
    pieces = [judging.Piece(key="", site="", coating=key, coats=2) for key in ("oil_varnish_1k", "pu_clear_2k")]
    site = judging.Site.model_validate({"key": "s", "latitude": "54 deg", "longitude": "10 deg", "timezone": "UTC"})
    lays = [coast.config().lays_of(piece) for piece in pieces]
    questions = tuple(judging.Question(piece, site, of, ()) for piece, of in zip(pieces, lays, strict=True))
    good, bad = judge(judging.Job("54_10", coast.weather(), "", coast.NOW, 6.0, 1, questions))
    assert good["error"] is None
    assert good["verdict"] != "unknown"
    assert bad["error"] == "could not be judged: ZeroDivisionError: by nothing"
    assert bad["verdict"] == "unknown"


def test_a_worker_of_another_version_is_refused(client, tmp_path, monkeypatch):
    monkeypatch.setattr("dryspell.fleet.run.Job", lambda **job: replace(judging.Job(**job), version="0.0.0"))
    with pytest.raises(FleetError, match=r"another version of dryspell: the worker has dryspell .* and 0\.0\.0 asks"):
        judged(client, tmp_path, coast.berths(3), coast.Skies())
    assert (tmp_path / "out" / RUNNING).exists()


def test_the_same_again_keeps_every_part_and_asks_no_worker(client, tmp_path):
    rows = [*coast.berths(30), {"site": "nowhere"}]
    first, found = judged(client, tmp_path, rows, coast.Skies())
    before = files(tmp_path / "out")
    again, same = judged(client, tmp_path, rows, coast.Skies())
    assert (again.kept, again.judged) == (again.parts, 0)
    assert (again.verdicts, again.failed, again.named) == (first.verdicts, first.failed, first.named)
    assert same == found
    assert files(tmp_path / "out") == before


@pytest.mark.parametrize("what", ["now", "weather", "row", "name"])
def test_what_changed_is_judged_anew_and_what_did_not_is_kept(client, tmp_path, what):
    rows = coast.berths(30)
    judged(client, tmp_path, rows, coast.Skies())
    skies, now = coast.Skies(), coast.NOW
    match what:
        case "now":
            now = coast.NOW + timedelta(minutes=15)
            skies.fetch = lambda place, _: coast.weather(round(place.latitude_deg * 10))
        case "weather":
            skies = coast.Skies(issued_at=coast.NOW - timedelta(hours=1))
        case "row":
            rows[0]["coating"] = "epoxy_sealer_2k"
        case "name":
            rows[0]["piece"] = "another"
    came, found = judged(client, tmp_path, rows, skies, now=now)
    assert came.kept == (0 if what in ("now", "weather") else came.parts - 1)
    fresh = tmp_path / "fresh"
    fresh.mkdir()
    skies.asked = []
    assert found == judged(client, fresh, rows, skies, now=now)[1]
    assert len(files(tmp_path / "out")) == came.parts


def test_a_run_broken_off_goes_on_for_the_instant_it_had_and_a_part_half_written_does_not_count(client, tmp_path):
    rows = coast.berths(30)

    def breaks(count):
        if count == 5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        judged(client, tmp_path, rows, coast.Skies(then=breaks))
    out = tmp_path / "out"
    before = files(out)
    (out / "part-00002-0123456789abcdef.parquet.tmp").write_bytes(b"PAR1")
    assert json.loads((out / RUNNING).read_text())["now"] == coast.NOW.isoformat()
    came, found = judged(client, tmp_path, rows, coast.Skies(), now=coast.NOW + timedelta(minutes=20), resume_s=3600.0)
    assert came.now == coast.NOW
    assert came.kept == len(before)
    assert files(out).items() >= before.items()
    assert {path.name for path in out.iterdir()} == {*files(out), ".lock"}
    fresh = tmp_path / "fresh"
    fresh.mkdir()
    assert found == judged(client, fresh, rows, coast.Skies())[1]


def test_a_run_broken_off_too_long_ago_begins_anew(tmp_path):
    with Parts(tmp_path, coast.NOW, 0.0):
        pass
    later = coast.NOW + timedelta(hours=2)
    with Parts(tmp_path, later, 3600.0) as parts:
        assert parts.now == later


def test_a_part_that_was_damaged_is_made_again(client, tmp_path):
    rows = coast.berths(12, cells=1)
    _, found = judged(client, tmp_path, rows, coast.Skies())
    (part,) = (tmp_path / "out").glob("*.parquet")
    part.write_bytes(part.read_bytes()[:-50])
    came, again = judged(client, tmp_path, rows, coast.Skies())
    assert (came.kept, again) == (0, found)


def test_two_runs_do_not_share_a_folder_and_a_file_is_none(tmp_path):
    with Parts(tmp_path / "out", coast.NOW, 0.0), pytest.raises(FleetError, match="another run writes to"):
        Parts(tmp_path / "out", coast.NOW, 0.0)
    (tmp_path / "file").write_text("")
    with pytest.raises(FleetError, match="cannot be written to"):
        Parts(tmp_path / "file", coast.NOW, 0.0)


def test_files_of_others_in_the_folder_stay(client, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "part-of-a-boat.txt").write_text("oak")
    (tmp_path / "out" / "part-00077-0123456789abcdef.parquet").write_text("of an earlier run")
    judged(client, tmp_path, coast.berths(3, cells=1), coast.Skies())
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert "part-of-a-boat.txt" in names
    assert "part-00077-0123456789abcdef.parquet" not in names


def test_every_column_says_what_it_means(client, tmp_path):
    judged(client, tmp_path, coast.berths(3, cells=1), coast.Skies())
    schema = pq.read_schema(next((tmp_path / "out").glob("*.parquet")))
    assert schema.names == [*OF_ROW, *OF_ANSWER]
    assert schema.equals(schema_of(OF_ROW | OF_ANSWER))
    said = {field.name: field.metadata[b"description"].decode() for field in schema}
    assert said == {name: text for name, (_, text) in (OF_ROW | OF_ANSWER).items()}
