"""[sensor.KEY], [broker.KEY] and [push]: what they may say, and what is said of what they may not."""

import json
import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryspell.bundled import bundled
from dryspell.config import Config, parse
from dryspell.config.problems import written_keys
from dryspell.config.sensors import SENSOR_KEYS, keys_with_secret
from dryspell.errors import ConfigError
from dryspell.weather.sensors.model import (
    Broker,
    Followed,
    Measure,
    Mqtt,
    OwnTime,
    Poll,
    PushDoor,
    Pushed,
)

TOKEN = "0123456789abcdef"
BROKER = '[broker.house]\nhost = "broker.lan"\n'
READ = 'read = { air_temperature = { path = "t", unit = "degC" } }\n'
WAY = 'mqtt = { topic = "mast/climate" }\n'


def sensor(text=WAY, read=READ):
    return f"[sensor.mast]\n{text}{read}"


@pytest.fixture
def right(read):
    """Read a configuration whose sensors are right."""

    def read_text(text, **how):
        start = 'contact = "you@example.org"\n'
        start += 'site.harbour = { latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }\n'
        return read(start + 'piece.toe_rail = { coating = "oil_varnish_1k" }\n' + text, **how)

    return read_text


def test_without_any_there_are_none(right):
    config = right("")
    assert (config.sensor, config.broker, config.push) == ({}, {}, None)


def test_a_sensor_of_a_broker(right):
    config = right(BROKER + sensor(WAY + 'silent_after = "10 min"\ntime = { path = "ts", format = "unix" }\n'))
    mast = config.sensor["mast"]
    assert mast.way == Mqtt(broker="house", topic="mast/climate")
    assert (mast.name, mast.site, mast.piece, mast.silent_after_s) == ("mast", "harbour", None, 600)
    assert mast.time == OwnTime(path="ts", format="unix")
    assert [(each.variable, each.path, each.unit.unit) for each in mast.read] == [("air_temperature", "t", "degC")]
    house = config.broker["house"]
    assert (house.tls, house.address, house.name) == (True, ("broker.lan", 8883), "broker house (broker.lan:8883)")
    assert right(BROKER + "tls = false\n").broker["house"].address == ("broker.lan", 1883)


def test_a_device_that_is_asked_a_sender_and_a_file(right, tmp_path):
    config = right(
        '[sensor.a]\nhttp = { url = "http://192.168.1.20/state?x=1", every = "30 s", token_env = "SHED" }\n'
        f'{READ}[sensor.b]\npush = true\n{READ}[sensor.c]\nfile = {{ path = "log.ndjson" }}\n'
        f'time = {{ path = "time" }}\n{READ}[push]\ntoken_env = "DOOR"\n',
        env={"HOME": "/home/you", "SHED": "hunter2", "DOOR": TOKEN},
        file=tmp_path / "yard.toml",
    )
    a, b, c = (config.sensor[key].way for key in "abc")
    assert isinstance(a, Poll)
    assert (a.every_s, a.header, a.token.get_secret_value()) == (30, "Authorization", "hunter2")
    assert b == Pushed()
    assert c == Followed(path=tmp_path / "log.ndjson", format="jsonl")
    assert config.push.listen == ("127.0.0.1", 8470)
    assert config.push.token.get_secret_value() == TOKEN
    assert "hunter2" not in repr(config)
    assert TOKEN not in repr(config)


def test_a_sensor_at_a_piece_is_at_its_site(read):
    config = read(
        'contact = "you@example.org"\n'
        'site.a = { latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }\n'
        'site.b = { latitude = "54.4 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }\n'
        'piece.rail = { coating = "oil_varnish_1k", site = "b" }\n'
        + BROKER
        + sensor(WAY + 'piece = "rail"\n', 'read = { surface_temperature = { unit = "degC" } }\n')
    )
    assert (config.sensor["mast"].site, config.sensor["mast"].piece) == ("b", "rail")


