"""`dryspell coat PIECE --sandable-now`: what it records, what it learns, and when it learns nothing."""

import json
from datetime import UTC, datetime

import pytest

from cli.mild import mild
from dryspell.cli import main
from dryspell.store.store import open_store

LAID = "2026-06-03T08:00+02:00"


@pytest.fixture
def yard(tmp_path):
    """A shaded piece in steady air of 18 degC and 55 %, at which a coat takes the printed 24 h to be sandable."""
    (tmp_path / "hours.csv").write_text(mild(range(1, 29), cloud_pct=100))
    file = tmp_path / "yard.toml"
    file.write_text(
        f"""
        state = "{tmp_path}/state"
        site.harbour = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }}
        piece.rail = {{ coating = "oil_varnish_1k", coats = 12, done = 3, shelter = "roof", sky = "0 %" }}
        weather = {{ sources = ["table"], file = "weather.csv", members = 1 }}
        """
    )
    return file


@pytest.fixture
def call(yard, capsys):
    def called(command, *arguments, now):
        hours = (yard.parent / "hours.csv").read_text()
        (yard.parent / "weather.csv").write_text(f"# issued {now}\n{hours}")
        code = main([command, *arguments, "--config", str(yard), "--now", now])
        captured = capsys.readouterr()
        return code, " ".join(captured.out.split()), captured.err

    return called


def sandable_after(call, day, hours):
    """Record a coat at eight on a day of June, and that it was seen sandable so many hours later; return the answer."""
    call("coat", "rail", now=f"2026-06-{day:02}T08:00+02:00")
    later = 8 + hours
    now = f"2026-06-{day + later // 24:02}T{later % 24:02}:00+02:00"
    code, out, err = call("coat", "rail", "--sandable-now", now=now)
    assert (code, err) == (0, "")
    return out


def test_a_coat_seen_when_expected_changes_nothing(call):
    out = sandable_after(call, 3, 24)
    assert out.startswith("rail: coat 4 was sandable today 08:00. By the estimate it had come ")
    assert float(out.split("had come ")[1].split("%")[0]) == pytest.approx(100, abs=6)


def test_slow_coats_make_the_times_longer_from_then_on(call):
    sandable_after(call, 3, 36)
    out = sandable_after(call, 8, 36)
    assert "After 2 coats of oil_varnish_1k seen so far, its times are multiplied by 1.2" in out
    code, out, _ = call("coat", "rail", now="2026-06-14T08:00+02:00")
    assert code == 0
    assert "sandable tomorrow 13:" in out  # and not at eight
    _, out, _ = call("windows", "rail", now="2026-06-14T09:00+02:00")
    assert "Times multiplied by 1.2" in out
    assert "for how it dried for you before" in out


def test_coats_that_contradict_each_other_are_said_to_and_teach_nothing(call):
    sandable_after(call, 3, 12)
    out = sandable_after(call, 8, 48)
    assert "2 coats of oil_varnish_1k seen so far contradict each other" in out
    _, out, _ = call("windows", "rail", "--json", now="2026-06-10T09:00+02:00")
    assert "pace" not in out


def test_a_coat_looked_at_days_later_teaches_nothing(call):
    out = sandable_after(call, 3, 24 * 4)
    assert "too far off to be when it became sandable, so nothing is learned from it" in out
    assert "stay as they are printed" in out


def test_weather_that_is_not_known_teaches_nothing_but_the_coat_is_sandable(call, yard):
    call("coat", "rail", now="2026-05-31T08:00+02:00")
    code, out, _ = call("coat", "rail", "--sandable-now", now="2026-06-01T12:00+02:00")
    assert code == 0
    assert "Not all the weather since it was put on is known here" in out
    store = open_store(yard.parent / "state")
    assert store.progress_seen() == {}
    assert store.coats("rail")[0].sandable_at == datetime(2026, 6, 1, 10, tzinfo=UTC)
    store.close()


def test_the_thumb_goes_before_the_sum(call):
    call("coat", "rail", now=LAID)
    now = "2026-06-03T14:00+02:00"
    _, before, _ = call("windows", "rail", "--json", now=now)
    call("coat", "rail", "--sandable-now", now=now)
    _, after, _ = call("windows", "rail", "--json", now=now)
    before, after = (json.loads(text)["pieces"][0] for text in (before, after))
    assert (before["film"]["sandable_fraction"], after["film"]["sandable_fraction"]) == (
        pytest.approx(0.25, abs=0.02),
        1.0,
    )
    assert after["film"]["stages"]["sandable"] == "2026-06-03T12:00:00Z"
    assert after["windows"][0]["start"] < before["windows"][0]["start"]


def test_a_pace_of_ones_own_stays(call, yard):
    with yard.open("a") as file:
        file.write('\ncoating.mine = { family = "oil_varnish_1k", factors = { pace = 1.1 } }\n')
    yard.write_text(yard.read_text().replace('coating = "oil_varnish_1k"', 'coating = "mine"'))
    out = sandable_after(call, 3, 36)
    assert "gives mine a pace of its own, so that one stays" in out
    # what was seen is kept against the printed times, should that pace ever be taken out
    assert "150% of the way" in out
    _, out, _ = call("windows", "rail", now="2026-06-05T09:00+02:00")
    assert "multiplied by 1.1 for how it dried for you before" in out


def test_the_document_says_the_same(call):
    call("coat", "rail", now=LAID)
    _, out, _ = call("coat", "rail", "--sandable-at", "2026-06-04T17:00", "--json", now="2026-06-04T18:00+02:00")
    written = json.loads(out)
    assert (written["did"], written["coat"], written["coating"]) == ("sandable", 4, "oil_varnish_1k")
    assert written["sandable_at"] == "2026-06-04T15:00:00Z"
    assert written["progress"] == pytest.approx(33 / 24, rel=0.05)
    assert written["pace"] == pytest.approx(written["progress"] ** (1 / 3), abs=1e-3)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--sandable-now", "--undo"], "--undo takes a coat back"),
        (["--sandable-now", "--who", "Ada"], "they go with no detail of one"),
        (["--sandable-now", "--sandable-at", "09:00"], "wanted one of them"),
        (["--sandable-at", "05:00"], "was finished 2026-06-03 08:00, and it can only be sandable later"),
        (["--sandable-at", "23:00"], "is yet to come"),
    ],
)
def test_what_does_not_go_together_is_said(call, arguments, message):
    call("coat", "rail", now=LAID)
    code, _, err = call("coat", "rail", *arguments, now="2026-06-03T20:00+02:00")
    assert code == 2
    assert message in " ".join(err.split())


def test_without_a_coat_there_is_nothing_to_see(call):
    code, _, err = call("coat", "rail", "--sandable-now", now=LAID)
    assert (code, err) == (2, "dryspell: no coat of rail is recorded, so none can be sandable\n")
