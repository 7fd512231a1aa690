from datetime import timedelta

import numpy as np

from bench.bench_record import build
from dryspell.store import Store
from dryspell.store.readings import Checked
from dryspell.store.record import CHAIN
from dryspell.weather.flags import Flag
from dryspell.weather.sensors.reading import Reading
from dryspell.weather.table import WeatherTable
from store.moment import NOW

HOUR = timedelta(hours=1)
KEEP = timedelta(days=400)


def issue(at, columns, *, before=0, step=1, source="a service", **about):
    """Return a forecast whose hours begin at its issue, or so many hours before it."""
    size = np.atleast_2d(next(iter(columns.values()))).shape[1]
    first = np.datetime64(int((at - before * HOUR).timestamp()), "s")
    times = first + np.arange(size) * np.timedelta64(step * 3600, "s")
    rows = {name: np.atleast_2d(np.asarray(values, dtype=np.float64)) for name, values in columns.items()}
    return WeatherTable(times, rows, source, at, **about)


def air(values):
    return {"air_temperature": values}


def keep(store, at, columns, **how):
    return store.keep_issue("mooring", issue(at, columns, **how), at)


def read(store, hour, value, variable="air_temperature", flag=Flag.GOOD):
    at = NOW + hour * HOUR
    store.keep_readings([Checked("mooring", "", Reading("mast", variable, at, value), flag)])


def issues(store, start=NOW, end=NOW + 99 * HOUR, **how):
    return list(store.issues_between("mooring", start, end, **how))


def test_a_forecast_comes_back_as_issued_with_what_it_said_of_itself(store):
    coarse = np.array([False, False, True])
    about = {"attribution": "by é", "notes": ("one",), "filled": {"air_temperature": "another"}, "coarse": coarse}
    assert keep(store, NOW, air([1.2, np.nan, 3.4]) | {"wind_speed": [0.25, 1.0, 2.0]}, **about)
    (back,) = issues(store)
    np.testing.assert_allclose(back.columns["air_temperature"], [[1.2, np.nan, 3.4]])
    np.testing.assert_allclose(back.columns["wind_speed"], [[0.25, 1.0, 2.0]])
    assert (back.source, back.issued_at, back.attribution, back.notes) == ("a service", NOW, "by é", ("one",))
    assert back.filled == {"air_temperature": "another"}
    assert back.coarse.tolist() == coarse.tolist()
    assert issues(store, NOW + HOUR) == []
    assert issues(store, source="another") == []
    assert list(store.issues_between("barn", NOW, NOW)) == []


def test_only_what_lay_ahead_is_kept_with_the_step_that_holds_the_issue(store):
    keep(store, NOW + 0.5 * HOUR, air([1.0, 2.0, 3.0, 4.0]), before=2.5)
    (back,) = issues(store)
    assert back.times[0] == np.datetime64("2026-06-02T12:00:00")
    np.testing.assert_allclose(back.columns["air_temperature"], [[3.0, 4.0]])


def test_the_same_issue_is_kept_once(store):
    assert keep(store, NOW, air([1.0, 2.0]))
    assert not keep(store, NOW, air([1.0, 2.0]))
    assert keep(store, NOW, air([1.0, 2.0]), source="another")
    assert [table.source for table in issues(store)] == ["a service", "another"]


def test_a_long_run_of_issues_comes_back_each_as_it_was(store, path):
    rng = np.random.default_rng(2)
    given = {}
    for hour in range(2 * CHAIN + 5):
        values = np.round(rng.normal(10, 5, 30 - hour % 3), 1)
        given[NOW + hour * HOUR] = values
        keep(store, NOW + hour * HOUR, air(values))
    other = Store(path)
    back = issues(other)
    other.close()
    assert [table.issued_at for table in back] == list(given)
    for table, values in zip(back, given.values(), strict=True):
        np.testing.assert_allclose(table.columns["air_temperature"], values[np.newaxis], atol=1e-9)


def test_of_an_ensemble_the_middle_and_the_edges_are_kept(store):
    members = np.stack([np.arange(11.0), np.full(11, np.nan)], axis=1)
    keep(store, NOW, air(members))
    (back,) = issues(store)
    # The quantiles of 0 to 10 by linear interpolation are 1, 5 and 9.
    np.testing.assert_allclose(back.columns["air_temperature"], [[1, np.nan], [5, np.nan], [9, np.nan]])
    assert back.notes == ("the 10, 50 and 90 % of 11 members",)


def test_issues_go_chain_by_chain_when_their_time_is_over(store):
    for hour in range(CHAIN + 2):
        keep(store, NOW + hour * HOUR, air([1.0, 2.0]))
    assert not store.tidy(NOW + KEEP + (CHAIN - 1) * HOUR, readings=KEEP, issues=KEEP)
    assert store.tidy(NOW + KEEP + CHAIN * HOUR, readings=KEEP, issues=KEEP)
    assert [table.issued_at for table in issues(store)] == [NOW + CHAIN * HOUR, NOW + (CHAIN + 1) * HOUR]