def test_secrets_may_be_left_where_they_are(right):
    text = 'user = "me"\npassword_file = "nowhere"\n[push]\ntoken_env = "NOWHERE"\n[sensor.b]\npush = true\n'
    config = right(BROKER + text + READ, secrets=False)
    assert config.broker["house"].password is None
    assert config.push.token is None


def test_what_is_sent_in_the_clear_is_pointed_out(right):
    text = BROKER + 'tls = false\nuser = "me"\npassword_env = "PW"\n[push]\nlisten = "0.0.0.0:80"\ntoken_env = "DOOR"\n'
    broker, push = right(text, env={"PW": "x", "DOOR": TOKEN}).cautions
    assert broker.startswith(
        "broker.house: what is sent to broker.lan, the password too, can be read on the way; set tls"
    )
    assert push.startswith(
        "push.listen: what is sent to 0.0.0.0, the token too, can be read on the way; keep that port"
    )


MISTAKES = [
    (sensor(""), "sensor.mast has no way for its readings to arrive; wanted one of mqtt, http, push or file"),
    (sensor(WAY + "http = {}\n"), "sensor.mast has mqtt and http; wanted one of mqtt, http, push or file"),
    (
        sensor("push = false\n"),
        "sensor.mast.push = false is not true; wanted push = true, without quotes, or none of it",
    ),
    (sensor("mqtt = 5\n"), 'sensor.mast.mqtt = 5 is no table; wanted such as mqtt = { topic = "shed/climate" }'),
    (sensor(WAY, ""), "sensor.mast.read is missing; wanted what it reads, such as read = { air_temperature"),
    (sensor(WAY, "read = {}\n"), "sensor.mast.read is no table with anything in it; wanted what it reads"),
    (
        sensor(WAY, "read = { air_temp = {} }\n"),
        "sensor.mast.read.air_temp is no key of what a sensor can read; did you",
    ),
    (
        sensor(WAY, "read = { air_temperature = 5 }\n"),
        "sensor.mast.read.air_temperature = 5 is no table; wanted such as",
    ),
    (
        sensor(WAY, 'read = { air_temperature = { unit = "%" } }\n'),
        'sensor.mast.read.air_temperature.unit = "%" is a share, not a temperature; wanted such as "18 degC"',
    ),
    (
        sensor(WAY, 'read = { precipitation_amount = { unit = "mm/h" } }\n'),
        'sensor.mast.read.precipitation_amount.unit = "mm/h" is a speed, not a length; wanted such as "0.2 mm"',
    ),
    (
        sensor(WAY, 'read = { air_temperature = { path = "a..b" } }\n'),
        'sensor.mast.read.air_temperature.path = "a..b" is no path; wanted keys with dots between',
    ),
    (
        sensor(WAY, 'read = { air_temperature = { kind = "counter" } }\n'),
        'sensor.mast.read.air_temperature.kind = "counter" is only for precipitation_amount',
    ),
    (
        sensor(WAY, 'read = { precipitation_amount = { kind = "tally" } }\n'),
        'sensor.mast.read.precipitation_amount.kind = "tally" is none of amount and counter',
    ),
    (
        sensor(WAY, 'read = { air_temperature = { topic = "shed/t" } }\n'),
        'sensor.mast.read.air_temperature.topic = "shed/t" is not in the topic "mast/climate"',
    ),
    (
        sensor('http = { url = "http://a" }\n', 'read = { air_temperature = { topic = "shed/t" } }\n'),
        'sensor.mast.read.air_temperature.topic = "shed/t" is only for mqtt',
    ),
    (
        sensor(WAY, "read = { surface_temperature = {} }\n"),
        "sensor.mast.piece is missing; a surface temperature is that",
    ),
    (sensor(WAY + 'piece = "rail"\n'), 'sensor.mast.piece = "rail" is no piece; did you mean toe_rail?'),
    (sensor(WAY + 'site = "habour"\n'), 'sensor.mast.site = "habour" is no site; did you mean harbour?'),
    (sensor(WAY + 'silent_after = "1 s"\n'), 'sensor.mast.silent_after = "1 s" is not within 60 to 604800 s'),
    (sensor(WAY + "silence = 5\n"), "sensor.mast.silence is no key of a sensor"),
    (sensor(WAY + "time = 5\n"), "sensor.mast.time = 5 is no table; wanted such as"),
    (sensor(WAY + "time = {}\n"), 'sensor.mast.time.path is missing; wanted such as path = "ts"'),
    (
        sensor(WAY + 'time = { path = "ts", format = "unix", zone = "UTC" }\n'),
        'sensor.mast.time.zone = "UTC" is only for format = "iso"',
    ),
    (sensor(WAY + 'time = { path = "ts", zone = "Berlin" }\n'), 'sensor.mast.time.zone = "Berlin" is no time zone'),
    (sensor('mqtt = { topic = "a/#/b" }\n'), 'sensor.mast.mqtt.topic = "a/#/b" has # in the middle'),
    (sensor('mqtt = { topic = "a/b+" }\n'), 'sensor.mast.mqtt.topic = "a/b+" has + beside other letters'),
    (sensor('mqtt = { topic = "" }\n'), 'sensor.mast.mqtt.topic = "" is no topic'),
    (sensor("mqtt = {}\n"), 'sensor.mast.mqtt.topic is missing; wanted such as topic = "shed/climate"'),
    (
        sensor('mqtt = { topic = "a", broker = "hous" }\n'),
        'sensor.mast.mqtt.broker = "hous" is no broker; did you mean house?',
    ),
    (sensor('http = { url = "192.168.1.20" }\n'), 'sensor.mast.http.url = "192.168.1.20" is no web address'),
    (sensor('http = { url = "ftp://a" }\n'), 'sensor.mast.http.url = "ftp://…" is no web address'),
    (
        sensor('http = { url = "http://me:hunter2@a/" }\n'),
        'sensor.mast.http.url = "http://…" holds a name or a password; wanted it without, and a token in token_env',
    ),
    (
        sensor('http = { url = "http://a", every = "2 h" }\n'),
        'sensor.mast.silent_after = "30 min" is shorter than every (7200 s)',
    ),
    (
        sensor('http = { url = "http://a", header = "X: y" }\n'),
        'sensor.mast.http.header = "X: y" is no name of a header',
    ),
    (
        sensor('http = { url = "http://a", token = "hunter2" }\n'),
        "sensor.mast.http.token is no key of http; did you mean",
    ),
    (
        sensor('file = { path = "a.csv" }\n'),
        "sensor.mast.time is missing; a line that is read later needs its own time",
    ),
    (sensor('file = { path = "a.txt" }\n'), 'sensor.mast.file.format is missing; wanted "csv" or "jsonl"'),
    (
        sensor('file = { path = "a.jsonl", separator = ";" }\ntime = { path = "t" }\n'),
        'sensor.mast.file.separator = ";" is only for CSV',
    ),
    (
        sensor('file = { path = "a.csv", columns = ["time", "temp"] }\ntime = { path = "time" }\n'),
        'sensor.mast.read.air_temperature.path = "t" is no column',
    ),
    (
        sensor('file = { path = "a.csv" }\ntime = { path = "time" }\n', "read = { air_temperature = {} }\n"),
        "sensor.mast.read.air_temperature.path is missing; wanted the name of a column",
    ),
    (
        sensor('file = { path = "a.csv", columns = "time" }\ntime = { path = "time" }\n'),
        'sensor.mast.file.columns = "time" is no list of names',
    ),
    (sensor("push = true\n"), "push has no token; wanted one of token_env or token_file"),
    ('[push]\ntoken_env = "SHORT"\n', "push leads to a token that is shorter than 16 letters"),
    ('[push]\ntoken_env = "A"\ntoken_file = "b"\n', "push has token_env and token_file; wanted one of them"),
    ('[push]\ntoken = "hunter2"\ntoken_env = "DOOR"\n', "push.token is no key of [push]; did you mean token_env?"),
    ('[push]\ntoken_env = "DOOR"\nlisten = "8470"\n', 'push.listen = "8470" is no address to listen on'),
    ('[broker.b]\nuser = "me"\n', 'broker.b.host is missing; wanted such as host = "broker.lan"'),
    ('[broker.b]\nhost = "mqtt://a"\n', 'broker.b.host = "mqtt://…" is no host; wanted a name or an address alone'),
    ('[broker.b]\nhost = "a"\npassword_env = "DOOR"\n', "broker.b has a password and no user; wanted both"),
    (
        '[broker.b]\nhost = "a"\nuser = "me"\npassword_env = "NOWHERE"\n',
        'broker.b.password_env = "NOWHERE" is no variable of the environment; set it where this program starts',
    ),
    (
        '[broker.b]\nhost = "a"\nuser = "me"\npassword_env = "EMPTY"\n',
        'broker.b.password_env = "EMPTY" leads to what is no password; wanted one line of text',
    ),
    ('[broker.b]\nhost = "a"\nuser = "me"\npassword = "hunter2"\n', "broker.b.password is no key of a broker; did you"),
    ('[broker.b]\nhost = "a"\ntls = false\nca_file = "ca.pem"\n', 'broker.b.ca_file = "ca.pem" is only for tls = true'),
    ('[broker.b]\nhost = "a"\nkey_file = "k.pem"\n', 'broker.b.key_file = "k.pem" is only there with cert_file'),
    ('[broker.b]\nhost = "a"\nport = 70000\n', "broker.b.port = 70000 is too large; wanted 65535 or less"),
    ('[broker.b]\nhost = "a"\ntls = "no"\n', 'broker.b.tls = "no" is neither true nor false'),
]


