"""What a site's own readings do to the weather that its pieces are judged by, from the store to the table."""

from datetime import timedelta

import numpy as np
import pytest

from dryspell.clock import FixedClock
from dryspell.outlook.cloud import every_way
from dryspell.store.readings import Checked
from dryspell.store.store import open_store
from dryspell.tick.alone import SensorsAlone
from dryspell.tick.gather import Gatherer
from dryspell.tick.lessons import as_here, learn, say
from dryspell.weather.error_model import ALONE_ERRORS, DEFAULT_ERRORS
from dryspell.weather.flags import Flag
from dryspell.weather.learn_errors import when_corrected
from dryspell.weather.sensors.reading import Reading
from dryspell.weather.table import ALONE
from dryspell.weather.trial import Score
from yard import START, config, weather

HOUR = timedelta(hours=1)


@pytest.fixture
def store(tmp_path):
    kept = open_store(tmp_path / "state")
    yield kept
    kept.close()


def read(store, days, value, *, variable="air_temperature", until=START):
    """Keep a reading an hour: `value` of the hour's number."""
    hours = range(24 * days + 1)
    store.keep_readings(
        Checked("harbour", "", Reading("mast", variable, until - (24 * days - h) * HOUR, value(h)), Flag.GOOD)
        for h in hours
    )


def issue(store, days, **columns):
    """Keep a forecast of mild weather for every six hours of the past days."""
    for back in range(24 * days, 0, -6):
        made = START - back * HOUR
        store.keep_issue("harbour", weather(made, hours=24 * 5, **columns), made)


def test_a_place_that_is_always_warmer_than_its_forecast_is_put_right_and_its_odds_are_narrow(store):
    issue(store, 20)
    noise = np.random.default_rng(1).normal(0.0, 0.4, 24 * 20 + 1)
    read(store, 20, lambda h: 21.0 + float(noise[h]))
    table = weather(START)
    lessons = learn(store, "harbour", table, START)
    assert "air_temperature" in lessons.correction.learned
    here = as_here(table, lessons, store, "harbour", START, members=40)
    ahead = (here.times > np.datetime64("2026-06-02T10:00:00")) & (here.times < np.datetime64("2026-06-03T10:00:00"))
    assert here.members == 40
    assert here.columns["air_temperature"][0, ahead] == pytest.approx(np.full(ahead.sum(), 21.0), abs=0.5)
    spread = here.columns["air_temperature"][:, ahead].std()
    plain = as_here(table, learn(store, "orchard", table, START), store, "orchard", START, members=40)
    assert spread < 0.6 * plain.columns["air_temperature"][:, ahead].std()


def test_the_hours_to_come_lean_on_the_last_reading_even_before_anything_is_learned(store):
    read(store, 1, lambda _: 15.0)
    table = weather(START)
    here = as_here(table, learn(store, "harbour", table, START), store, "harbour", START, members=1)
    at = int(np.searchsorted(here.times, np.datetime64("2026-06-02T11:00:00")))
    assert here.columns["air_temperature"][0, at] < 16.5
    assert here.columns["air_temperature"][0, at + 24] > 17.0


def test_a_place_without_sensors_has_its_forecast_and_the_default_odds(store):
    table = weather(START)
    lessons = learn(store, "harbour", table, START)
    assert (lessons.correction, lessons.errors) == (None, DEFAULT_ERRORS)
    assert as_here(table, lessons, store, "harbour", START, members=1) is table


def test_the_same_forecast_has_the_same_odds_at_every_look(store):
    table = weather(START)
    looks = [
        as_here(table, learn(store, "harbour", table, START), store, "harbour", START, members=10) for _ in range(2)
    ]
    for name, column in looks[0].columns.items():
        assert np.array_equal(column, looks[1].columns[name])


