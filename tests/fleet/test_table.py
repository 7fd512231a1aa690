"""The table of a fleet: what its cells mean, and that what is wrong with one row keeps no other back."""

from datetime import datetime

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from dryspell.config import parse
from dryspell.errors import FleetError
from dryspell.fleet.cells import Grid
from dryspell.fleet.table import read_fleet
from fleet import coast

PLAIN = {
    "site": "quay",
    "latitude [deg]": "54.3",
    "longitude [deg]": "10.2",
    "timezone": "UTC",
    "coating": "oil_varnish_1k",
}


def read(tmp_path, *rows, config=None):
    table = coast.write(tmp_path / "t.csv", [PLAIN | row for row in rows])
    return read_fleet(table, config or coast.config(), Grid(), coast.NOW)


def only(fleet):
    (cell,) = fleet.cells.values()
    (question,) = cell.questions
    return question


def problem(tmp_path, **row):
    (bad,) = read(tmp_path, row).bad
    return bad.problem


def test_a_row_is_what_the_same_keys_in_a_configuration_are(tmp_path):
    row = {"piece": "rail", "done": "2", "coats": "5", "face": "vertical", "facing": "SW", "area [m^2]": "2.5",
           "hours": "Mon-Fri 16:00-20:00", "shade": "TRUE", "brush_time": "45 min"}  # fmt: skip
    question = only(read(tmp_path, row))
    text = """contact = "you@example.org"
    site.quay = { latitude = "54.3 deg", longitude = "10.2 deg", timezone = "UTC" }
    piece.rail = { coating = "oil_varnish_1k", done = 2, coats = 5, \
    face = "vertical", facing = "SW", area = "2.5 m^2", \
    hours = "Mon-Fri 16:00-20:00", shade = true, brush_time = "45 min" }"""
    config = parse(text, tmp_path / "c.toml", env={})
    assert question.piece == config.piece["rail"].model_copy(update={"key": "", "site": ""})
    assert question.lays == config.lays_of(config.piece["rail"])


def test_the_last_coat_is_the_one_of_the_number_that_are_on(tmp_path):
    question = only(read(tmp_path, {"done": "3", "last_coat": "2026-09-08T10:00+02:00", "thinner": "10"}))
    (coat,) = question.coats
    assert (coat.number, coat.thinner_parts) == (3, 10.0)
    assert coat.finished_at == datetime.fromisoformat("2026-09-08T08:00Z")


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"latitude [deg]": "95"}, 'latitude = "95 deg" is not within -90 to 90 deg'),
        ({"timezone": "Europe/Berlln"}, "did you mean Europe/Berlin?"),
        ({"coating": "oil_varnish"}, "did you mean oil_varnish_1k?"),
        ({"shade": "perhaps"}, "is neither true nor false"),
        ({"coats": "four"}, "is no whole number"),
        ({"done": "2", "last_coat": "2026-09-08T10:00"}, "has no offset from UTC"),
        ({"done": "2", "last_coat": "yesterday"}, "is not an instant"),
        ({"done": "2", "last_coat": "2026-09-10T10:00Z"}, "is still to come"),
        ({"last_coat": "2026-09-08T10:00Z"}, "needs done"),
        ({"done": "2", "thinner": "10"}, "of which last_coat is empty"),
        ({"done": "2", "last_coat": "2026-09-08T10:00Z", "thinner": "-1"}, "is too small"),
        ({"site": ""}, "site is empty"),
        ({"latitude [deg]": ""}, "latitude is missing"),
        ({"brush_time": "2"}, "has no unit"),
    ],
)
def test_a_bad_cell_is_named_with_its_value_and_what_would_be_right(tmp_path, row, said):
    assert said in problem(tmp_path, **row)


def test_all_that_is_wrong_with_a_row_is_said_at_once_and_the_others_are_read(tmp_path):
    fleet = read(tmp_path, {"piece": "a"}, {"piece": "b", "shade": "x", "longitude [deg]": "200"}, {"piece": "c"})
    (bad,) = fleet.bad
    assert (bad.row, bad.site, bad.piece) == (3, "quay", "b")
    assert "longitude" in bad.problem
    assert "shade" in bad.problem
    (cell,) = fleet.cells.values()
    assert [(berth.row, berth.piece) for berth in cell.berths] == [(2, "a"), (4, "c")]
    assert fleet.rows == 3


def test_a_row_of_too_few_cells_is_a_bad_row(tmp_path):
    table = coast.write(tmp_path / "t.csv", [PLAIN, PLAIN])
    table.write_text(table.read_text() + "quay,short\n")
    fleet = read_fleet(table, coast.config(), Grid(), coast.NOW)
    assert [(bad.row, bad.piece) for bad in fleet.bad] == [(4, "short")]
    assert "has 2 cells" in fleet.bad[0].problem


