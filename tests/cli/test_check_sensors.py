"""`dryspell check` says of each sensor how it does, and of each target whether it takes what the daemon sends."""

import json
import threading
from contextlib import closing
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
from click.testing import CliRunner

from dryspell.cli import check
from dryspell.store.notices import Message
from dryspell.store.readings import Checked
from dryspell.store.store import FILE_NAME, open_store
from dryspell.weather.flags import Flag
from dryspell.weather.sensors.reading import Reading
from weather.sensors.small_broker import SmallBroker

NOW = datetime(2026, 5, 20, 6, tzinfo=UTC)
CONFIG = """
contact = "you@example.org"
site.harbour = { latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }
piece.rail = { coating = "oil_varnish_1k" }
alert.phone = { url = "json://127.0.0.1:1/hunter2" }
"""
LOGGER = """
[sensor.logger]
file = { path = "readings.csv" }
time = { path = "time" }
read = { air_temperature = { path = "t", unit = "degC" }, wind_speed = { path = "w", unit = "m/s" } }
"""
PUSHED = """
[push]
token_file = "token"
[sensor.gate]
piece = "rail"
push = true
read = { surface_temperature = { path = "t", unit = "degC" } }
"""


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.setenv("DRYSPELL_STATE", str(tmp_path / "state"))
    (tmp_path / "readings.csv").write_text("time,t,w\n")
    (tmp_path / "token").write_text("0123456789abcdef")
    (tmp_path / "token").chmod(0o600)
    return tmp_path


def run(place, more, *options):
    file = place / "yard.toml"
    file.write_text(CONFIG + more)
    file.chmod(0o600)
    return CliRunner().invoke(check.command, ["--config", str(file), "--now", NOW.isoformat(), "--offline", *options])


def lines(place, more, *options, part="sensor"):
    """Return what is said of the sensors, word and sentence."""
    document = json.loads(run(place, more, "--json", *options).output)
    return [(each["word"], each["text"]) for each in document["parts"] if each["part"] == part]


def online(place, more, *, part="sensor"):
    """The same, but whoever a sensor speaks through is asked; the weather is in a file."""
    text = CONFIG.replace("contact", 'weather = { sources = ["sensors"] }\ncontact') + more
    file = place / "yard.toml"
    file.write_text(text)
    result = CliRunner().invoke(check.command, ["--config", str(file), "--now", NOW.isoformat(), "--json"])
    return [(e["word"], e["text"]) for e in json.loads(result.output)["parts"] if e["part"] == part]


def keep(place, sensor, variable, *read, piece="", flag=Flag.GOOD):
    with closing(open_store(place / "state")) as store:
        store.keep_readings(
            Checked("harbour", piece, Reading(sensor, variable, NOW - timedelta(minutes=minutes), value), flag)
            for minutes, value in read
        )


def test_a_sensor_that_was_never_read_is_worth_a_look_and_no_state_is_made(place):
    ((word, text),) = lines(place, LOGGER)
    assert word == "look"
    path = place / "readings.csv"
    assert (
        text == f"logger: file {path}, in the open at harbour; air temperature, wind speed: nothing has been read yet"
    )
    assert not (place / "state" / FILE_NAME).exists()


def test_the_last_good_reading_is_told_with_its_age(place):
    keep(place, "logger", "air_temperature", (12, 13.0), (2, 14.25))
    keep(place, "logger", "wind_speed", (90, 3.0))
    ((word, text),) = lines(place, LOGGER)
    assert word == "good"
    assert text.endswith("; last good reading 2 min ago: air temperature 14.2 °C, wind speed 3.0 m/s (1 h 30 min ago)")


def test_what_was_never_read_of_a_sensor_that_was_is_told(place):
    keep(place, "logger", "air_temperature", (2, 14.25))
    assert lines(place, LOGGER)[0][1].endswith("air temperature 14.2 °C, wind speed never")


def test_one_that_fell_silent_is_worth_a_look(place):
    keep(place, "gate", "surface_temperature", (5 * 60, 9.0), piece="rail")
    ((word, text),) = lines(place, PUSHED)
    assert word == "look"
    assert text == (
        "gate: pushed to /v1/readings/gate, in or on rail; last good reading 5 h ago: surface temperature 9.0 °C; "
        "silent, where one in 30 min is expected (while the daemon runs)"
    )
    keep(place, "gate", "surface_temperature", (-60, 9.0), piece="rail", flag=Flag.FUTURE)
    assert lines(place, PUSHED)[0][0] == "look"


def test_one_whose_readings_are_not_used_is_worth_a_look(place):
    keep(place, "logger", "wind_speed", (9, 3.0))
    keep(place, "logger", "air_temperature", *((minute, 70.0) for minute in range(2, 9)), flag=Flag.RANGE)
    ((word, text),) = lines(place, LOGGER)
    assert word == "look"
    assert text.endswith("100 % of air temperature is not used, most of it because: not possible")
    keep(place, "logger", "wind_speed", (1, 0.0), flag=Flag.STUCK)
    assert "wind speed is stuck at one value" in lines(place, LOGGER)[0][1]