class TestSensorsAlone:
    def source(self, store, folder, **more):
        return SensorsAlone(store, config(folder).site["harbour"], assume_no_rain=False, **more)

    def test_a_site_goes_by_its_own_days(self, store, tmp_path):
        read(store, 8, lambda h: 15.0 + 5.0 * np.cos(h / 12.0 * np.pi))
        table = self.source(store, tmp_path).fetch(START)
        assert table.source == ALONE
        assert not table.knows("precipitation_amount")
        lessons = learn(store, "harbour", table, START)
        assert lessons.errors is not DEFAULT_ERRORS
        assert as_here(table, lessons, store, "harbour", START, members=10).members == 10

    def test_without_a_reading_it_says_so(self, store, tmp_path):
        from dryspell.errors import WeatherError

        for where in (store, None):
            with pytest.raises(WeatherError, match="has read anything yet"):
                self.source(where, tmp_path).fetch(START)

    def test_its_cloud_is_judged_every_way_and_that_of_a_forecast_without_any_is_not(self, store, tmp_path):
        read(store, 8, lambda h: 15.0 + 5.0 * np.cos(h / 12.0 * np.pi))
        place = config(tmp_path).site["harbour"]
        table = self.source(store, tmp_path).fetch(START)
        assert every_way(table, place).members == 4
        forecast = weather(START, cloud_area_fraction=np.nan)
        assert every_way(forecast, place) is forecast

    def test_with_few_days_its_errors_are_the_default_ones(self, store):
        read(store, 2, lambda _: 15.0)
        table = weather(START)
        table = type(table)(table.times, table.columns, ALONE, START)
        assert learn(store, "harbour", table, START).errors is ALONE_ERRORS


def test_what_a_correction_has_put_right_is_no_error_any_more():
    left = when_corrected(DEFAULT_ERRORS, {"air_temperature": Score(raw=3.0, corrected=0.7, hours=500)})
    a_day = int(np.flatnonzero(DEFAULT_ERRORS.leads_h == 24.0)[0])
    was, now = (model.errors["air_temperature"][a_day] for model in (DEFAULT_ERRORS, left))
    assert now == pytest.approx(was * 0.7 / 1.43, rel=0.01)
    assert left.errors["dew_point_temperature"] is DEFAULT_ERRORS.errors["dew_point_temperature"]


def test_readings_change_what_is_ahead_between_two_fetches(store, tmp_path):
    import random

    settings = config(
        tmp_path,
        'sensor.mast = { site = "harbour", file = { path = "mast.csv" }, time = { path = "time" }, '
        'read.air_temperature = { path = "t", unit = "degC" } }',
    )

    class Known:
        name, attribution = "invented", ""

        def fetch(self, _now):
            return weather(START)

    clock = FixedClock(START)
    gatherer = Gatherer(settings, store, clock, dict.fromkeys(settings.site, Known()), random.Random(1))
    before = gatherer.tables({}, wait_s=5.0)["harbour"]
    read(store, 1, lambda _: 12.0, until=START + timedelta(minutes=20))
    gatherer._clock = FixedClock(START + timedelta(minutes=20))
    after = gatherer.tables({}, wait_s=5.0)["harbour"]
    at = int(np.searchsorted(after.times, np.datetime64("2026-06-02T11:00:00")))
    then = int(np.searchsorted(before.times, np.datetime64("2026-06-02T11:00:00")))
    assert after.columns["air_temperature"][0, at] < before.columns["air_temperature"][0, then]


def test_whether_a_variable_is_corrected_is_said_once_and_not_at_every_look(store, caplog):
    table, before = weather(START), None
    issue(store, 2)
    caplog.set_level("INFO", "dryspell.tick.lessons")
    for hours in (10, 11, 12):
        read(store, 2, lambda h: 15.0 + h % 3, until=START + hours * HOUR)
        lessons = learn(store, "harbour", table, START + hours * HOUR)
        say("harbour", lessons, before)
        before = lessons
    (said,) = [record.getMessage() for record in caplog.records if "air_temperature" in record.getMessage()]
    assert said.startswith("air_temperature of harbour is not corrected: there are ")
    assert "nan" not in said