@pytest.mark.parametrize(("text", "problem"), MISTAKES)
def test_a_mistake_is_named_with_what_would_be_right(problems, text, problem):
    env = {"SHORT": "hunter2", "DOOR": TOKEN, "EMPTY": ""}
    found = problems(text if "[broker" in text else BROKER + text, env=env)
    assert [line[: len(problem)] for line in found] == [problem]
    assert "hunter2" not in "".join(found)


def test_a_broker_has_to_be_there_and_of_several_one_has_to_be_named(problems):
    assert problems(sensor()) == ["sensor.mast.mqtt.broker is missing; wanted a table headed [broker.KEY]"]
    two = BROKER + BROKER.replace("house", "yard") + sensor()
    assert problems(two) == ["sensor.mast.mqtt.broker is missing; wanted one of the brokers house or yard"]


def test_a_sensor_is_not_at_another_site_than_its_piece(problems):
    site = 'site.a = { latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }\n'
    text = BROKER + sensor(WAY + 'site = "a"\npiece = "rail"\n')
    both, piece = site + site.replace("site.a", "site.b"), 'piece.rail = { coating = "oil_varnish_1k", site = "b" }\n'
    assert problems(text, site=both, piece=piece) == ['sensor.mast.site = "a" is not the site of piece rail']
    assert problems(BROKER + sensor(), site=both, piece=piece) == [
        "sensor.mast.site is missing; wanted one of the sites a or b"
    ]


