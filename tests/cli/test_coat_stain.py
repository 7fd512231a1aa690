"""`dryspell coat` of a stain: dry to coat where a film is sandable, 12 h at 18 degC (common practice, no source)."""

import pytest

from cli.mild import mild
from dryspell.cli import main


@pytest.fixture
def yard(tmp_path):
    (tmp_path / "weather.csv").write_text(mild(range(2, 9), cloud_pct=100, issued="2026-06-03T08:00Z"))
    file = tmp_path / "yard.toml"
    file.write_text(
        f"""
        state = "{tmp_path}/state"
        site.harbour = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }}
        weather = {{ sources = ["table"], file = "weather.csv", members = 1 }}
        piece.door = {{ system = "stained", shelter = "roof", sky = "0 %" }}
        [[system.stained.coats]]
        coating = "solvent_stain"
        [[system.stained.coats]]
        coating = "oil_varnish_1k"
        times = 6
        """
    )
    return file


def test_a_stain_is_told_to_be_dry_to_coat_and_never_sandable(yard, capsys):
    assert main(["coat", "door", "--config", str(yard), "--now", "2026-06-03T09:00+02:00"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "dry to coat today 21:" in out or "dry to coat today 20:" in out
    assert "sandable" not in out
    assert "Check with a white cloth: it takes no colour." in out


def test_a_film_over_it_is_sandable_as_any(yard, capsys):
    main(["coat", "door", "--config", str(yard), "--now", "2026-06-03T09:00+02:00"])
    capsys.readouterr()
    assert main(["coat", "door", "--config", str(yard), "--now", "2026-06-04T09:00+02:00"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "sandable" in out
    assert "Check with your thumb." in out
