import random
import subprocess
import sys
import threading
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest

from dryspell.alerts.deliver import Delivery
from dryspell.alerts.sensors import Trouble
from dryspell.clock import FixedClock
from dryspell.errors import StoreError
from dryspell.store import Store
from dryspell.tick.gather import Gatherer
from dryspell.tick.hub import Hub
from dryspell.tick.round import Round
from dryspell.weather.flags import Flag
from dryspell.weather.quality import Place
from dryspell.weather.sensors.reading import Reading
from yard import START, FakeSource, Taken, config, weather

AIR, DEW, WET, SUN = (
    "air_temperature",
    "dew_point_temperature",
    "relative_humidity",
    "surface_downwelling_shortwave_flux_in_air",
)
MINUTE = timedelta(minutes=1)


@dataclass(frozen=True)
class Listed:
    name: str = "Mast"
    site: str = "harbour"
    piece: str | None = None
    silent_after_s: float = 1800.0


SENSORS = {"mast": Listed(), "probe": Listed("Probe", piece="rail"), "other": Listed("Other", "orchard")}


@pytest.fixture
def store(tmp_path):
    store = Store(tmp_path / "state" / "dryspell.sqlite3")
    yield store
    store.close()


@pytest.fixture
def clock():
    return FixedClock(START)


@pytest.fixture
def hub(store, clock):
    return Hub(SENSORS, store, clock)


def read(minute, value, variable=AIR, sensor="mast"):
    return Reading(sensor, variable, START + minute * MINUTE, value)


def kept(store, variable=AIR, piece="", site="harbour"):
    series = store.readings(site, START - timedelta(days=9), START + timedelta(days=9), piece=piece, variable=variable)
    return [(v, Flag(f)) for each in series for v, f in zip(each.values.tolist(), each.flags.tolist(), strict=True)]


def health(hub, clock, sensor="mast"):
    return next(each for each in hub.health(clock.now()) if each.sensor == sensor)


def feed(hub, clock, minutes, value=None, variable=AIR):
    """Let minutes go by, with a reading in each: moving air, or one value."""
    for minute in range(minutes):
        clock.at += MINUTE
        level = 15 + 0.1 * (minute % 2) + 0.01 * minute if value is None else value
        hub.take([Reading("mast", variable, clock.at, level)])


def test_readings_are_kept_where_their_sensor_is(hub, store):
    hub.take([read(0, 15.0), read(0, 22.0, sensor="probe"), read(0, 14.0, sensor="other")])
    assert kept(store) == [(15.0, Flag.GOOD)]
    assert kept(store, piece="rail") == [(22.0, Flag.GOOD)]
    assert kept(store, site="orchard") == [(14.0, Flag.GOOD)]


def test_a_bad_reading_is_kept_with_its_flag(hub, store):
    hub.take([read(-2, 15.0), read(-1, 85.0), read(0, 15.1)])
    assert kept(store) == [(15.0, Flag.GOOD), (85.0, Flag.RANGE), (15.1, Flag.GOOD)]


def test_a_reading_is_judged_by_those_kept_before(hub, store, clock):
    feed(hub, clock, 30)
    hub.take([Reading("mast", AIR, clock.at + MINUTE, 25.0)])
    assert kept(store)[-1] == (25.0, Flag.JUMP)


def test_a_spike_is_known_by_the_reading_after_it(hub, store):
    for minute, value in enumerate([15.0, 15.1, 17.5]):
        hub.take([read(minute - 9, value)])
    assert kept(store)[-1] == (17.5, Flag.GOOD)
    hub.take([read(-6, 15.2)])
    assert kept(store) == [(15.0, Flag.GOOD), (15.1, Flag.GOOD), (17.5, Flag.SPIKE), (15.2, Flag.GOOD)]


def test_readings_out_of_order_are_put_where_their_stamps_say(hub, store):
    hub.take([read(-1, 15.3), read(-3, 15.1)])
    hub.take([read(-2, 15.2), read(-60 * 24 * 2, 9.0)])
    assert kept(store) == [(value, Flag.GOOD) for value in (9.0, 15.1, 15.2, 15.3)]


def test_what_one_sensor_reads_together_is_held_against_each_other(hub, store):
    hub.take([read(0, 15.0), read(0, 18.0, DEW)])
    assert kept(store, AIR) == [(15.0, Flag.INCONSISTENT)]
    assert kept(store, DEW) == [(18.0, Flag.INCONSISTENT)]
    hub.take([read(0, 15.0, sensor="other"), read(0, 18.0, DEW, sensor="mast")])
    assert kept(store, AIR, site="orchard") == [(15.0, Flag.GOOD)]


