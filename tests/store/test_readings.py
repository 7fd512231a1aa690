import sqlite3
from datetime import timedelta

import numpy as np
import pytest

from dryspell.errors import StoreError
from dryspell.store import Store
from dryspell.store.readings import ROWS_FOR, Checked
from dryspell.store.schema import MIGRATIONS
from dryspell.weather.flags import Flag
from dryspell.weather.sensors.reading import Reading
from store.moment import NOW

KEEP = timedelta(days=400)


def read(minute, value, *, sensor="mast", variable="air_temperature", flag=Flag.GOOD, piece="", days=0):
    at = NOW + timedelta(minutes=minute, days=days)
    return Checked("mooring", piece, Reading(sensor, variable, at, value), flag)


def found(store, days=2, ahead=timedelta(days=1), **how):
    return store.readings("mooring", NOW - timedelta(days=days), NOW + ahead, **how)


def values(series):
    return series.values.tolist()


def tidy(store, now=NOW, keep=KEEP):
    steps = 0
    while store.tidy(now, readings=keep, issues=keep):
        steps += 1
        assert steps < 1000
    return steps


def table_size(store, table):
    return store._rows(f"SELECT count(*) FROM {table}")[0][0]


def test_readings_come_back_in_order_of_time_with_their_flags(store):
    assert store.keep_readings([read(2, 3.0, flag=Flag.SPIKE), read(0, 1.0), read(1, 2.5)]) == 3
    (series,) = found(store)
    assert (series.sensor, series.variable, values(series)) == ("mast", "air_temperature", [1.0, 2.5, 3.0])
    assert series.flags.tolist() == [Flag.GOOD, Flag.GOOD, Flag.SPIKE]
    assert series.times[1] == np.datetime64("2026-06-02T12:01:00")
    assert values(series.good()) == [1.0, 2.5]


def test_a_reading_that_is_delivered_twice_is_kept_once(store):
    batch = [read(0, 1.0), read(1, 2.0)]
    assert store.keep_readings(batch) == 2
    assert store.keep_readings([*batch, read(2, 3.0)]) == 1
    assert values(found(store)[0]) == [1.0, 2.0, 3.0]


def test_of_two_values_for_one_second_the_first_one_stays(store):
    store.keep_readings([read(0, 1.0)])
    assert store.keep_readings([read(0, 9.0, flag=Flag.JUMP)]) == 0
    (series,) = found(store)
    assert (values(series), series.flags.tolist()) == ([1.0], [Flag.GOOD])


def test_a_flag_can_be_put_on_later(store):
    store.keep_readings([read(0, 1.0)])
    assert store.keep_readings([read(0, 1.0, flag=Flag.SPIKE)]) == 0
    assert found(store)[0].flags.tolist() == [Flag.SPIKE]


def test_a_batch_is_kept_whole_or_not_at_all(store, path):
    with pytest.raises(StoreError):
        store.keep_readings([read(0, 1.0), read(1, object())])
    other = Store(path)
    assert found(other) == []
    other.close()


def test_several_sensors_come_in_the_order_asked_for(store):
    store.keep_readings([read(0, 1.0, sensor="old"), read(0, 2.0, sensor="new"), read(0, 5.0, variable="wind_speed")])
    in_order = [(s.sensor, s.variable) for s in found(store, variable="air_temperature")]
    assert in_order == [("old", "air_temperature"), ("new", "air_temperature")]
    assert [s.sensor for s in found(store, sensors=["new", "old"])] == ["new", "old"]
    assert [s.sensor for s in found(store, sensors=["new"])] == ["new"]


def test_what_is_read_at_a_piece_is_not_the_weather_of_the_site(store):
    store.keep_readings([read(0, 1.0), read(1, 30.0, piece="rail")])
    assert [values(s) for s in found(store)] == [[1.0]]
    assert [values(s) for s in found(store, piece="rail")] == [[30.0]]


