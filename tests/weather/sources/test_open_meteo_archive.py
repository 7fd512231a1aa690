"""The historical archive: what has been, asked for seldom, and the same days of years past."""

from datetime import UTC, date, datetime, timedelta, timezone
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
import responses

from dryspell.errors import WeatherError
from dryspell.weather.sources.open_meteo_archive import OpenMeteoArchive

URL = "https://archive-api.open-meteo.com/v1/archive"
HOUR = np.timedelta64(1, "h")
DAY = timedelta(days=1)


def utc(*parts):
    return datetime(*parts, tzinfo=UTC)


class Archive:
    """Answers as the service does: every hour of the dates asked for, in UTC; the temperature tells which hour it is.

    It is the day of the month, and the hour in hundredths. What lies after `until` is not in yet.
    """

    def __init__(self, web):
        self.asked = []
        self.until = utc(2100, 1, 1)
        self.refuses = set()
        web.add_callback(responses.GET, URL, self.answer)

    def answer(self, request):
        query = {name: values[0] for name, values in parse_qs(urlsplit(request.url).query).items()}
        first, last = (date.fromisoformat(query[name]) for name in ("start_date", "end_date"))
        self.asked.append((first, last))
        if first.year in self.refuses:
            return 429, {}, '{"error": true, "reason": "Hourly API request limit exceeded. Please try again later."}'
        start = datetime(first.year, first.month, first.day, tzinfo=UTC)
        hours = [start + timedelta(hours=hour) for hour in range(24 * ((last - first).days + 1))]
        values = [f"{hour.day + hour.hour / 100:.2f}" if hour <= self.until else "null" for hour in hours]
        times = ",".join(str(int(hour.timestamp())) for hour in hours)
        units = '{"time": "unixtime", "temperature_2m": "°C"}'
        return (
            200,
            {},
            f'{{"hourly_units": {units}, "hourly": {{"time": [{times}], "temperature_2m": [{",".join(values)}]}}}}',
        )


@pytest.fixture
def archive():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield Archive(mock)


@pytest.fixture
def source(make_cache):
    return OpenMeteoArchive(54.32331, 10.13944, make_cache())


def stamps(table):
    return [datetime.fromtimestamp(int(at.astype(np.int64)), UTC) for at in table.times[[0, -1]]]


def assert_each_hour_is_its_own(table):
    """Every row tells the hour it is for, and none is missing between."""
    assert (np.diff(table.times) == HOUR).all()
    for at, value in zip(table.times.tolist(), table.column("air_temperature")[0].tolist(), strict=True):
        assert value == pytest.approx(at.day + at.hour / 100)


# --- past ---


def test_the_past_is_asked_for_in_whole_days_and_cut_to_the_hours_wanted(archive, source):
    table = source.past(utc(2026, 3, 1, 6), utc(2026, 3, 4, 9), utc(2026, 6, 1, 12))
    assert archive.asked == [(date(2026, 3, 1), date(2026, 3, 4))]
    assert stamps(table) == [utc(2026, 3, 1, 6), utc(2026, 3, 4, 9)]
    assert_each_hour_is_its_own(table)
    assert (table.source, table.issued_at) == ("Open-Meteo archive", utc(2026, 6, 1, 12))
    assert "Open-Meteo.com" in table.attribution
    assert "Copernicus" in table.attribution
    assert table.notes == ()


def test_an_instant_of_another_zone_is_the_same_instant(archive, source):
    zone = timezone(timedelta(hours=13))
    table = source.past(datetime(2026, 3, 1, 6, tzinfo=zone), datetime(2026, 3, 2, 6, tzinfo=zone), utc(2026, 6, 1))
    assert archive.asked == [(date(2026, 2, 28), date(2026, 3, 1))]
    assert stamps(table) == [utc(2026, 2, 28, 17), utc(2026, 3, 1, 17)]


def test_what_is_to_come_is_not_asked_for_and_what_has_not_come_in_is_unknown(archive, source):
    archive.until = utc(2026, 5, 30)
    table = source.past(utc(2026, 5, 28), utc(2026, 6, 9), utc(2026, 6, 1, 12))
    assert archive.asked == [(date(2026, 5, 28), date(2026, 6, 1))]
    assert stamps(table) == [utc(2026, 5, 28), utc(2026, 6, 1, 12)]
    known = np.isfinite(table.column("air_temperature")[0])
    assert known.tolist() == [True] * 49 + [False] * 60
    with pytest.raises(WeatherError, match=r"holds what has been, and 2026-06-02T00:00Z is to come"):
        source.past(utc(2026, 6, 2), utc(2026, 6, 3), utc(2026, 6, 1, 12))


def test_nothing_is_asked_of_the_time_before_the_archive(archive, source):
    with pytest.raises(WeatherError, match=r"begins in 1940, and not by 1939-12-31T00:00Z"):
        source.past(utc(1939, 12, 31), utc(1940, 1, 3), utc(2026, 6, 1))
    assert archive.asked == []


@pytest.mark.parametrize(
    ("start", "end"),
    [(utc(2026, 1, 2), utc(2026, 1, 2)), (utc(2026, 1, 2), utc(2026, 1, 1)), (datetime(2026, 1, 1), utc(2026, 1, 2))],  # noqa: DTZ001  (what is refused)
)
def test_a_span_that_is_none_is_refused(source, start, end):
    with pytest.raises(ValueError, match="need their offsets from UTC, and end to be after start"):
        source.past(start, end, utc(2026, 6, 1))