def test_the_sun_is_asked_where_the_site_is_known(store, clock):
    night = -12 * 60  # START is 10 UTC in June, at 10 degrees east
    Hub(SENSORS, store, clock, places={"harbour": Place(54.3, 10.2)}).take([read(night, 700.0, SUN)])
    Hub(SENSORS, store, clock).take([read(night + 1, 700.0, SUN)])
    assert [flag for _, flag in kept(store, SUN)] == [Flag.SUN, Flag.GOOD]


def test_a_reading_said_again_changes_nothing(hub, store, clock):
    batch = [read(0, 15.0), read(0, 55.0, WET)]
    for _ in range(3):
        hub.take(batch)
    assert kept(store) == [(15.0, Flag.GOOD)]
    assert health(hub, clock).readings == 1


def test_what_cannot_be_kept_is_said_and_was_not_heard(hub, store, clock):
    store._connection.execute("PRAGMA query_only = ON")
    with pytest.raises(StoreError):
        hub.take([read(0, 15.0)])
    assert health(hub, clock).last_heard_at is None
    store._connection.execute("PRAGMA query_only = OFF")
    hub.take([read(0, 15.0)])
    assert health(hub, clock).last_heard_at == START


def test_what_no_sensor_of_ours_reads_and_what_is_no_number_is_left_out_and_said(hub, store, caplog):
    hub.take([read(0, 15.0, sensor="stranger"), read(0, float("nan")), read(1, 15.2)])
    assert kept(store) == [(15.2, Flag.GOOD)]
    assert "no such sensor" in caplog.text
    assert "air_temperature is no number" in caplog.text


def test_a_clock_that_was_set_to_1970_reads_in_no_years_of_readings(hub, store, monkeypatch):
    spans = []
    real = store.readings
    monkeypatch.setattr(
        store, "readings", lambda s, since, until, **k: spans.append(until - since) or real(s, since, until, **k)
    )
    hub.take([read(0, 15.0), Reading("mast", AIR, START.replace(year=1970), 15.0)])
    assert len(spans) == 2
    assert max(spans) < timedelta(days=2)
    assert health(hub, FixedClock(START)).last_heard_at == START
    assert [flag for _, flag in kept(store)] == [Flag.GOOD]
    old = store.readings("harbour", START.replace(year=1969), START.replace(year=1971))
    assert old[0].flags.tolist() == [Flag.PAST]


