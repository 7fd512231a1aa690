"""`dryspell log`: the record as a table, as CSV, as JSON and as a page for a client."""

import csv
import io
import json
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser

import pytest

from cli.mild import mild
from dryspell.answers.log_csv import harmless
from dryspell.cli import main
from dryspell.outlook.met_model import AtPiece, Figure, Met
from dryspell.outlook.model import Advice, Coat, Limit, Reason
from dryspell.store.store import open_store

NOW = "2026-06-19T12:00+02:00"
BEGIN = datetime(2026, 6, 1, 9, 40, tzinfo=UTC)
# A name that begins a formula, and one that is HTML.
NASTY = '=HYPERLINK("http://x.example","y")<script>alert(1)</script>&'


def at_piece(air, surface, humidity, dew, wind, known):
    figures = {
        "air_c": air, "surface_c": surface, "humidity_pct": humidity, "dew_point_c": dew, "margin_k": surface - dew,
        "wind_m_s": wind,
    }  # fmt: skip
    return AtPiece(**{name: Figure(value=value, known=known) for name, value in figures.items()})


START, END = at_piece(-1.5, 2.0, 74.0, -5.5, 1.2, "forecast"), at_piece(14.9, 17.3, 69.0, 9.2, 1.0, "sensor")
MET = Met(
    began_at=BEGIN + timedelta(days=1, hours=-1), start=START, end=END, least=START,
    most=END.model_copy(update={"wind_m_s": Figure(value=3.4, known="estimate")}), forecast="somebody",
    issued_at=BEGIN, attribution="Weather by somebody, CC BY 4.0", sensors=("mast",),
)  # fmt: skip


def coat(number, **changes):
    at = BEGIN + timedelta(days=number)
    return Coat(piece="rail", number=number, **({"finished_at": at, "recorded_at": at} | changes))


@pytest.fixture
def yard(tmp_path):
    (tmp_path / "weather.csv").write_text(mild(range(1, 29), cloud_pct=100, issued="2026-06-19T08:00Z"))
    file = tmp_path / "yard.toml"
    file.write_text(
        f"""
        state = "{tmp_path}/state"
        site.harbour = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }}
        piece.rail = {{ name = "Rail <port>", coating = "oil_varnish_1k", coats = 8, area = "4.05 m^2" }}
        piece.door = {{ coating = "urethane_alkyd_1k", shelter = "roof", done = 2 }}
        weather = {{ sources = ["table"], file = "weather.csv" }}
        """
    )
    return file


@pytest.fixture
def record(yard):
    """A record with something of everything: a spoilt coat, a correction, one taken back, untold thinner."""
    store = open_store(yard.parent / "state")
    dew = Reason(limit=Limit.MARGIN_HOLD, value=0.3, bound=1.0, unit="K")
    store.add_coat(coat(1, thinner_parts=50.0, wet_film_um=70.0, who="Ada", met=MET))
    store.add_coat(coat(2, who=NASTY, note=NASTY, batch="-1+2", photo="/home/ada/pictures/rail & co.jpg"))
    wrong = store.add_coat(coat(3, thinner_parts=25.0))
    store.correct_coat(wrong, coat(3, thinner_parts=10.0, recorded_at=BEGIN + timedelta(days=4)), who="Ben")
    store.spoil_coat(
        store.add_coat(coat(4, thinner_parts=0.0, advice=Advice(word="wait", reason=dew, given_at=BEGIN))),
        "dew",
        BEGIN + timedelta(days=5),
        note="matt",
    )
    store.add_coat(coat(4, thinner_parts=0.0, litres=0.396, finished_at=BEGIN + timedelta(days=8)))
    store.add_coat(coat(5, finished_at=BEGIN + timedelta(days=9)))
    store.undo_coat("rail", BEGIN + timedelta(days=10), who="Ada")
    store.close()


@pytest.fixture
def log(yard, capsys):
    def call(*arguments):
        code = main(["log", *arguments, "--config", str(yard), "--now", NOW])
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return call


@pytest.mark.usefixtures("record")
def test_the_table_has_a_row_a_coat_the_sums_and_what_was_not_as_planned(log):
    code, out, _ = log("rail", "--no-colour")
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    rows = [line.split() for line in out.splitlines() if line[:4].strip().isdigit()]
    assert [row[:7] for row in rows] == [
        ["1", "-", "2026-06-02", "11:40", "50", "70", "22"],
        ["2", "-", "2026-06-03", "11:40", "?", "80p", "-"],
        ["3", "1", "2026-06-04", "11:40", "10", "80p", "35"],
        ["4", "-", "2026-06-05", "11:40", "0", "80p", "-"],
        ["4", "2", "2026-06-09", "11:40", "0", "85l", "41"],
    ]
    assert rows[0][7:10] == ["-1.5f", "74f", "7.5f"]
    flowing = " ".join(out.split())
    assert "! spoilt by dew: it does not count ! put on against the advice then: wait, dew on the wet film" in flowing
    # 22 + 35 + 41 of worked example 1 of the trade notes.
    assert "4 coats on. 2 full coats; of 1 it is not told how it was thinned, and it is not counted. Dry" in flowing
    assert "Dry film 98 µm in all by the 3 that are told, 1 of them by the wet film that was planned" in flowing
    assert "not measured" in flowing
    assert "Weather: somebody. Weather by somebody, CC BY 4.0." in flowing
    assert "4 of 8 coats on: overcoat window past" in flowing