def test_every_mistake_is_named_at_once(problems):
    text = BROKER + sensor(
        "mqtt = { topic = 5 }\nsilent_after = 5\ntime = {}\n", "read = { air_temperature = { path = 5 } }\n"
    )
    assert len(problems(text)) == 4


TEXT = re.sub(r"(?m)^#(?=[\[a-z])", "", bundled("example.toml").read_text("utf-8"))
EXAMPLE = tomllib.loads(TEXT)


def union(tables):
    return set().union(*tables)


@pytest.mark.parametrize(
    ("shown", "known"),
    [
        (union(EXAMPLE["sensor"].values()), SENSOR_KEYS),
        (union(each.get("mqtt", {}) for each in EXAMPLE["sensor"].values()), written_keys(Mqtt)),
        (union(each.get("http", {}) for each in EXAMPLE["sensor"].values()), keys_with_secret(Poll, "token")),
        (union(each.get("file", {}) for each in EXAMPLE["sensor"].values()), written_keys(Followed)),
        (union(each.get("time", {}) for each in EXAMPLE["sensor"].values()), written_keys(OwnTime)),
        (
            union(read for each in EXAMPLE["sensor"].values() for read in each["read"].values()),
            set(written_keys(Measure)) - {"variable"},
        ),
        (union(EXAMPLE["broker"].values()), keys_with_secret(Broker, "password")),
        (EXAMPLE["push"], keys_with_secret(PushDoor, "token")),
    ],
)
def test_the_example_shows_every_key_of_sensors(shown, known):
    # Of the two places for a token one is shown, and the other is named in the words beside it.
    assert set(known) - set(shown) <= {"token_file"}
    assert set(shown) <= set(known)
    assert "token_file" in TEXT


