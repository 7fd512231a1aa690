"""Past years behind the forecast: asked for seldom, out of the archive or the record kept here, in the plans."""

import json
import random
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
import responses

from dryspell.alerts.deliver import Delivery
from dryspell.clock import FixedClock
from dryspell.store import Store
from dryspell.tick.gather import Gatherer
from dryspell.tick.past_years import DAYS, PastYears
from dryspell.tick.plans import Planner, plans
from dryspell.tick.round import Round
from yard import START, FakeSource, Taken, config, weather

URL = "https://archive-api.open-meteo.com/v1/archive"
DAY = timedelta(days=1)
NO_ARCHIVE = "[weather]\nopen-meteo-archive.years = 0\n"
NOTHING = "no archive of past weather is asked, and the record kept here goes back less than a year"


class Archive:
    """Answers with mild dry hours for the dates asked for; where `down`, with an error."""

    def __init__(self, web):
        self.asked, self.down = [], False
        web.add_callback(responses.GET, URL, self.answer)

    def answer(self, request):
        query = {name: values[0] for name, values in parse_qs(urlsplit(request.url).query).items()}
        first, last = (date.fromisoformat(query[name]) for name in ("start_date", "end_date"))
        self.asked.append((query["latitude"], first.year))
        if self.down:
            return 503, {}, ""
        hours = 24 * ((last - first).days + 1)
        begin = int(datetime(first.year, first.month, first.day, tzinfo=UTC).timestamp())
        values = {
            "temperature_2m": ("°C", 18.0),
            "relative_humidity_2m": ("%", 55.0),
            "dew_point_2m": ("°C", 8.8),
            "wind_speed_10m": ("m/s", 2.0),
            "precipitation": ("mm", 0.0),
            "cloud_cover": ("%", 40.0),
        }
        body = {
            "hourly_units": {"time": "unixtime"} | {name: unit for name, (unit, _) in values.items()},
            "hourly": {"time": [begin + 3600 * hour for hour in range(hours)]}
            | {name: [value] * hours for name, (_, value) in values.items()},
        }
        return 200, {}, json.dumps(body)


@pytest.fixture
def archive():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield Archive(mock)


@pytest.fixture
def store(tmp_path):
    store = Store(tmp_path / "state" / "dryspell.sqlite3")
    yield store
    store.close()


def looked(past, of, now=START):
    """Return the plans of two pieces in three days of forecast, which is too few for their coats."""
    table = weather(now, hours=24 * 5)
    tables = dict.fromkeys(of.site, table)
    made = plans(of, {}, tables, now, {})
    return past.added_to(made, of, {}, tables, now)


def test_ten_past_years_are_asked_for_once_a_site_and_dates_come_of_them(archive, tmp_path, store):
    of = config(tmp_path, "weather.open-meteo-archive.years = 3")
    past = PastYears(of, store)
    made = looked(past, of)
    # The days behind the forecast reach into the year after each.
    assert {year for _, year in archive.asked} == {2023, 2024, 2025, 2026}
    assert len(archive.asked) == len(set(archive.asked)) == 8
    for plan in made.plans:
        assert plan.unplanned
        assert plan.weather.reaches < plan.beyond.built_up_50_at <= plan.beyond.built_up_90_at
        assert (plan.beyond.years, plan.beyond.source) == (3, "Open-Meteo archive")
        assert "Copernicus" in plan.beyond.attribution
    again = looked(past, of, START + timedelta(hours=2))
    assert past.at_hand(again, START + timedelta(hours=2))
    assert len(archive.asked) == 8, "nobody is asked twice a day"
    assert not past.at_hand(again, START + DAY)


def test_the_next_day_it_is_looked_up_anew_out_of_what_was_kept(archive, tmp_path, store):
    of = config(tmp_path, "weather.open-meteo-archive.years = 2")
    past = PastYears(of, store)
    first = looked(past, of)
    count = len(archive.asked)
    later = looked(past, of, START + 3 * DAY)
    assert [year for _, year in archive.asked[count:]] in ([], [2026, 2026]), "years that are over stay as they are"
    assert later.plans[0].beyond.built_up_50_at > first.plans[0].beyond.built_up_50_at


