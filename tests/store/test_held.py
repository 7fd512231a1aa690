"""What the state takes of memory: no more for a season than for a day, but for what is asked of it."""

import json
import tracemalloc
from datetime import timedelta

import numpy as np
import pytest

from dryspell.outlook.met_model import Met
from dryspell.outlook.model import Foretold, Reason
from dryspell.store.database import CACHE_KIB
from dryspell.store.readings import Checked
from dryspell.tick.config_news import ConfigMemory
from dryspell.weather.flags import Flag
from dryspell.weather.kept import _Head
from dryspell.weather.sensors.reading import Reading
from dryspell.weather.table import WeatherTable
from store.moment import NOW

DAYS = 90
HOURS = 24 * DAYS
LATE = "2026-06-03T08:00:00Z"
SINCE = NOW - timedelta(days=DAYS)
NAMES = ("air_temperature", "relative_humidity", "wind_speed", "precipitation_amount", "cloud_area_fraction")


@pytest.fixture
def peak_of():
    """Call something, and return the most memory that it took with what it returned. [bytes]"""
    tracemalloc.start()

    def peak(call):
        call()  # what is loaded by the first who asks
        tracemalloc.clear_traces()
        kept = call()
        most = tracemalloc.get_traced_memory()[1]
        assert kept is not None
        return most

    yield peak
    tracemalloc.stop()


@pytest.fixture
def season(store):
    """Keep a season of weather, of what was said of it, and three days of readings a minute."""
    times = np.datetime64(SINCE.replace(tzinfo=None), "s") + np.arange(HOURS) * np.timedelta64(3600, "s")
    columns = {name: np.full((1, HOURS), 10.0) + np.arange(HOURS) % 7 for name in NAMES}
    store.keep_weather("harbour", WeatherTable(times, columns, "a source", SINCE), NOW)
    for hour in range(HOURS):
        at = SINCE + timedelta(hours=hour)
        said = [
            Foretold(lead_h=lead, start=at, coat=3, word="tight", share=0.5, is_odds=True, quick=False)
            for lead in range(6)
        ]  # fmt: skip
        store.keep_foretold({"rail": said}, at, since=SINCE)
    store.keep_readings(
        Checked("harbour", "", Reading("mast", "wind_speed", NOW - timedelta(minutes=minute), 2.0), Flag.GOOD)
        for minute in range(3 * 24 * 60)
    )
    return store


def test_a_season_is_read_without_an_object_for_each_of_its_values(season, peak_of):
    # It is a few copies of the columns, and would be thirty of them as tuples.
    copies = 12 * 8
    assert peak_of(lambda: season.past_weather("harbour", SINCE, until=SINCE)) < copies * HOURS * len(NAMES)
    assert peak_of(lambda: season.foretold("rail", SINCE, NOW)) < copies * HOURS * 6
    assert peak_of(lambda: season.readings("harbour", SINCE, NOW)) < copies * 3 * 24 * 60


def test_little_is_kept_of_the_file_in_memory(store):
    (kept,) = store._rows("PRAGMA cache_size")
    assert kept == (-CACHE_KIB,)
    assert CACHE_KIB <= 512


@pytest.mark.parametrize(
    ("model", "named"),
    [
        (ConfigMemory, {"problem": "no such key"}),
        (Reason, {"limit": "wind", "what": "some variable"}),
        (Met, {"began_at": "2026-06-03T08:00:00Z", "forecast": "some service"}),
        (_Head, {"kept": {"url": "", "checked_at": LATE, "next_fetch_at": LATE}, "sha256": "0a1b2c"}),
    ],
)
def test_of_texts_that_are_read_again_and_again_none_is_kept(model, named):
    # pydantic gives the same object again where it has kept it.
    one, other = (getattr(model.model_validate_json(json.dumps(named)), list(named)[-1]) for _ in range(2))
    assert one == other
    assert one is not other