@pytest.mark.usefixtures("record")
def test_the_history_tells_what_was_corrected_taken_back_and_found_spoilt_and_by_whom(log):
    flowing = " ".join(log("rail", "--history")[1].split())
    assert (
        "Coat 3, last stroke Thu 4 Jun 11:40, recorded Thu 4 Jun 11:40 corrected Fri 5 Jun 11:40 by Ben: thinner"
        in (flowing)
    )
    assert "thinner 10 parts to 100, was 25 parts to 100" in flowing
    assert "found spoilt Sat 6 Jun 11:40: dew: matt" in flowing
    assert "taken back Thu 11 Jun 11:40 by Ada" in flowing
    assert flowing.count("stands") == 5
    assert "History" not in log("rail")[1]


@pytest.mark.usefixtures("record")
def test_without_a_piece_all_are_told_and_coats_from_before_the_record_too(log):
    out = log()[1]
    assert "2 of 7 coats on" in out
    assert "2 coats on, 2 of them from before the record: nothing is known of those." in out


def test_an_empty_record_is_no_error_in_any_form(log, tmp_path):
    assert "No coat is on." in log("rail")[1]
    assert len(log("--csv")[1].splitlines()) == 1
    assert json.loads(log("--json")[1])["pieces"][0]["record"] == []
    assert log("rail", "--sheet", str(tmp_path / "rail.html"))[0] == 0
    assert "No coat is on." in (tmp_path / "rail.html").read_text("utf-8")


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text, newline="")))


@pytest.mark.usefixtures("record")
def test_csv_has_the_unit_in_each_heading_and_numbers_that_are_numbers(log):
    text = log("rail", "--csv")[1]
    rows = rows_of(text)
    assert [row["coat"] for row in rows] == ["1", "2", "3", "4", "4"]
    first = rows[0]
    assert float(first["air_temperature [degC]"]) == -1.5
    assert (first["air_temperature_is"], float(first["dew_point_temperature [degC]"])) == ("forecast", -5.5)
    assert float(first["most_wind_speed [m/s]"]) == 3.4
    assert float(first["dry_film [um]"]) == pytest.approx(22.4)
    assert [row["status"] for row in rows].count("spoilt: dew") == 1
    assert all(len(row) == len(rows[0]) and None not in row for row in rows)
    # RFC 4180, section 2.1: lines end with CR LF.
    assert text.count("\r\n") == len(rows) + 1


@pytest.mark.usefixtures("record")
def test_csv_with_history_has_the_coats_that_do_not_stand_and_how_they_ended(log):
    rows = rows_of(log("rail", "--csv", "--history")[1])
    ended = [(row["coat"], row["status"], row["changed"], row["changed_by"]) for row in rows if row["changed"]]
    assert ended == [
        ("3", "corrected", "2026-06-05 11:40", "Ben"),
        ("4", "spoilt: dew", "2026-06-06 11:40", ""),
        ("5", "taken back", "2026-06-11 11:40", "Ada"),
    ]


@pytest.mark.usefixtures("record")
def test_csv_is_read_as_it_was_meant_by_a_reader_of_its_own(log):
    import pandas as pd

    frame = pd.read_csv(io.StringIO(log("--csv")[1]))
    assert frame["thinner [parts to 100]"].tolist()[:3] == [50.0, pytest.approx(float("nan"), nan_ok=True), 10.0]
    assert frame["air_temperature [degC]"].dtype == float


# OWASP ASVS 5.0, requirement 1.2.10: a cell that begins with =, +, -, @, tab or NUL is escaped with a single quote.
@pytest.mark.parametrize("begin", ["=", "+", "-", "@", "\t", "\0", "\r"])
def test_no_text_begins_a_formula(begin):
    assert harmless(f"{begin}1+1") == f"'{begin}1+1"
    # A spreadsheet that goes by semicolons would begin a cell after each.
    assert harmless(f"a;{begin}1+1").startswith("a;'")
    assert harmless(f"a\n {begin}1+1").startswith("a\n")


def test_numbers_and_harmless_text_are_left_as_they_are():
    assert [harmless(cell) for cell in (-1.5, None, "10 parts", "a-b", "18 °C")] == [
        -1.5,
        None,
        "10 parts",
        "a-b",
        "18 °C",
    ]


