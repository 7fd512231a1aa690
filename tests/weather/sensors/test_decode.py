"""Payloads as devices send them, and what cannot be read in them: said once, and never a crash."""

import contextlib
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.weather.sensors.counters import Counters
from dryspell.weather.sensors.decode import LARGEST_PAYLOAD, Arrival, Decoder, PayloadError
from dryspell.weather.sensors.model import Mqtt
from dryspell.weather.sensors.notices import Notices
from dryspell.weather.sensors.reading import Reading
from weather.sensors.bench import NOON, sensor

UNIX = {"path": "ts", "format": "unix"}


@pytest.fixture
def decode(memory, notices):
    """Decode payloads by one sensor; what is no text goes as JSON."""

    def start(one):
        decoder = Decoder(one, Counters(memory), notices)

        def readings(payload, at=NOON, topic=""):
            raw = payload if isinstance(payload, bytes | dict) else json.dumps(payload).encode()
            return decoder.readings(Arrival(one.key, raw, at, topic))

        return readings

    return start


def test_values_are_found_converted_and_named(decode):
    readings = decode(
        sensor(
            air_temperature={"path": "climate.t", "unit": "degF"},
            relative_humidity={"path": "climate.rh", "unit": "100 %"},
            wind_speed={"path": "wind[0]", "unit": "km/h"},
        )
    )
    assert readings(b'{"climate": {"t": 68, "rh": 0.65}, "wind": [18, 200]}') == [
        Reading("mast", "air_temperature", NOON, 20.0),
        Reading("mast", "relative_humidity", NOON, 65.0),
        Reading("mast", "wind_speed", NOON, 5.0),
    ]


@pytest.mark.parametrize("payload", [b"21.3", b"21.3 \xc2\xb0C", b'"21.3"', b" 21.3\n", b"\xef\xbb\xbf21.3"])
def test_the_payload_may_be_the_value_and_nothing_else(decode, payload):
    assert decode(sensor(air_temperature={}))(payload) == [Reading("mast", "air_temperature", NOON, 21.3)]


def test_the_payload_s_own_instant_goes_before_its_arrival(decode):
    readings = decode(sensor(air_temperature="t", time=UNIX))
    (reading,) = readings(b'{"t": 5, "ts": 1780315200.25}', at=None)
    assert (reading.at - NOON).total_seconds() == 0.25
    (future,) = readings(b'{"t": 5, "ts": 4102444800}')  # 2100-01-01T00:00Z
    assert future.at.year == 2100  # passed on as it is: judging it is for the quality checks


def test_without_an_instant_of_its_own_a_payload_of_unknown_age_is_not_used(decode, logged):
    readings = decode(sensor(air_temperature="t"))
    assert readings(b'{"t": 5}', at=None) == []
    assert readings(b'{"t": 5}', at=None) == []
    assert logged.text.count("what the broker had kept is not used") == 1
    assert len(readings(b'{"t": 5}')) == 1
    assert "sensor mast: fresh messages come in" in logged.text


@pytest.mark.parametrize(
    ("payload", "problem"),
    [
        (b'{"t": 5}', "there is no ts, its time, in the payload"),
        (b'{"t": 5, "ts": null}', "ts = None gives no time"),
        (b'{"t": 5, "ts": "soon"}', "ts = 'soon' is no time since 1970 as a number"),
        (b"t=5", "there is no ts, its time, in the payload, which is not JSON"),
        (b"\xff\xfe", "the payload is not text in UTF-8"),
        (b"[" * 5000, "there is no ts, its time, in the payload, which is not JSON"),
        (b'"' + b"x" * LARGEST_PAYLOAD, "a payload of more than 64 KiB is not read"),
    ],
)
def test_a_malformed_payload_is_refused_in_words_and_said_once(decode, logged, payload, problem):
    readings = decode(sensor(air_temperature="t", time=UNIX))
    for _ in range(3):
        with pytest.raises(PayloadError, match=f"^{problem}"):
            readings(payload)
    assert len(logged.records) == 1
    assert logged.text.count(f"sensor mast: {problem}") == 1
    assert len(readings(b'{"t": 5, "ts": 0}')) == 1
    assert "sensor mast: payloads can be read again" in logged.text