def test_the_latest_good_reading_passes_by_a_flagged_one(store):
    store.keep_readings([read(0, 1.0), read(1, 99.0, flag=Flag.RANGE), read(-9, 4.0, variable="wind_speed")])
    latest = store.latest_good("mooring", NOW + timedelta(minutes=5))
    assert [(r.variable, r.value, r.at) for r in latest] == [
        ("air_temperature", 1.0, NOW),
        ("wind_speed", 4.0, NOW - timedelta(minutes=9)),
    ]
    assert store.latest_good("mooring", NOW + timedelta(days=9)) == []


def test_when_a_sensor_was_last_heard_counts_flagged_readings_but_none_from_the_future(store):
    store.keep_readings([read(0, 1.0), read(3, 1.0, flag=Flag.STUCK), read(900, 1.0, flag=Flag.FUTURE)])
    store.keep_readings([read(1, 1.0, variable="wind_speed"), read(7, 1.0, sensor="other")])
    assert store.last_arrivals() == {"mast": NOW + timedelta(minutes=3), "other": NOW + timedelta(minutes=7)}


def test_days_that_are_over_are_packed_and_read_as_before(store):
    for day in range(-8, 1):
        store.keep_readings([read(m, 10.0 + day + m / 10, days=day, flag=Flag(m % 2)) for m in range(-60, 60)])
    before = found(store, days=10)
    assert tidy(store) == 5
    assert table_size(store, "readings") == 120 * (ROWS_FOR.days + 1)
    assert table_size(store, "reading_days") == 5
    (after,) = found(store, days=10)
    for name in ("times", "values", "flags"):
        np.testing.assert_array_equal(getattr(after, name), getattr(before[0], name))


def test_a_reading_that_comes_after_its_day_was_packed_is_not_lost_and_one_that_comes_again_is_not_doubled(store):
    store.keep_readings([read(0, 1.0, days=-8), read(10, 3.0, days=-8)])
    assert tidy(store) == 1
    store.keep_readings([read(0, 1.0, days=-8), read(5, 2.0, days=-8), read(10, 7.0, days=-8)])
    assert values(found(store, days=10)[0]) == [1.0, 2.0, 3.0]
    assert tidy(store) == 1
    assert values(found(store, days=10)[0]) == [1.0, 2.0, 3.0]
    assert table_size(store, "readings") == 0


def test_what_is_older_than_is_kept_goes_whether_it_was_packed_or_not(store):
    store.keep_readings([read(0, 1.0, days=-450), read(0, 2.0, days=-390)])
    tidy(store)
    assert values(found(store, days=500)[0]) == [2.0]
    tidy(store, now=NOW + timedelta(days=20))
    assert found(store, days=500) == []
    assert table_size(store, "reading_days") == 0


def test_each_step_of_tidying_is_small(store):
    store.keep_readings([read(0, 1.0, days=-day) for day in range(4, 40)])
    before = table_size(store, "readings")
    assert store.tidy(NOW, readings=KEEP, issues=KEEP)
    assert table_size(store, "readings") == before - 1


def test_a_damaged_day_is_said_to_be_and_passed_by(store, caplog):
    store.keep_readings([read(0, 1.0, days=-8), read(0, 2.0, days=-1)])
    tidy(store)
    with store._transaction() as connection:
        connection.execute("UPDATE reading_days SET body = x'00ff'")
    assert values(found(store, days=10)[0]) == [2.0]
    assert "cannot be read and is passed by" in caplog.text


def test_a_file_from_before_there_were_readings_is_brought_up_with_what_it_holds(path):
    path.parent.mkdir()
    with sqlite3.connect(path) as connection:
        for migration in MIGRATIONS[:2]:
            for statement in migration:
                connection.execute(statement)
        connection.execute("INSERT INTO weather_met VALUES ('mooring', 1780000000, 'air_temperature', 12.5, 0)")
        connection.execute("INSERT INTO weather_met VALUES ('mooring', 1780003600, 'air_temperature', 13.5, 0)")
        connection.execute("PRAGMA application_id = 0x44525953")
        connection.execute("PRAGMA user_version = 2")
    connection.close()
    store = Store(path)
    assert store.past_weather("mooring", NOW - timedelta(days=30)).columns["air_temperature"].tolist() == [[12.5, 13.5]]
    store.keep_readings([read(0, 1.0)])
    assert values(found(store)[0]) == [1.0]
    store.close()