def test_like_pieces_in_one_cell_ask_one_question_whatever_they_are_called(tmp_path):
    alike = {"done": "1", "last_coat": "2026-09-08T10:00Z"}
    fleet = read(
        tmp_path,
        alike | {"piece": "a", "brush_time": "1 h"},
        alike | {"piece": "b", "brush_time": "60 min", "latitude [deg]": "54.31"},
        alike | {"piece": "c", "brush_time": "1 h", "latitude [deg]": "54.41"},
        alike | {"piece": "d", "brush_time": "1 h", "last_coat": "2026-09-08T11:00Z"},
    )
    asked = {place.key: [berth.question for berth in cell.berths] for place, cell in fleet.cells.items()}
    assert asked == {"54.3_10.2": [0, 0, 1], "54.4_10.2": [0]}


def test_columns_that_are_not_known_or_not_there_are_all_named_before_anything_is_judged(tmp_path):
    table = tmp_path / "t.csv"
    table.write_text("site,latitud,longitude,timezone,timezone\n")
    with pytest.raises(FleetError) as error:
        read_fleet(table, coast.config(), Grid(), coast.NOW)
    assert str(error.value).splitlines() == [
        f'{table}: "latitud" is no column; did you mean latitude?',
        f"{table}: timezone stands 2 times; keep one",
        f"{table}: latitude is missing; wanted a column of that name",
        f"{table}: coating is missing; wanted a column of that name, or system",
    ]


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("t.txt", b"", "has to end in .csv or .parquet"),
        ("t.csv", b"site\xff", "is not UTF-8"),
        ("t.parquet", b"PAR2", "is no Parquet"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(tmp_path, name, content, said):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(FleetError, match=said):
        read_fleet(tmp_path / name, coast.config(), Grid(), coast.NOW)


def test_a_file_that_is_not_there_says_so(tmp_path):
    with pytest.raises(FleetError, match="No such file"):
        read_fleet(tmp_path / "t.csv", coast.config(), Grid(), coast.NOW)


def test_parquet_with_numbers_and_instants_of_its_own_is_read_like_csv(tmp_path):
    rows = [{"done": "2", "last_coat": "2026-09-08T10:00Z", "shade": "true"}, {"facing": "90 deg"}, {"coats": "4.5"}]
    from_csv = read(tmp_path, *rows)
    at = datetime.fromisoformat("2026-09-08T10:00Z")
    table = pa.table(
        {
            "site": ["quay"] * 3,
            "latitude [deg]": [54.3] * 3,
            "longitude": ["10.2 deg"] * 3,
            "timezone": ["UTC"] * 3,
            "coating": ["oil_varnish_1k"] * 3,
            "done": [2.0, float("nan"), None],
            "last_coat": pa.array([at, None, None], pa.timestamp("us", tz="Europe/Berlin")),
            "shade": [True, None, None],
            "facing [deg]": [None, 90, None],
            "coats": [None, None, 4.5],
        }
    )
    pq.write_table(table, tmp_path / "t.parquet")
    from_parquet = read_fleet(tmp_path / "t.parquet", coast.config(), Grid(), coast.NOW)
    assert from_parquet.cells.keys() == from_csv.cells.keys()
    (one,), (other,) = from_parquet.cells.values(), from_csv.cells.values()
    assert one.questions == other.questions
    assert [berth.row for berth in one.berths] == [1, 2]
    assert [bad.row for bad in from_parquet.bad] == [3]


def test_lists_and_tables_are_written_as_in_json_and_systems_come_from_the_configuration(tmp_path):
    system = '[system.two]\n[[system.two.coats]]\ncoating = "solvent_stain"\n[[system.two.coats]]\ncoating = "oil_varnish_1k"\ntimes = 3\n'  # noqa: E501  (one line of a file each)
    head = ("site", "latitude", "longitude", "timezone", "system", "horizon")
    row = {"site": "quay", "latitude": "54.3 deg", "longitude": "10.2 deg", "timezone": "UTC", "system": "two",
           "horizon": '{"S": "25 deg"}'}  # fmt: skip
    table = coast.write(tmp_path / "t.csv", [row, row | {"system": "three"}], head)
    fleet = read_fleet(table, coast.config(more=system), Grid(), coast.NOW)
    assert len(only(fleet).lays) == 4
    assert only(fleet).piece.horizon
    assert "is no system" in fleet.bad[0].problem
