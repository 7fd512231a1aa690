"""`dryspell coat PIECE --mixed-now`: the pot that is mixed, through restarts, until it is brushed or gone off."""

import json

import pytest

from cli.mild import mild
from dryspell.cli import main
from dryspell.store.store import open_store

NOON = "2026-06-03T12:00+02:00"


@pytest.fixture
def yard(tmp_path):
    """Shaded pieces in steady air of 18 degC, at which a two-part clear lasts the printed 4 h."""
    (tmp_path / "weather.csv").write_text(mild(range(1, 20), cloud_pct=100, issued="2026-06-03T08:00Z"))
    file = tmp_path / "yard.toml"
    file.write_text(
        f"""
        state = "{tmp_path}/state"
        site.harbour = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }}
        piece.bench = {{ coating = "pu_clear_2k", coats = 6, done = 1, shelter = "shed" }}
        piece.rail = {{ coating = "oil_varnish_1k", coats = 12, done = 3, shelter = "roof", sky = "0 %" }}
        weather = {{ sources = ["table"], file = "weather.csv", members = 1 }}
        """
    )
    return file


@pytest.fixture
def call(yard, capsys):
    def called(command, *arguments, now=NOON):
        code = main([command, *arguments, "--config", str(yard), "--now", now])
        captured = capsys.readouterr()
        return code, " ".join(captured.out.split()), captured.err

    return called


def pot(call, now=NOON):
    code, out, err = call("windows", "--json", now=now)
    assert (code, err) == (0, "")
    return {piece["piece"]: piece["pot"] for piece in json.loads(out)["pieces"]}["bench"]


def test_it_is_told_how_long_the_pot_keeps_and_what_harms(call):
    code, out, err = call("coat", "bench", "--mixed-now")
    assert (code, err) == (0, "")
    assert out.startswith(
        "bench: the pot for coat 2, mixed today 12:00, brushes well until today 14:40 and goes off today 16:00. "
        "Let it stand until today 12:15. You are told before it does. Estimated at the temperature of the air"
    )
    assert "isocyanate" in out
    _, shown, _ = call("windows", "bench")
    assert "Mixed today 12:00: brush it by today 14:40, it goes off today 16:00." in shown


def test_the_document_has_the_same(call):
    _, out, _ = call("coat", "bench", "--mixed-at", "11:30", "--json")
    document = json.loads(out)
    assert (document["did"], document["coat"], document["mixed_at"]) == ("mixed", 2, "2026-06-03T09:30:00Z")
    assert document["pot"] == {
        "mixed_at": "2026-06-03T09:30:00Z",
        "brush_from": "2026-06-03T09:45:00Z",
        "brush_until": "2026-06-03T12:10:00Z",
        "goes_off_at": "2026-06-03T13:30:00Z",
        "by_weather": True,
    }
    assert document["cautions"]


def test_it_is_there_until_it_goes_off_and_no_longer(call):
    call("coat", "bench", "--mixed-now")
    assert pot(call, "2026-06-03T15:59+02:00")["goes_off_at"] == "2026-06-03T14:00:00Z"
    assert pot(call, "2026-06-03T16:00+02:00") is None


def test_recording_the_coat_ends_it_and_the_record_has_when_it_was_mixed(call):
    call("coat", "bench", "--mixed-now")
    _, out, _ = call("coat", "bench", "--json", now="2026-06-03T13:00+02:00")
    assert json.loads(out)["mixed_at"] == "2026-06-03T10:00:00Z"
    assert pot(call, "2026-06-03T13:00+02:00") is None
    _, out, _ = call("log", "bench", now="2026-06-03T13:00+02:00")
    assert "mixed 12:00" in out
    _, out, _ = call("log", "bench", "--json")
    assert '"mixed_at": "2026-06-03T10:00:00Z"' in out
    _, out, _ = call("log", "bench", "--csv")
    assert "2026-06-03 12:00" in out
    # It comes back with the coat that was recorded by mistake.
    call("coat", "bench", "--undo", now="2026-06-03T13:05+02:00")
    assert pot(call, "2026-06-03T13:05+02:00") is not None


def test_another_pot_takes_its_place_and_one_poured_away_is_none(call):
    call("coat", "bench", "--mixed-now")
    call("coat", "bench", "--mixed-at", "13:30", now="2026-06-03T13:40+02:00")
    assert pot(call, "2026-06-03T13:40+02:00")["mixed_at"] == "2026-06-03T11:30:00Z"
    code, out, _ = call("coat", "bench", "--poured-away", now="2026-06-03T13:50+02:00")
    assert (code, out) == (
        0,
        "bench: the pot for coat 2, mixed today 13:30, is poured away; nothing more is said of it.",
    )
    assert pot(call, "2026-06-03T13:50+02:00") is None
    code, _, err = call("coat", "bench", "--poured-away", now="2026-06-03T13:55+02:00")
    assert (code, "no pot is recorded for bench" in err) == (2, True)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("rail", "--mixed-now"), "coat 4 of rail is oil_varnish_1k, which has no pot life"),
        (("bench", "--mixed-now", "--mixed-at", "09:00"), "wanted one of them"),
        (("bench", "--mixed-now", "--undo"), "--undo takes a coat back"),
        (("bench", "--mixed-now", "--batch", "7"), "--mixed-now is of the pot"),
        (("bench", "--mixed-at", "tomorrow"), "--mixed-at"),
        (("bench", "--mixed-at", "23:00"), "--mixed-at"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_recorded(call, yard, arguments, said):
    code, out, err = call("coat", *arguments)
    assert (code, out) == (2, "")
    assert said in err
    store = open_store(yard.parent / "state")
    assert store.pots() == {}
    store.close()


def test_a_pot_for_the_next_coat_was_not_mixed_before_the_last_one_was_on(call):
    call("coat", "bench", "--at", "11:00")
    code, _, err = call("coat", "bench", "--mixed-at", "10:00")
    assert code == 2
    assert "coat 2 of bench was finished 2026-06-03 11:00" in err


def test_a_built_up_piece_needs_no_pot(call):
    for day in range(4, 9):
        call("coat", "bench", now=f"2026-06-{day:02}T12:00+02:00")
    code, _, err = call("coat", "bench", "--mixed-now", now="2026-06-09T12:00+02:00")
    assert code == 2
    assert "every coat of bench is on" in err
