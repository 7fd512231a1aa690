import json
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from cli.mild import mild
from dryspell.answers.coat_details import read_past_instant, read_thinner, read_wet_film
from dryspell.cli import main
from dryspell.store.store import open_store

NOW = "2026-06-03T12:00+02:00"
BERLIN = ZoneInfo("Europe/Berlin")


@pytest.fixture
def yard(tmp_path):
    """A configuration with two pieces and weather out of a file, mild and dry."""
    (tmp_path / "weather.csv").write_text(mild(range(2, 9), cloud_pct=40, issued="2026-06-03T08:00Z"))
    file = tmp_path / "yard.toml"
    file.write_text(
        f"""
        state = "{tmp_path}/state"
        site.harbour = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }}
        piece.toe_rail = {{ coating = "oil_varnish_1k", coats = 5, done = 3 }}
        piece.cover = {{ coating = "acrylic_clear_wb" }}
        weather = {{ sources = ["table"], file = "weather.csv" }}
        """
    )
    return file


@pytest.fixture
def coat(yard, capsys):
    """Call the command; return exit code, output and errors."""

    def call(*arguments, now=NOW):
        code = main(["coat", *arguments, "--config", str(yard), "--now", now])
        captured = capsys.readouterr()
        return code, captured.out, captured.err

    return call


@pytest.fixture
def recorded(yard):
    def coats(piece="toe_rail"):
        store = open_store(yard.parent / "state")
        found = store.coats(piece)
        store.close()
        return found

    return coats


def test_a_coat_is_recorded_with_its_number_and_what_is_to_be_expected_of_it(coat, recorded):
    code, out, _ = coat("toe_rail", "--at", "09:40", "--thinner", "10 parts", "--wet-film", "80 um", "--who", "Ada",
                        "--batch", "B-17", "--note", "a run at the scarf")  # fmt: skip
    assert code == 0
    flowing = " ".join(out.split())
    assert flowing.startswith("toe rail: coat 4 of 5 recorded, last stroke today 09:40. 10 parts of thinner to 100, ")
    assert "wet film 80 µm, batch B-17, by Ada, note: a run at the scarf. Planned: neat. At the first stroke" in flowing
    assert "Estimated: touch-dry today" in flowing
    assert "dew-safe today" in out
    assert "Rags and brushes wet with oil" in out
    (on,) = recorded()
    assert (on.number, on.thinner_parts, on.wet_film_um, on.who) == (4, 10.0, 80.0, "Ada")
    assert on.finished_at == datetime(2026, 6, 3, 7, 40, tzinfo=UTC)
    assert on.recorded_at == datetime(2026, 6, 3, 10, 0, tzinfo=UTC)


def test_nothing_is_wider_than_a_terminal(coat):
    _, out, _ = coat("toe_rail", "--note", "long words " * 30)
    assert max(map(len, out.splitlines())) <= 80


def test_a_waterborne_coat_has_no_word_on_rags(coat):
    _, out, _ = coat("cover")
    assert "Rags" not in out
    assert "data sheet" in out


def test_the_next_coat_counts_on(coat, recorded):
    coat("toe_rail", "--at", "09:40")
    coat("toe_rail")
    assert [c.number for c in recorded()] == [4, 5]


def test_more_coats_than_planned_are_recorded_and_said(coat, recorded):
    for clock in ("09:00", "10:00", "11:00"):
        _, out, _ = coat("toe_rail", "--at", clock)
    assert "That is more than the 5 coats of the configuration" in out
    assert [c.number for c in recorded()] == [4, 5, 6]


def test_undo_takes_the_last_coat_back_and_says_which(coat, recorded):
    coat("toe_rail", "--at", "09:40")
    coat("toe_rail", "--at", "11:00")
    code, out, _ = coat("toe_rail", "--undo")
    assert code == 0
    assert "coat 5, last stroke today 11:00, is taken back" in out
    assert [c.number for c in recorded()] == [4]
    coat("toe_rail", "--undo")
    code, _, err = coat("toe_rail", "--undo")
    assert (code, err) == (2, "dryspell: no coat of toe_rail is recorded, so there is none to take back\n")


def test_the_document_has_the_coat_its_stages_and_the_cautions(coat):
    _, out, _ = coat("toe_rail", "--json", "--at", "09:40", "--thinner", "neat")
    document = json.loads(out)
    assert document["schema"] == "dryspell.coat/1"
    assert document["generated_at"] == "2026-06-03T10:00:00Z"
    assert (document["did"], document["coat"], document["thinner_parts"]) == ("record", 4, 0.0)
    assert document["finished_at"] == "2026-06-03T07:40:00Z"
    assert document["stages"]["dew_safe"] > document["stages"]["touch_dry"] > document["finished_at"]
    assert document["cautions"]
    document = json.loads(coat("toe_rail", "--json", "--undo")[1])
    assert (document["did"], document["coat"], document["stages"], document["cautions"]) == ("undo", 4, None, [])