def test_many_threads_at_once_lose_nothing(hub, store):
    def say(thread):
        for minute in range(25):
            hub.take([read(-(thread * 25 + minute), 15.0)])

    threads = [threading.Thread(target=say, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(kept(store)) == 100


TAKES = """
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from dryspell.clock import FixedClock
from dryspell.store import Store
from dryspell.tick.hub import Hub
from dryspell.weather.sensors.reading import Reading
sys.path.insert(0, sys.argv[2])
from test_hub import SENSORS, START
hub = Hub(SENSORS, Store(Path(sys.argv[1])), FixedClock(START + timedelta(days=9)))
for minute in range(100_000):
    hub.take([Reading("mast", "air_temperature", START + timedelta(minutes=minute), 15.0)])
    print(minute, flush=True)
"""


def test_what_was_taken_is_there_after_the_process_was_killed(tmp_path):
    path = tmp_path / "state" / "dryspell.sqlite3"
    process = subprocess.Popen(
        [sys.executable, "-c", TAKES, str(path), str(Path(__file__).parent)], stdout=subprocess.PIPE, text=True
    )
    taken = [process.stdout.readline() for _ in range(20)]
    process.kill()
    taken += process.communicate()[0].splitlines()
    store = Store(path)
    (series,) = store.readings("harbour", START, START + timedelta(days=99))
    store.close()
    assert taken[19].strip() == "19"
    assert series.times.size >= len([line for line in taken if line.strip()])


# --- health ---


def test_a_sensor_that_reads_well_is_well(hub, clock):
    feed(hub, clock, 60)
    seen = health(hub, clock)
    assert (seen.trouble, seen.well, seen.last_good_at, seen.readings) == (None, True, clock.at, 60)


def test_a_sensor_is_silent_when_nothing_came_for_as_long_as_it_may_say_nothing(hub, clock):
    feed(hub, clock, 3)
    clock.at += 30 * MINUTE
    assert not health(hub, clock).silent
    clock.at += MINUTE
    assert health(hub, clock).trouble is Trouble.SILENT
    feed(hub, clock, 1)
    assert not health(hub, clock).silent


def test_an_old_message_that_comes_again_is_no_sign_of_life(hub, clock):
    feed(hub, clock, 3)
    clock.at += 31 * MINUTE
    hub.take([read(-60, 15.0)])
    assert health(hub, clock).silent


def test_after_a_restart_a_sensor_has_its_time_before_it_is_silent(hub, store, clock):
    feed(hub, clock, 3)
    heard = clock.at
    clock.at += timedelta(days=2)
    again = Hub(SENSORS, store, clock)
    seen = health(again, clock)
    assert (seen.silent, seen.last_heard_at, seen.last_good_at) == (False, heard, heard)
    clock.at += 31 * MINUTE
    assert health(again, clock).silent


def test_a_stuck_sensor_is_known_and_so_is_its_end(hub, clock):
    feed(hub, clock, 30)
    feed(hub, clock, 245, value=15.2)
    assert health(hub, clock).stuck == (AIR,)
    feed(hub, clock, 1, value=15.3)
    assert health(hub, clock).stuck == ()


def test_the_share_of_flagged_readings_is_that_of_the_worst_variable_in_the_last_hours(hub, clock):
    feed(hub, clock, 20)
    for minute in range(10):
        hub.take([Reading("mast", WET, clock.at - minute * MINUTE, 0.0)])
    seen = health(hub, clock)
    assert (seen.worst, seen.readings, seen.flagged_share, seen.main_flag) == (WET, 10, 1.0, Flag.RANGE)
    assert seen.trouble is Trouble.FLAGGED
    clock.at += timedelta(hours=3, minutes=1)
    assert health(hub, clock).readings == 0


def test_a_fast_clock_is_found_out(hub, clock):
    for minute in range(10):
        hub.take([Reading("mast", AIR, clock.at + timedelta(hours=1) + minute * MINUTE, 15.0)])
    seen = health(hub, clock)
    assert (seen.trouble, seen.main_flag, seen.last_heard_at) == (Trouble.FLAGGED, Flag.FUTURE, None)


# --- and in a round ---


class Bench:
    def __init__(self, folder, store, clock):
        self.config = config(folder)
        source = FakeSource(weather())
        self.hub = Hub(SENSORS, store, clock)
        gatherer = Gatherer(self.config, store, clock, {"harbour": source, "orchard": source}, random.Random(1))
        self.sender = Taken()
        self.delivery = Delivery(store, self.sender, self.config.alerts, clock, random.Random(1))
        self.round = Round(self.config, store, clock, gatherer, self.delivery, self.hub)

    def said_of_sensors(self):
        self.round.run(fetch_wait_s=30)
        assert self.delivery.wait(30)
        taken = [(target, title) for target, title, _ in self.sender.took if title.startswith("Sensor")]
        self.sender.took.clear()
        return sorted(taken)


def test_a_silent_sensor_is_told_once_to_those_who_hear_of_a_piece_there_also_across_a_restart(store, clock, tmp_path):
    bench = Bench(tmp_path, store, clock)
    assert bench.said_of_sensors() == []
    clock.at += 31 * MINUTE
    # The relay hears of the rail alone, which stands at the harbour; the orchard's sensor is no concern of it.
    assert bench.said_of_sensors() == [
        ("phone", "Sensor silent: Mast"),
        ("phone", "Sensor silent: Other"),
        ("phone", "Sensor silent: Probe"),
        ("relay", "Sensor silent: Mast"),
        ("relay", "Sensor silent: Probe"),
    ]
    for _ in range(3):
        clock.at += 31 * MINUTE
        assert Bench(tmp_path, store, clock).said_of_sensors() == []


def test_a_sensor_that_is_back_is_told_and_the_memory_of_pieces_is_not_touched(store, clock, tmp_path, caplog):
    bench = Bench(tmp_path, store, clock)
    clock.at += 31 * MINUTE
    bench.said_of_sensors()
    for _ in range(3):
        feed(bench.hub, clock, 16)
        said = bench.said_of_sensors()
    assert said == [("phone", "Sensor back: Mast"), ("relay", "Sensor back: Mast")]
    assert set(store.memory()) == {"rail", "bench", "sensor/mast", "sensor/probe", "sensor/other"}
    assert "cannot be read" not in caplog.text


def test_a_memory_of_a_sensor_that_cannot_be_read_is_said_and_begun_anew(store, clock, tmp_path, caplog):
    bench = Bench(tmp_path, store, clock)
    store.save_round({"sensor/mast": "what?"}, [], [], [], START)
    clock.at += 31 * MINUTE
    assert ("phone", "Sensor silent: Mast") in bench.said_of_sensors()
    assert "what was said of sensor/mast cannot be read" in caplog.text