def test_left_out_the_archive_is_asked_where_open_meteo_gives_the_forecast_and_nowhere_else(tmp_path, store):
    settings = config(tmp_path).weather
    assert settings.years_asked(["open-meteo"]) == settings.years_asked(["table", "open-meteo-ensemble"]) == 10
    assert settings.years_asked(["met-norway", "sensors"]) == 0
    own = config(tmp_path, 'weather.open-meteo.base_url = "http://weather.lan"').weather
    assert own.years_asked(["open-meteo"]) == 0
    assert own.years_asked(["open-meteo-ensemble"]) == 10
    off = config(tmp_path, "weather.open-meteo-archive.years = 0")
    made = looked(PastYears(off, store), off)
    assert {plan.beyond.unknown for plan in made.plans} == {NOTHING}
    unasked = looked(PastYears(config(tmp_path), store, ask=False), config(tmp_path))
    assert {plan.beyond.unknown for plan in unasked.plans} == {NOTHING}


def test_an_archive_that_fails_is_told_of_and_left_alone_for_hours(archive, tmp_path, store):
    archive.down = True
    of = config(tmp_path, "weather.open-meteo-archive.years = 2")
    past = PastYears(of, store)
    made = looked(past, of)
    assert all("503" in plan.beyond.unknown for plan in made.plans)
    count = len(archive.asked)
    looked(past, of, START + timedelta(hours=5))
    assert len(archive.asked) == count
    archive.down = False
    assert all(plan.beyond.built_up_50_at for plan in looked(past, of, START + timedelta(hours=7)).plans)


def test_without_an_archive_the_record_kept_here_serves_once_it_goes_back_a_year(tmp_path, store):
    of = config(tmp_path, "weather.open-meteo-archive.years = 0")
    begin = START - timedelta(days=400)
    for site in of.site:
        store.keep_weather(site, weather(begin, first=begin, hours=24 * 400), START)
    found = looked(PastYears(of, store), of)
    assert [plan.beyond.years for plan in found.plans] == [1, 1]
    assert all(plan.beyond.built_up_50_at == plan.beyond.built_up_90_at is not None for plan in found.plans)
    assert {plan.beyond.source for plan in found.plans} == {"what was kept here"}


def test_in_a_record_of_three_years_each_is_laid_on_the_days_ahead(tmp_path, store):
    """The air is as warm as the day of the month, and tells whose hours they are."""
    begin = START - timedelta(days=3 * 366)
    days = (begin + timedelta(hours=hour) for hour in range(24 * 3 * 366))
    table = weather(begin, first=begin, hours=24 * 3 * 366, air_temperature=18.0)
    warm = np.array([[float(at.day) for at in days]])
    store.keep_weather("harbour", replace(table, columns={**table.columns, "air_temperature": warm}), START)
    past = PastYears(config(tmp_path), store, ask=False)
    years = past._recorded("harbour", START)
    assert len(years) == 3
    for each in years:
        assert each.times[0] == np.datetime64("2026-06-02T10:00:00")
        assert each.times[-1] <= np.datetime64("2026-06-02T10:00:00") + np.timedelta64(DAYS, "D")
        assert each.columns["air_temperature"][0, [0, 13, 14, 24 * 40]].tolist() == [2.0, 2.0, 3.0, 12.0]


@pytest.mark.usefixtures("archive")
def test_the_daemon_shows_them_beside_its_plan_and_keeps_them(tmp_path, store):
    of = config(tmp_path, "weather.open-meteo-archive.years = 2")
    clock, source = FixedClock(START), FakeSource(weather(hours=24 * 5))
    gatherer = Gatherer(of, store, clock, dict.fromkeys(of.site, source), random.Random(1))
    delivery = Delivery(store, Taken(), of.alerts, clock, random.Random(1))
    seen = []
    planner = Planner(store, seen.append, past_years=PastYears(of, store))
    Round(of, store, clock, gatherer, delivery, planner=planner).run(fetch_wait_s=30)
    assert planner.wait(60)
    assert [[plan.beyond is None for plan in made.plans] for made in seen] == [[True, True], [False, False]]
    assert all(plan.beyond.built_up_50_at for plan in planner.latest.plans)
    assert store.plans() == {plan.piece: plan for plan in planner.latest.plans}


@pytest.mark.usefixtures("archive")
def test_a_piece_that_cannot_be_looked_at_leaves_the_plans_as_they_are(tmp_path, store, monkeypatch, caplog):
    of = config(tmp_path, "weather.open-meteo-archive.years = 2")

    def failing(*_):
        raise ValueError("no such day")

    monkeypatch.setattr("dryspell.tick.past_years.beyond_of", failing)
    made = looked(PastYears(of, store), of)
    assert {plan.beyond.unknown for plan in made.plans} == {"it could not be worked out; the log says why"}
    assert "rail could not be planned beyond the forecast" in caplog.text