def test_a_damaged_issue_is_said_to_be_and_the_record_goes_on(store, caplog):
    keep(store, NOW, air([1.0, 2.0]))
    keep(store, NOW + HOUR, air([1.0, 2.0]))
    with store._transaction() as connection:
        connection.execute("UPDATE issues SET body = x'00ff' WHERE issued_at = ?", (int((NOW + HOUR).timestamp()),))
    keep(store, NOW + 2 * HOUR, air([1.0, 2.0]))
    assert [table.issued_at for table in issues(store)] == [NOW, NOW + 2 * HOUR]
    assert "forecast issued at 2026-06-02 13:00:00+00:00" in caplog.text


def test_history_has_for_each_hour_the_latest_forecast_made_so_far_ahead(store):
    # Issued at hour i, for hour v: 100 i + v.
    for made in range(6):
        keep(store, NOW + made * HOUR, air([100 * made + valid for valid in range(made, 12)]), before=0)
    for hour in range(5, 8):
        read(store, hour, 10.0 + hour)
    past = store.history("mooring", ["air_temperature"], NOW + 7 * HOUR, [1, 4])["air_temperature"]
    # Hour 5: at least 1 h before: hour 4; at least 4 h: hour 1. Hour 6: 5 and 2. Hour 7: 5, two hours before, and 3.
    assert ((past.valid - np.datetime64("2026-06-02T12:00:00")) / np.timedelta64(1, "h")).tolist() == [5, 5, 6, 6, 7, 7]
    assert past.lead_h.tolist() == [1, 4, 1, 4, 2, 4]
    np.testing.assert_allclose(past.forecast, [405, 105, 506, 206, 507, 307])
    assert past.reading.tolist() == [15, 15, 16, 16, 17, 17]


def test_history_has_no_forecast_that_was_made_too_far_ahead_for_its_lead(store):
    keep(store, NOW, air(np.arange(12.0)))
    for hour in range(12):
        read(store, hour, 1.0)
    past = store.history("mooring", ["air_temperature"], NOW + 11 * HOUR, [1, 6])["air_temperature"]
    # 1 h: up to 2.5 h; 6 h: up to 10 h.
    assert past.lead_h.tolist() == [1, 2, 6, 7, 8, 9, 10]


def test_history_goes_by_good_readings_only_and_is_empty_where_there_are_none(store):
    keep(store, NOW, air(np.arange(5.0)))
    read(store, 1, 50.0, flag=Flag.JUMP)
    read(store, 2, 2.5)
    found = store.history("mooring", ["air_temperature", "wind_speed"], NOW + 4 * HOUR, [1])
    assert found["air_temperature"].reading.tolist() == [2.5]
    assert found["wind_speed"].valid.size == 0


def test_a_sum_over_three_hours_is_not_held_against_one_hour_of_rain(store):
    keep(store, NOW, {"precipitation_amount": [0.0, 3.0, 6.0], "air_temperature": [1.0, 2.0, 3.0]}, step=3)
    for hour in range(7):
        read(store, hour, 1.0, "precipitation_amount")
        read(store, hour, 1.0)
    found = store.history("mooring", ["precipitation_amount", "air_temperature"], NOW + 6 * HOUR, [2])
    assert found["precipitation_amount"].valid.size == 0
    assert found["air_temperature"].lead_h.tolist() == [3]


def test_readings_make_a_table_of_a_site_with_the_preferred_sensor_first(store):
    batch = []
    for minute in range(0, 181, 10):
        at = NOW + timedelta(minutes=minute)
        batch.append(Checked("mooring", "", Reading("old", "air_temperature", at, 10.0), Flag.GOOD))
        if minute < 100:
            batch.append(Checked("mooring", "", Reading("new", "air_temperature", at, 20.0), Flag.GOOD))
        batch.append(Checked("mooring", "", Reading("gauge", "precipitation_amount", at, 0.5), Flag.GOOD))
    store.keep_readings(batch)
    table = store.read_weather("mooring", NOW, NOW + 3 * HOUR, sensors=["new", "old", "gauge"])
    assert table.columns["air_temperature"].tolist() == [[20.0, 20.0, 10.0, 10.0]]
    np.testing.assert_allclose(table.columns["precipitation_amount"], [[np.nan, 3.0, 3.0, 3.0]])
    assert table.source == "readings of new, old, gauge"
    assert table.issued_at == NOW + 3 * HOUR
    first = store.read_weather("mooring", NOW, NOW + 3 * HOUR)
    assert first.columns["air_temperature"].tolist() == [[10.0] * 4]
    assert store.read_weather("barn", NOW, NOW + 3 * HOUR) is None


def test_a_year_of_one_site_stays_under_150_megabytes(path):
    # Every value of every issue new, which no service does; three days of the readings are rows not yet packed.
    days = 8
    assert build(path, days, all_new=True)["whole file"] * 365 / days < 150e6