def test_a_coat_is_recorded_where_no_weather_is_known(coat, yard, recorded):
    yard.write_text(yard.read_text().replace("weather =", 'contact = "you@example.org"\n#'))
    code, out, _ = coat("toe_rail")
    assert code == 0
    assert "No weather is known here yet" in out
    assert len(recorded()) == 1


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["toe_rial"], "has no piece 'toe_rial'; did you mean toe_rail?"),
        (["mast"], "has no piece 'mast'; there are toe_rail, cover"),
        (["toe_rail", "--at", "12:01"], "is yet to come in Europe/Berlin"),
        (["toe_rail", "--at", "noon"], "'noon' is no time; write such as 09:40"),
        (["toe_rail", "--thinner", "50 %"], "can mean two mixes"),
        (["toe_rail", "--wet-film", "80"], "has no unit"),
        (["toe_rail", "--wet-film", "80 kg"], "is a mass, not a length"),
        (["toe_rail", "--undo", "--who", "Ada"], "--undo takes a coat back"),
    ],
)
def test_bad_input_is_refused_with_what_would_be_right_and_nothing_is_recorded(coat, recorded, arguments, said):
    code, out, err = coat(*arguments)
    assert (code, out) == (2, "")
    assert said in err
    assert recorded() == []


def test_a_coat_cannot_have_been_finished_before_the_one_below(coat, recorded):
    coat("toe_rail", "--at", "09:40")
    code, _, err = coat("toe_rail", "--at", "09:40")
    assert code == 2
    assert "coat 4 was finished 2026-06-03 09:40, and the next one can only be later" in err
    assert len(recorded()) == 1


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("10 parts", 10.0),
        ("1 part", 1.0),
        ("7,5 parts per 100", 7.5),
        ("25 parts to hundred", 25.0),
        ("neat", 0.0),
        ("0 parts", 0.0),
        ("1:1", 100.0),
        # 9 of 100 are thinner, so 9 go to 91 of coating.
        ("9 % of the mix", 9.89),
        ("33.3333333 % of the mix", 50.0),
        ("50 percent of mix", 100.0),
    ],
)
def test_thinner_is_read_as_parts_to_a_hundred_of_coating(text, parts):
    assert read_thinner(text) == pytest.approx(parts, abs=0.005)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        # A hundred and fifty hold a third of thinner, one to one holds half: both are called "50 %".
        ("50 %", r"'50 parts' to 100 parts of coating \(33 % of the mix\) or '50 % of the mix' \(100 parts to 100\)"),
        ("10", r"can mean two mixes; write '10 parts'"),
        ("120 %", r"has no unit; write '120 parts'"),
        ("0 %", "is written as 'neat'"),
        ("2:1", "does not say which of the two is thinner"),
        ("a dash", "is no amount of thinner"),
        ("-5 parts", "is no amount of thinner"),
        ("201 parts", "more than 200 parts"),
        ("100 % of the mix", "more than 200 parts"),
    ],
)
def test_thinner_that_can_be_read_in_two_ways_is_asked_back(text, said):
    with pytest.raises(ValueError, match=said):
        read_thinner(text)


@pytest.mark.parametrize(("text", "depth"), [("80 um", 80.0), ("3 mil", 76.2), ("0.1 mm", 100.0)])
def test_wet_film_is_read_in_any_unit_of_length(text, depth):
    assert read_wet_film(text) == pytest.approx(depth)


@pytest.mark.parametrize("text", ["0 um", "-80 um", "3 mm", "80 degC"])
def test_a_depth_no_wet_film_has_is_refused(text):
    with pytest.raises(ValueError, match=r"um|length"):
        read_wet_film(text)


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("9:40", "2026-06-03T07:40"),
        ("2026-06-02T17:00", "2026-06-02T15:00"),
        ("2026-06-02 17:00", "2026-06-02T15:00"),
        ("2026-06-02T17:00Z", "2026-06-02T17:00"),
        ("2026-06-02T17:00-05:00", "2026-06-02T22:00"),
        ("2026-02-02", "2026-02-01T23:00"),
    ],
)
def test_a_time_is_that_of_the_site_unless_it_says_otherwise(text, utc):
    read = read_past_instant(text, BERLIN, datetime.fromisoformat(NOW).astimezone(UTC))
    assert read.isoformat(timespec="minutes") == f"{utc}+00:00"


# Berlin's clocks went from 02:00 to 03:00 on 29 March 2026 and go from 03:00 to 02:00 on 25 October.
@pytest.mark.parametrize("text", ["2026-03-29T02:30", "2026-10-25T02:30"])
def test_an_hour_that_is_twice_or_never_on_the_clocks_is_asked_back(text):
    with pytest.raises(ValueError, match=r"twice or never on the clocks of Europe/Berlin.*such as .*T02:30[+]0[12]:00"):
        read_past_instant(text, BERLIN, datetime(2026, 12, 1, tzinfo=UTC))
