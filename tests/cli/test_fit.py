"""`dryspell fit`: a probe's log in, lines for the configuration out, or why not."""

import json
import tomllib
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from dryspell.cli import main
from dryspell.config import load
from dryspell.outlook.conditions import conditions_at
from dryspell.store.store import open_store
from dryspell.weather.sources.table_file import TableFile

CONFIG = """
contact = "you@example.org"
state = "state"
site.yard = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }}
[piece.rail]
coating = "oil_varnish_1k"
{keys}
"""
TRUTH = 'wind_share = "30 %"\nback_conductance = "2.5 W/m^2/K"\nsky = "60 %"'
START = datetime(2026, 6, 1, tzinfo=UTC)
HEAD = {
    "air_temperature": "degC",
    "dew_point_temperature": "degC",
    "wind_speed": "m/s",
    "cloud_area_fraction": "percent",
    "precipitation_amount": "mm",
}


@pytest.fixture
def place(tmp_path):
    (tmp_path / "truth.toml").write_text(CONFIG.format(keys=TRUTH), "utf-8")
    (tmp_path / "guess.toml").write_text(CONFIG.format(keys=""), "utf-8")
    return tmp_path


def rows(days, cloud=None):
    rng = np.random.default_rng(3)
    hours = np.arange(24 * days + 1)
    points = np.arange(0, hours.size + 12, 12)

    def wandering(low, high):
        return np.interp(hours, points, rng.uniform(low, high, points.size))

    air = 14 + 5 * np.cos(2 * np.pi * (hours - 14) / 24) + wandering(-2, 2)
    dew = np.minimum(wandering(4, 9), air - 1)
    sky = wandering(0, 100) if cloud is None else np.full(hours.size, cloud)
    return np.stack([air, dew, wandering(0.3, 6), sky, np.zeros(hours.size)], axis=1)


def write(path, table, surface=None):
    head = [f"{name} [{unit}]" for name, unit in HEAD.items()] if table is not None else []
    head += ["surface_temperature [degF]"] if surface is not None else []
    count = len(surface if table is None else table)
    lines = ["# issued 2026-06-10T00:00Z", ",".join(["time", *head])]
    for k in range(count):
        cells = [] if table is None else [f"{value:.3f}" for value in table[k]]
        cells += [] if surface is None else [f"{surface[k] * 1.8 + 32:.2f}"]
        lines.append(",".join([f"{START + timedelta(hours=k):%Y-%m-%dT%H:%MZ}", *cells]))
    path.write_text("\n".join(lines) + "\n", "utf-8")


def log(place, days=6, cloud=None, *, with_weather=True):
    """Write what a probe on a piece that stands as the truth has it would have read, to a tenth of a kelvin or two."""
    table = rows(days, cloud)
    write(place / "weather.csv", table)
    config = load(place / "truth.toml", secrets=False)
    piece = config.piece["rail"]
    c = conditions_at(piece, config.site_of(piece), TableFile(place / "weather.csv").fetch(START))
    surface = c.surface_c[0, ::4] + np.random.default_rng(4).normal(0, 0.2, len(table))
    write(place / "probe.csv", table if with_weather else None, surface)


def fit(place, *more, code=0):
    assert main(["fit", "rail", str(place / "probe.csv"), "--config", str(place / "guess.toml"), *more]) == code


def test_what_is_printed_can_be_pasted_and_is_near_the_truth(place, capsys):
    log(place)
    fit(place)
    text = capsys.readouterr().out
    found = tomllib.loads(text)["piece"]["rail"]
    assert set(found) == {"wind_share", "back_conductance", "sky"}
    pasted = CONFIG.format(keys="\n".join(f'{key} = "{value}"' for key, value in found.items()))
    (place / "pasted.toml").write_text(pasted, "utf-8")
    piece = load(place / "pasted.toml", secrets=False).piece["rail"]
    assert piece.wind_share_pct == pytest.approx(30, abs=5)
    assert piece.back_conductance_w_m2_k == pytest.approx(2.5, abs=0.6)
    assert piece.sky_pct == pytest.approx(60, abs=6)
    assert "# by night, " in text
    assert "give or take" in text


def test_the_document_has_the_errors_before_and_after(place, capsys):
    log(place)
    fit(place, "--json")
    document = json.loads(capsys.readouterr().out)
    assert document["schema"] == "dryspell.fit/1"
    assert [key["key"] for key in document["keys"]] == ["wind_share", "back_conductance", "sky"]
    assert document["night"]["after"]["rmse_k"] < 0.4 < document["night"]["before"]["rmse_k"]


def test_a_log_without_weather_goes_with_what_was_kept_of_the_forecasts(place, capsys):
    log(place, with_weather=False)
    fit(place, code=2)
    assert "no weather of yard is kept" in capsys.readouterr().err
    config = load(place / "guess.toml", secrets=False)
    store = open_store(config.state_dir)
    store.keep_weather("yard", TableFile(place / "weather.csv").fetch(START), START + timedelta(days=9))
    store.close()
    fit(place)
    assert "wind_share" in capsys.readouterr().out


def test_overcast_nights_are_refused_with_the_reason(place, capsys):
    log(place, cloud=100.0)
    fit(place, code=1)
    assert "rail: the log does not tell how it stands (no clear nights)" in capsys.readouterr().out
    fit(place, "--json", code=1)
    assert json.loads(capsys.readouterr().out)["refused"] == "no clear nights"


def test_what_is_missing_is_told(place, capsys):
    write(place / "probe.csv", rows(3))
    fit(place, code=2)
    assert "has no reading; wanted a column surface_temperature [degC]" in capsys.readouterr().err
    assert main(["fit", "rial", str(place / "probe.csv"), "--config", str(place / "guess.toml")]) == 2
    assert "did you mean rail?" in capsys.readouterr().err
    log(place)
    text = (place / "probe.csv").read_text("utf-8").replace("wind_speed [m/s]", "wind_speed_of_gust [m/s]")
    (place / "probe.csv").write_text(text, "utf-8")
    fit(place, code=2)
    assert "does not know wind_speed; add it to" in capsys.readouterr().err