@pytest.mark.parametrize(
    ("end", "kept_days"),
    [(utc(2026, 5, 31), 1), (utc(2026, 5, 1), 10), (utc(2026, 1, 1), 365), (utc(2016, 1, 1), 365)],
)
def test_what_has_long_been_is_asked_for_once_a_year_and_the_last_days_once_a_day(archive, source, end, kept_days):
    now = utc(2026, 6, 1, 12)
    for later in (timedelta(0), (kept_days - 0.01) * DAY):
        source.past(end - DAY, end, now + later)
    assert len(archive.asked) == 1
    source.past(end - DAY, end, now + kept_days * DAY)
    assert len(archive.asked) == 2


# --- the same days of years past ---


def test_the_same_days_of_ten_years_have_the_same_dates_and_hours(archive, source):
    tables = source.same_days(utc(2026, 6, 10, 9, 40), 45)
    assert [stamps(table) for table in tables] == [
        [utc(year, 6, 10, 9), utc(year, 7, 25, 9)] for year in range(2025, 2015, -1)
    ]
    for table in tables:
        assert_each_hour_is_its_own(table)
        assert table.times.size == 45 * 24 + 1
    assert archive.asked == [(date(year, 1, 1), date(year, 12, 31)) for year in range(2025, 2015, -1)]


def test_every_day_of_a_year_asks_for_the_years_past_once(archive, source):
    for day in (0, 1, 30, 100, 200):
        source.same_days(utc(2026, 5, 1, 6) + day * DAY, 30, years=3)
    assert len(archive.asked) == len(set(archive.asked)) == 3


def test_a_new_process_asks_for_nothing_that_is_kept(archive, make_cache):
    for _ in range(2):
        OpenMeteoArchive(54.3, 10.2, make_cache()).same_days(utc(2026, 6, 10), 10, years=2)
    assert len(archive.asked) == 2


def test_across_the_new_year_the_years_on_both_sides_make_one_table(archive, source):
    tables = source.same_days(utc(2026, 12, 20), 30, years=3)
    assert [stamps(table) for table in tables] == [
        [utc(2025, 12, 20), utc(2026, 1, 19)],
        [utc(2024, 12, 20), utc(2025, 1, 19)],
        [utc(2023, 12, 20), utc(2024, 1, 19)],
    ]
    for table in tables:
        assert_each_hour_is_its_own(table)
    # Of the present year the months that are over, so that the request stays the same for a month.
    assert archive.asked == [
        (date(2026, 1, 1), date(2026, 11, 30)),
        *((date(year, 1, 1), date(year, 12, 31)) for year in (2025, 2024, 2023)),
    ]


@pytest.mark.usefixtures("archive")
def test_on_a_leap_day_years_without_one_begin_on_the_28th(source):
    tables = source.same_days(utc(2028, 2, 29, 6), 3, years=4)
    assert [stamps(table) for table in tables] == [
        [utc(2027, 2, 28, 6), utc(2027, 3, 3, 6)],
        [utc(2026, 2, 28, 6), utc(2026, 3, 3, 6)],
        [utc(2025, 2, 28, 6), utc(2025, 3, 3, 6)],
        [utc(2024, 2, 29, 6), utc(2024, 3, 3, 6)],
    ]
    for table in tables:
        assert_each_hour_is_its_own(table)


@pytest.mark.usefixtures("archive")
def test_across_a_leap_day_all_years_are_equally_long(source):
    tables = source.same_days(utc(2026, 2, 20), 20, years=3)
    assert [stamps(table)[1] for table in tables] == [utc(2025, 3, 12), utc(2024, 3, 11), utc(2023, 3, 12)]
    assert {table.times.size for table in tables} == {20 * 24 + 1}


def test_the_farthest_look_ahead_is_over_last_year_whatever_the_date(archive, source):
    for month in range(1, 13):
        now = utc(2026, month, 1)
        (table,) = source.same_days(now, 330, years=1)
        assert stamps(table) == [utc(2025, month, 1), utc(2025, month, 1) + 330 * DAY]
        assert all(last < now.date() for _, last in archive.asked)


@pytest.mark.parametrize(("days", "years"), [(0, 10), (331, 10), (30, 0), (30, 86)])
def test_more_than_there_is_is_refused(source, days, years):
    with pytest.raises(ValueError, match="days_ahead to be 1 to 330"):
        source.same_days(utc(2026, 6, 1), days, years)


def test_a_year_that_cannot_be_had_is_said_and_the_others_are_not_asked_for_again(archive, source):
    archive.refuses = {2024}
    with pytest.raises(WeatherError, match="Hourly API request limit exceeded") as caught:
        source.same_days(utc(2026, 6, 10, 12), 10, years=3)
    assert caught.value.retry_after_s == pytest.approx(3720 + 30)  # the next full hour and two minutes, with the spread
    assert [first.year for first, _ in archive.asked] == [2025, 2024]  # it is left alone after a refusal
    archive.refuses = set()
    assert len(source.same_days(utc(2026, 6, 10, 14), 10, years=3)) == 3
    assert [first.year for first, _ in archive.asked] == [2025, 2024, 2024, 2023]


def test_the_request_says_what_the_others_do_but_asks_for_no_chance_of_rain(make_cache):
    with responses.RequestsMock() as mock:
        Archive(mock)
        source = OpenMeteoArchive(54.32331, 10.13944, make_cache(), sea=True)
        source.past(utc(2026, 3, 1), utc(2026, 3, 2), utc(2026, 6, 1))
        query = parse_qs(urlsplit(mock.calls[0].request.url).query)
    variables = query.pop("hourly")[0].split(",")
    assert len(variables) == 11
    assert "precipitation_probability" not in variables
    assert query == {
        "latitude": ["54.3233"],
        "longitude": ["10.1394"],
        "wind_speed_unit": ["ms"],
        "timeformat": ["unixtime"],
        "timezone": ["GMT"],
        "cell_selection": ["sea"],
        "start_date": ["2026-03-01"],
        "end_date": ["2026-03-02"],
    }
