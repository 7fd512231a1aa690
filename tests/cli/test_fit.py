"""`dryspell fit`: a probe's log in, lines for the configuration out, or why not."""

import json
import re
import tomllib
from contextlib import closing
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from dryspell.cli import main
from dryspell.config import load
from dryspell.outlook.conditions import conditions_at, face_weather
from dryspell.science.air import relative_humidity
from dryspell.store.readings import Checked
from dryspell.store.store import open_store
from dryspell.weather.checks import as_datetime
from dryspell.weather.flags import Flag
from dryspell.weather.sensors.reading import Reading
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
    head = [f"{name} [{unit}]" for name, unit in HEAD.items()][: table.shape[1]] if table is not None else []
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
    return surface


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
    assert "rail: the readings do not tell how it stands (no clear nights)" in capsys.readouterr().out
    fit(place, "--json", code=1)
    assert json.loads(capsys.readouterr().out)["refused"] == "no clear nights"


SHED = 'shelter = "shed"\n'
SHED_TRUTH = SHED + 'lag = "5 h"\nair_changes = "0.4 / hour"'


@pytest.fixture
def shed(place):
    """Make the piece one in a shed; `shed(days)` is what was read in it: instants, temperatures and humidities."""
    (place / "truth.toml").write_text(CONFIG.format(keys=SHED_TRUTH), "utf-8")
    (place / "guess.toml").write_text(CONFIG.format(keys=SHED), "utf-8")

    def read(days=10, **truth):
        write(place / "weather.csv", rows(days))
        config = load(place / "truth.toml", secrets=False)
        piece = config.piece["rail"].model_copy(update=truth)
        w = face_weather(piece, config.site_of(piece), TableFile(place / "weather.csv").fetch(START))
        air_c, dew_c = w.air_c[0, ::4], w.dew_point_c[0, ::4]
        air_c = air_c + np.random.default_rng(5).normal(0.0, 0.1, air_c.size)
        humidity = np.minimum(relative_humidity(air_c, np.minimum(dew_c, air_c)), 100.0)
        return w.times[::4], air_c, humidity

    return read


def write_inside(path, times, air_c, humidity=None):
    head = "time,air_temperature [degC]" + ("" if humidity is None else ",relative_humidity [percent]")
    more = [""] * times.size if humidity is None else [f",{value:.1f}" for value in humidity]
    lines = [f"{at}Z,{value:.2f}{rest}" for at, value, rest in zip(times, air_c, more, strict=True)]
    path.write_text("\n".join(["# issued 2026-06-15T00:00Z", head, *lines]) + "\n", "utf-8")


def test_a_sensor_in_a_shed_tells_how_its_air_is_behind_and_how_often_it_is_changed(place, shed, capsys):
    write_inside(place / "probe.csv", *shed())
    fit(place, "--weather", str(place / "weather.csv"))
    text = capsys.readouterr().out
    found = tomllib.loads(text)["piece"]["rail"]
    assert set(found) == {"lag", "air_changes"}
    pasted = CONFIG.format(keys=SHED + "\n".join(f'{key} = "{value}"' for key, value in found.items()))
    (place / "pasted.toml").write_text(pasted, "utf-8")
    piece = load(place / "pasted.toml", secrets=False).piece["rail"]
    assert piece.lag_h == pytest.approx(5.0, abs=0.3)
    assert piece.air_changes_per_h == pytest.approx(0.4, abs=0.05)
    assert re.search(r"# air inside, \d{3} readings: off by 0\.[0-2] K \(RMSE\)", text)
    assert "the air outdoors off by" in text
    assert max(map(len, text.splitlines())) <= 80


def test_a_thermometer_alone_in_a_shed_leaves_the_changes_of_air_and_says_so(place, shed, capsys):
    times, air_c, _ = shed()
    write_inside(place / "probe.csv", times, air_c + 2.0)
    fit(place, "--weather", str(place / "weather.csv"))
    text = capsys.readouterr().out
    assert set(tomllib.loads(text)["piece"]["rail"]) == {"lag"}
    assert "# how often its air is changed is not told; left at 1.5 / hour" in text
    assert "# inside it was 2.0 K warmer throughout than these say; if a heater" in text
    assert "dew point" not in text


def test_the_sun_on_a_shut_shed_is_told_too(place, shed, capsys):
    (place / "guess.toml").write_text(CONFIG.format(keys=SHED + "shut_by_day = true"), "utf-8")
    write_inside(place / "probe.csv", *shed(shut_by_day=True, sun_warmth_k_m2_w=0.01))
    fit(place, "--weather", str(place / "weather.csv"), "--json")
    document = json.loads(capsys.readouterr().out)
    assert (document["schema"], document["of"]) == ("dryspell.fit/1", "shelter")
    keys = {key["key"]: key for key in document["keys"]}
    assert keys["sun_warmth"]["value"] == pytest.approx(10.0, abs=1.0)
    assert keys["sun_warmth"]["error"] < 1.0
    assert keys["lag"]["value"] == pytest.approx(5.0, abs=0.5)
    assert document["air"]["after"]["rmse_k"] < 0.3 < document["air"]["before"]["rmse_k"]