RIGHT = {
    "contact": "you@example.org",
    "site": {"harbour": {"latitude": "54.3 deg", "longitude": "10.2 deg", "timezone": "Europe/Berlin"}},
    "piece": {"toe_rail": {"coating": "oil_varnish_1k"}},
    "broker": {"house": {"host": "broker.lan"}},
    "push": {"token_env": "DOOR"},
}
SENSORS = [
    {"mqtt": {"topic": "a/b"}, "read": {"air_temperature": {"path": "t", "unit": "degC"}}},
    {"http": {"url": "http://a"}, "read": {"air_temperature": {}}, "time": {"path": "ts"}},
    {"push": True, "read": {"precipitation_amount": {"unit": "mm", "kind": "counter"}}},
    {"file": {"path": "a.csv"}, "read": {"air_temperature": {"path": "t"}}, "time": {"path": "ts"}},
]
ALL_KEYS = sorted(
    {*SENSOR_KEYS, *(key for model in (Mqtt, Followed, OwnTime, Measure) for key in written_keys(model))}
    | {*keys_with_secret(Broker, "password"), *keys_with_secret(Poll, "token"), *keys_with_secret(PushDoor, "token")}
)
words = ["", "house", "harbour", "a/#", "degC", "0.1 %", "csv", "unix", "iso", "HOME", "http://a", "60 s"]
letters = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=5)
plain = st.sampled_from(words) | st.integers(-(2**60), 2**60) | st.booleans() | letters
values = st.recursive(
    plain,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(ALL_KEYS), inner, max_size=4),
    max_leaves=12,
)


def toml(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(key)} = {toml(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return f"[{', '.join(map(toml, value))}]"
    return json.dumps(value, ensure_ascii=False)


def outcome(document):
    lines = "".join(f"{key} = {toml(value)}\n" for key, value in document.items())
    try:
        return parse(lines, Path("yard.toml"), env={"HOME": "/home/you", "DOOR": TOKEN})
    except ConfigError as error:
        return error.problems


@pytest.mark.parametrize("each", SENSORS)
def test_what_is_spoilt_below_is_right_before(each):
    assert isinstance(outcome(RIGHT | {"sensor": {"mast": each}}), Config)


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_any_value_at_any_key_gives_a_configuration_or_problems(data):
    spoilt = json.loads(json.dumps(RIGHT | {"sensor": {"mast": data.draw(st.sampled_from(SENSORS))}}))
    table = spoilt[data.draw(st.sampled_from(["sensor", "broker", "push"]))]
    while nested := [key for key, value in table.items() if isinstance(value, dict)]:
        key = data.draw(st.sampled_from([*nested, None]))
        if key is None:
            break
        table = table[key]
    table[data.draw(st.sampled_from([*ALL_KEYS, *table]))] = data.draw(values)
    result = outcome(spoilt)
    assert isinstance(result, Config) or result
    if not isinstance(result, Config):
        assert all(line.startswith("yard.toml: ") and line.isprintable() for line in result)
        assert not any("Input should" in line or "cannot be used here" in line for line in result)