@pytest.mark.usefixtures("record")
def test_what_people_wrote_begins_no_formula_in_the_file(log):
    cells = [cell for row in csv.reader(io.StringIO(log("rail", "--csv")[1], newline="")) for cell in row]
    assert f"'{NASTY}" in cells
    assert "'-1+2" in cells
    assert all(float(cell) is not None for cell in cells if cell[:1] in set("=+-@\t\r"))


@pytest.mark.usefixtures("record")
def test_the_document_has_the_record_its_sums_and_on_demand_the_history(log):
    document = json.loads(log("rail", "--json", "--history")[1])
    assert document["schema"] == "dryspell.log/1"
    (piece,) = document["pieces"]
    assert (piece["coats_on"], piece["full_coats"], piece["untold"], piece["dry_film_um"]) == (4, 2, 1, 98.1)
    first, second = piece["record"][:2]
    assert first["weather"]["start"]["air_c"] == {"value": -1.5, "known": "forecast"}
    assert (second["weather"], second["thinner_parts"], second["planned"]["thinner_parts"]) == (None, None, 25.0)
    assert piece["record"][3]["advice"]["against"] is True
    assert [version["stands"] for version in piece["history"]] == [True, True, False, True, True, True, False]
    corrected = next(version for version in piece["history"] if version["changes"])
    (change,) = corrected["changes"]
    assert change["successor"] in {version["id"] for version in piece["history"]}
    assert "history" not in json.loads(log("rail", "--json")[1])["pieces"][0]


class Page(HTMLParser):
    """What a page shows and asks for."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.links, self.texts, self.open = [], [], [], []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.links += [value for name, value in attrs if name in ("src", "href", "srcset", "data", "action")]
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] != "style":
            self.texts.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.texts).split())


@pytest.fixture
def sheet(record, log, tmp_path):  # noqa: ARG001  (the record is what it shows)
    file = tmp_path / "rail.html"
    assert log("rail", "--sheet", str(file))[0] == 0
    return file.read_text("utf-8")


def test_the_page_stands_by_itself_and_nothing_that_people_wrote_is_markup(sheet):
    page = Page(sheet)
    assert page.open == []
    assert page.links == []
    assert not {"script", "img", "link", "iframe", "port"} & set(page.tags)
    assert "url(" not in sheet
    assert "@import" not in sheet
    assert NASTY in page.text
    assert "Rail <port>" in page.text
    assert "@page { size: A4" in sheet


def test_the_page_tells_the_coats_their_weather_and_how_each_figure_is_known(sheet):
    text = Page(sheet).text
    assert "−1.5 f → 14.9 s" in text
    assert "h by hand" not in text
    assert "s by a sensor; e estimated from readings; f by the forecast. Only h and s are measured." in text
    assert "in between" in text
    assert "not known" in text
    assert "Weather by somebody, CC BY 4.0" in text
    # The name of a picture, not where its owner keeps it.
    assert "rail & co.jpg" in text
    assert "/home/ada" not in text


def test_the_page_states_deviations_defers_to_the_data_sheet_and_claims_nothing(sheet):
    text = Page(sheet).text
    assert "Coat 1: air −1.5 °C (by the forecast), where at least 5 °C is asked." in text.replace("-1.5", "−1.5")
    assert "Coat 4: spoilt by dew: it does not count." in text
    assert "Coat 4: put on against the advice then: wait, dew on the wet film." in text
    assert "Dry film 98 µm in all" in text
    assert "The data sheet of the coating goes before all of this" in text
    assert "claims no conformity with any standard" in text
    assert not {"safe", "guaranteed", "guarantee"} & set(text.lower().split())


def test_a_page_is_in_the_units_of_messages(record, yard, log, tmp_path):  # noqa: ARG001
    yard.write_text(yard.read_text() + '\nalerts.units = "us"\n')
    log("rail", "--sheet", str(tmp_path / "rail.html"))
    text = Page((tmp_path / "rail.html").read_text("utf-8")).text
    assert "Air °F" in text
    assert "29 f → 59 s" in text  # -1.5 and 14.9 degC
    assert "Wet film mil" in text


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["rial"], "has no piece 'rial'; did you mean rail?"),
        (["--sheet", "all.html"], "a sheet is of one piece; name one of rail, door"),
        (["rail", "--csv", "--json"], "wanted one of them"),
        (["rail", "--sheet", "rail.html", "--history"], "--sheet shows what stands"),
        (["rail", "--sheet", "/nowhere/rail.html"], "/nowhere/rail.html cannot be written"),
    ],
)
def test_bad_input_is_refused_with_what_would_be_right(log, arguments, said):
    code, out, err = log(*arguments)
    assert (code, out) == (2, "")
    assert said in err
