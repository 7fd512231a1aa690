"""Every recorded Open-Meteo forecast through the whole outlook: no window whose own numbers break a limit."""

from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from dryspell.outlook.cloud import every_way
from dryspell.outlook.conditions import conditions_at
from dryspell.outlook.outlook import make_outlook
from dryspell.weather.checks import as_datetime
from dryspell.weather.sources.open_meteo import decode, read_answer
from outlook.build import built, coating, piece, site
from outlook.plainly import Plain

FOLDER = Path(__file__).resolve().parents[3] / "shared" / "weather-samples" / "open-meteo-forecast"
SAMPLES = sorted(path.name for path in FOLDER.glob("*.json"))
COMPLETE = "newyork-14d-gmt-current-hourly-daily-2025-12-28.json"
# Most of the recordings are of winter: limits and a clock with which there are windows to look into.
WINTER = coating(
    air=["-5 degC", "30 degC"],
    surface=["-5 degC", "28 degC"],
    film_low="-15 degC",
    margin_apply="1 K",
    margin_hold="0.2 K",
    touch_dry={"-10 degC": "2 h", "20 degC": "1 h"},
    dew_safe={"-10 degC": "3 h", "20 degC": "1.5 h"},
    rain_safe={"-10 degC": "4 h", "20 degC": "2 h"},
    sandable={"-10 degC": "20 h", "20 degC": "10 h"},
)

pytestmark = [
    pytest.mark.measured,
    pytest.mark.skipif(not SAMPLES, reason="the recorded samples are not beside this checkout"),
]


def place_of(data):
    first = data[0] if isinstance(data, list) else data
    return site(latitude=f"{first['latitude']} deg", longitude=f"{first['longitude']} deg")


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.parametrize(
    "shape", [{}, {"face": "vertical", "facing": "SW", "shelter": "roof"}, {"cover": "17:00-09:00"}]
)
def test_every_window_of_a_recorded_forecast_keeps_every_limit_by_its_own_numbers(name, shape):
    data = decode((FOLDER / name).read_bytes())
    started = as_datetime(read_answer(data, as_datetime(np.datetime64("2026-01-01T00:00:00"))).times[0])
    table = read_answer(data, started)
    door = piece(hours="00:00-24:00", after_sunrise="0 h", **shape)
    yard = place_of(data)
    outlook = make_outlook(door, yard, built(WINTER), [], table, started, stale_after_h=6)
    if outlook.missing:
        assert (outlook.word, outlook.windows) == ("unknown", ())
        return
    c = conditions_at(door, yard, every_way(table, yard))
    # a first coat on bare wood with fifty parts of thinner
    plains = [Plain(c, WINTER, member, whole=0.8) for member in range(c.air_c.shape[0])]
    passing = {
        window.start + timedelta(seconds=c.step_s * k)
        for window in outlook.windows
        for k in range(int((window.last_start - window.start).total_seconds()) // c.step_s + 1)
    }
    for start, instant in enumerate(c.times):
        verdicts = [plain.verdicts(start, 4, 4, c.times[0], 0.0, 0.0) for plain in plains]
        keeps = all(all(verdict.values()) for verdict in verdicts)
        assert keeps == (as_datetime(instant) in passing), (instant, verdicts)


def test_the_one_complete_recording_has_windows_and_starts_that_are_not():
    data = decode((FOLDER / COMPLETE).read_bytes())
    table = read_answer(data, as_datetime(np.datetime64("2025-12-28T00:00:00")))
    door = piece(face="vertical", facing="N", shelter="roof", hours="00:00-24:00")
    outlook = make_outlook(door, place_of(data), built(WINTER), [], table, table.issued_at, stale_after_h=6)
    assert outlook.windows
    assert len({block.reason.limit for block in outlook.blocks}) >= 3