def test_one_of_which_nothing_is_good_any_more_is_told(place):
    keep(place, "logger", "air_temperature", (5 * 24 * 60, 12.0))
    assert "no good reading in 3 d, the last one of any kind 5 d ago; silent" in lines(place, LOGGER)[0][1]


def test_a_file_that_is_not_there_is_bad(place):
    (place / "readings.csv").unlink()
    ((word, text),) = lines(place, LOGGER)
    assert word == "bad"
    assert text.endswith("; the file is not there yet")


@pytest.fixture
def device():
    """A device that answers with `body` and counts how often it was asked."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            self.server.asked += 1
            self.send_response(self.server.status)
            self.send_header("Content-Length", str(len(self.server.body)))
            self.end_headers()
            self.wfile.write(self.server.body)

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.asked, server.status, server.body = 0, 200, b'{"t": "68 degF", "n": null}'
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    yield server
    server.shutdown()
    thread.join()
    server.server_close()


def polled(device):
    return f"""
[sensor.shed]
http = {{ url = "http://127.0.0.1:{device.server_port}/state?key=hunter2" }}
read = {{ air_temperature = {{ path = "t", unit = "degC" }}, relative_humidity = {{ path = "n", unit = "%" }} }}
"""


def test_a_device_is_asked_once_and_its_answer_is_read_as_the_daemon_would(place, device):
    ((_, text),) = online(place, polled(device))
    assert (
        "127.0.0.1 every 60 s, in the open at harbour; it answers air temperature 20.0 °C, relative humidity " in text
    )
    assert "relative humidity without a value" in text
    assert "hunter2" not in text
    assert device.asked == 1
    device.body = b'{"T": 20, "n": [1]}'
    ((word, text),) = online(place, polled(device))
    assert word == "bad"
    assert text.endswith("there is no t in its answer, for air temperature; relative humidity: [1] is no number")


def test_a_device_that_refuses_or_is_gone_is_bad(place, device):
    device.status = 503
    ((word, text),) = online(place, polled(device))
    assert (word, device.asked) == ("bad", 1)
    assert text.endswith("127.0.0.1 is out of order (status 503)")


def test_a_device_is_left_alone_offline(place, device):
    assert "; it was not asked; " in lines(place, polled(device))[0][1]
    assert device.asked == 0


def test_a_broker_is_asked_to_let_us_in(place):
    broker = SmallBroker({"dryspell": "0123456789abcdef"}).start()
    more = f"""
[broker.house]
host = "127.0.0.1"
port = {broker.port}
tls = false
user = "dryspell"
password_file = "token"
[sensor.mast]
mqtt = {{ topic = "mast/climate" }}
read = {{ air_temperature = {{ path = "t", unit = "degC" }} }}
"""
    where = f"house (127.0.0.1:{broker.port})"
    assert online(place, more, part="broker") == [("good", f"{where}: lets us in as dryspell")]
    assert online(place, more)[0][1].startswith("mast: mast/climate of broker house, in the open at harbour; air temp")
    assert lines(place, more, part="broker") == [("skipped", f"{where} was not asked")]
    broker.users = {}
    broker.stop()
    assert online(place, more, part="broker") == [("bad", f"{where}: nobody listens there")]


def test_what_is_said_of_sensors_fits_into_80_columns(place):
    keep(place, "gate", "surface_temperature", (5 * 60, 9.0), piece="rail")
    output = run(place, PUSHED).output
    assert "sensor    look    gate: pushed to /v1/readings/gate, in or on rail; " in output
    assert max(map(len, (line for line in output.splitlines() if str(place) not in line))) <= 80


def sent(place, *tries):
    """Send the phone a notice for each try; a text is why it was not taken."""
    with closing(open_store(place / "state")) as store:
        for number, error in enumerate(tries):
            at = NOW - timedelta(hours=len(tries) - number)
            notice = Message(
                id=f"{number}", key=f"{number}", piece="rail", kind="coat_now", title="Coat now", body="why",
                created_at=at, expires_at=at + timedelta(hours=2), targets=("phone",),
            )  # fmt: skip
            store.save_round({}, [], [notice], [], at)
            (sending,) = [each for each in store.sendings() if each.notice == notice.id]
            if error:
                store.mark_failed(sending, error, at + timedelta(seconds=30))
            else:
                store.mark_delivered(sending, at)
        store.thin_out(NOW, ["phone"])


def test_a_target_that_takes_nothing_is_bad(place):
    sent(place, "", "its service answers 503", "its service cannot be reached")
    ((word, text),) = lines(place, "", part="alert")
    assert word == "bad"
    assert text == (
        "phone: json://… has taken none of 2 notices since 2 h ago, the last time because its service cannot be reached"
    )


def test_a_target_that_takes_notices_again_is_good(place):
    sent(place, "its service answers 503", "")
    ((word, text),) = lines(place, "", part="alert")
    assert (word, text) == ("good", "phone: json://… about all pieces: Apprise knows the address; nothing was sent")