@pytest.mark.parametrize("missing", [None, "nan", "unavailable", "", float("nan")])
def test_a_value_that_is_said_to_be_missing_is_no_reading_and_is_said_when_it_begins(decode, logged, missing):
    readings = decode(sensor(air_temperature="t", relative_humidity={"path": "rh", "unit": "%"}))
    for _ in range(3):
        assert [reading.variable for reading in readings({"t": missing, "rh": 50})] == ["relative_humidity"]
    assert [record.getMessage().partition(":")[0] for record in logged.records] == ["sensor mast"]
    assert "air_temperature has no value" in logged.text
    assert len(readings({"t": 20, "rh": 50})) == 2
    assert "sensor mast: air_temperature has values again" in logged.text


def test_a_key_that_is_not_there_is_said_only_until_it_was_seen(decode, logged):
    readings = decode(sensor(air_temperature="temperatur", relative_humidity={"path": "rh", "unit": "%"}))
    readings({"temperature": 20, "rh": 50})
    assert "sensor mast: air_temperature: there is no temperatur in the payload" in logged.text
    readings({"temperatur": 20})
    logged.clear()
    for _ in range(5):  # now these values and now those, as many devices do
        readings({"rh": 50})
        readings({"temperatur": 20})
    assert logged.records == []


def test_a_value_that_cannot_be_read_takes_nothing_else_with_it(decode, logged):
    readings = decode(sensor(air_temperature="t", relative_humidity={"path": "rh", "unit": "%"}))
    for wrong in ("warm", "warmer", [1], True):
        assert [reading.value for reading in readings({"t": wrong, "rh": 50})] == [50]
    assert [record.getMessage() for record in logged.records] == ["sensor mast: air_temperature: 'warm' is no number"]


def test_a_value_may_be_of_one_topic_only(decode, logged):
    readings = decode(
        sensor(
            way=Mqtt(broker="house", topic="shed/#"),
            air_temperature={"topic": "shed/temperature"},
            relative_humidity={"topic": "shed/+/humidity", "unit": "%"},
        )
    )
    assert [each.variable for each in readings(b"20", topic="shed/temperature")] == ["air_temperature"]
    assert [each.variable for each in readings(b"50", topic="shed/low/humidity")] == ["relative_humidity"]
    assert readings(b"a long story", topic="shed/log") == []
    assert logged.records == []


def test_rain_is_the_amount_of_a_message_or_what_a_counter_went_up(decode):
    amount = decode(sensor("a", precipitation_amount={"path": "mm", "unit": "mm"}))
    assert [amount({"mm": mm})[0].value for mm in (0, 0.2, 0)] == [0, 0.2, 0]
    counter = decode(sensor("b", precipitation_amount={"path": "n", "unit": "0.2794 mm", "kind": "counter"}))
    got = [counter({"n": n}, NOON.replace(minute=minute)) for minute, n in enumerate((100, 100, 103, 1))]
    assert [[round(reading.value, 4) for reading in each] for each in got] == [[], [0], [0.8382], [0.2794]]


def test_an_empty_payload_is_none(decode, logged):
    assert decode(sensor(air_temperature="t", time=UNIX))(b"") == []
    assert logged.records == []


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["t", "ts", "x"]), inner, max_size=3),
    max_leaves=8,
)


@given(anything.map(lambda value: json.dumps(value).encode()) | st.binary(max_size=40))
def test_any_payload_gives_readings_or_is_refused(payload):
    one = sensor(air_temperature="t", dew_point_temperature="[0].t", surface_air_pressure={"unit": "hPa"}, time=UNIX)
    notices = Notices()
    decoder = Decoder(one, Counters(None), notices)
    readings = []
    with contextlib.suppress(PayloadError):
        readings = decoder.readings(Arrival("mast", payload, NOON))
    assert all(abs(reading.value) < float("inf") for reading in readings)
    assert all(text.isprintable() for text in notices.current().values())