def test_the_sun_is_not_taken_for_a_lag_where_the_shed_is_opened_by_day(place, shed, capsys):
    write_inside(place / "probe.csv", *shed(shut_by_day=True, sun_warmth_k_m2_w=0.01))
    fit(place, "--weather", str(place / "weather.csv"))
    text = capsys.readouterr().out
    found = tomllib.loads(text)["piece"]["rail"]
    assert set(found) == {"lag", "air_changes"}
    assert float(found["lag"].removesuffix(" h")) == pytest.approx(5.0, abs=0.5)
    assert re.search(r"# the sun warmed it by (9|10|11)\.\d K for each kW/m2, which is left out", text)


def test_a_shed_is_refused_where_the_readings_do_not_tell(place, shed, capsys):
    write_inside(place / "probe.csv", *shed(days=2))
    fit(place, "--weather", str(place / "weather.csv"), code=1)
    said = capsys.readouterr().out
    assert said.startswith("rail: the readings do not tell how the air in its shed goes (too short): ")
    times, air_c, humidity = shed()
    write_inside(place / "probe.csv", times, np.random.default_rng(6).uniform(15, 25, air_c.size), humidity)
    fit(place, "--weather", str(place / "weather.csv"), "--json", code=1)
    assert json.loads(capsys.readouterr().out)["refused"] == "not determined"


def keep(place, read):
    """Keep readings of a sensor in or on the piece, as the daemon does."""
    config = load(place / "guess.toml", secrets=False)
    with closing(open_store(config.state_dir)) as store:
        outdoors = TableFile(place / "weather.csv").fetch(START)
        store.keep_weather("yard", outdoors, START + timedelta(days=20))
        store.keep_readings(
            Checked("yard", "rail", Reading("probe", name, as_datetime(at), float(value)), flag)
            for name, (times, values) in read.items()
            for at, value in zip(times, values, strict=True)
            for flag in [Flag.GOOD if value < 90.0 or name != "air_temperature" else Flag.SPIKE]
        )


NOW = "2026-06-12T12:00Z"


def fit_kept(place, *more, code=0, now=NOW):
    assert main(["fit", "rail", "--config", str(place / "guess.toml"), "--now", now, *more]) == code


def test_readings_that_were_kept_of_a_sensor_in_the_shed_serve_without_a_log(place, shed, capsys):
    times, air_c, humidity = shed()
    air_c[50] = 95.0  # flagged, and so not used
    keep(place, {"air_temperature": (times, air_c), "relative_humidity": (times, humidity)})
    fit_kept(place)
    found = tomllib.loads(capsys.readouterr().out)["piece"]["rail"]
    assert float(found["lag"].removesuffix(" h")) == pytest.approx(5.0, abs=0.3)
    assert float(found["air_changes"].removesuffix(" / hour")) == pytest.approx(0.4, abs=0.05)


def test_readings_that_were_kept_of_a_probe_on_the_piece_serve_without_a_log(place, capsys):
    surface = log(place)
    times = TableFile(place / "weather.csv").fetch(START).times
    keep(place, {"surface_temperature": (times, surface)})
    fit_kept(place)
    found = tomllib.loads(capsys.readouterr().out)["piece"]["rail"]
    assert float(found["wind_share"].removesuffix(" %")) == pytest.approx(30, abs=5)


def test_nothing_read_lately_is_told_and_no_state_is_made_for_it(place, capsys):
    fit_kept(place, code=2)
    assert "no sensor of rail has been read in the last 30 days; name a LOG" in capsys.readouterr().err
    assert not (place / "state").exists()
    log(place)
    keep(place, {"surface_temperature": (np.array(["2026-06-03T00:00"], "datetime64[s]"), [12.0])})
    fit_kept(place, code=2, now="2026-08-12T12:00Z")
    assert "in the last 30 days" in capsys.readouterr().err


def test_weather_that_was_not_kept_is_asked_for(place, shed, capsys):
    write_inside(place / "probe.csv", *shed())
    fit(place, code=2)
    assert "no weather of yard is kept from 2026-06-01T00:00:00Z on; name a table file" in capsys.readouterr().err
    write(place / "weather.csv", rows(10)[:, :1])
    fit(place, "--weather", str(place / "weather.csv"), code=2)
    assert "does not know relative_humidity; name another with --weather FILE" in capsys.readouterr().err


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
