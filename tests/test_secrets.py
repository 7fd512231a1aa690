"""No secret is ever shown: every command and the daemon, with services that refuse and repeat what they were sent.

Each secret bears a mark. Whatever is printed, logged, put into JSON or kept in the state is searched for it.
"""

import base64
import json
import signal
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from dryspell.cli import COMMANDS, main
from faults.daemon import write_weather
from weather.sensors.small_broker import SmallBroker

NOW = datetime(2026, 6, 3, 10, tzinfo=UTC)
MARK = "hunter2marked"
MARKS = (MARK, base64.b64encode(MARK.encode()).decode().rstrip("="))

CONFIG = """
contact = "you@example.org"
state = "{folder}/state"
site.harbour = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }}
[piece.rail]
coating = "oil_varnish_1k"
shelter = "shed"
hours = "00:00-23:59"
after_sunrise = "0 h"
[weather]
sources = ["table", "open-meteo"]
file = "weather.csv"
stale_after = "72 h"
open-meteo = {{ base_url = "{http}", api_key_env = "OPEN_METEO" }}
[alert.inline]
url = "json://ada:{mark}@{host}/{mark}"
[alert.by_env]
url_env = "PHONE"
[alert.by_file]
url_file = "address"
[alert.strange]
url = "pigeon://{mark}"
[broker.yard]
host = "127.0.0.1"
port = {port}
tls = false
user = "ada"
password_file = "password"
[sensor.mast]
mqtt = {{ topic = "mast" }}
read = {{ air_temperature = {{ path = "t", unit = "degC" }} }}
[sensor.shed]
http = {{ url = "{http}/state", every = "10 s", token_env = "TOKEN" }}
read = {{ air_temperature = {{ path = "t", unit = "degC" }} }}
[sensor.gate]
push = true
read = {{ air_temperature = {{ path = "t", unit = "degC" }} }}
[push]
listen = "127.0.0.1:0"
token_env = "TOKEN"
[mqtt_out]
[daemon]
tick = "1 s"
"""


class Parrot:
    """A service that refuses everything, and says all it was sent in its answer."""

    def __init__(self):
        class Handler(BaseHTTPRequestHandler):
            def do_GET(self):
                said = f"no: {self.path} {dict(self.headers)}".encode()
                self.rfile.read(int(self.headers.get("Content-Length", 0)))
                self.send_response(401, f"Not with {MARK}")
                self.send_header("Content-Length", str(len(said)))
                self.end_headers()
                self.wfile.write(said)

            def do_POST(self):
                self.do_GET()

            def log_message(self, *_):
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.host = f"127.0.0.1:{self.server.server_port}"
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.01,), daemon=True)
        self.thread.start()

    def close(self):
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()


class Yard:
    """A configuration full of secrets, and services that will not have them."""

    def __init__(self, folder, parrot, broker, monkeypatch):
        self.folder = folder
        self.file = folder / "yard.toml"
        self.text = CONFIG.format(
            folder=folder, mark=MARK, http=f"http://{parrot.host}", host=parrot.host, port=broker.port
        )
        for name, secret in (
            ("PHONE", f"json://{parrot.host}/{MARK}"),
            ("TOKEN", f"{MARK}-and-longer-than-16"),
            ("OPEN_METEO", MARK),
        ):
            monkeypatch.setenv(name, secret)
        for name, secret in (("address", f"jsons://ada:{MARK}@{parrot.host}/"), ("password", MARK)):
            (folder / name).write_text(secret)
            (folder / name).chmod(0o600)
        write_weather(folder, NOW - timedelta(hours=2))
        self.write(self.text)

    def write(self, text):
        self.file.write_text(text)
        self.file.chmod(0o600)

    def hides(self, said):
        assert said
        for mark in MARKS:
            assert mark not in said

    def state_hides(self):
        for file in (self.folder / "state").rglob("*"):
            if file.is_file():
                content = file.read_bytes()
                assert not any(mark.encode() in content for mark in MARKS), file.name


@pytest.fixture
def yard(tmp_path, monkeypatch):
    parrot, broker = Parrot(), SmallBroker(users={"ada": "another"}).start()
    yield Yard(tmp_path, parrot, broker, monkeypatch)
    broker.stop()
    parrot.close()


# What a command wants beside --config; the daemon has a test of its own.
WANTS = {
    "coat": [["rail"], ["rail", "--undo"], ["nothing"]],
    "fit": [["rail", "--probe", "weather.csv"], ["rail"]],
    "replay": [["--weather", "weather.csv"], []],
    "check": [[], ["--send"], ["--offline", "--figures"]],
    "demo": [["--once"]],
    "backup": [["kept.sqlite3"]],
    "restore": [["kept.sqlite3"]],
    "export": [["kept"]],
}


@pytest.mark.parametrize("command", [command for command in COMMANDS if command != "run"])
def test_no_command_shows_a_secret(command, yard, capsys, monkeypatch):
    monkeypatch.chdir(yard.folder)
    for arguments in WANTS.get(command, [[]]):
        for more in ([], ["--json"]):
            main([command, *arguments, *more, "--config", str(yard.file), "--now", NOW.isoformat()])
            output = capsys.readouterr()
            yard.hides(output.out + output.err)
    yard.state_hides()


MISTAKES = [
    ('url = "json://ada', 'ulr = "json://ada'),
    ('url = "json://ada', 'url = "json:ada'),
    ('url = "json://ada', 'url = "json://a b'),
    (f'url = "pigeon://{MARK}"', f'url = ["{MARK}"]'),
    (f'url = "pigeon://{MARK}"', f"url = '''pigeon://{MARK}"),
    (f'url = "pigeon://{MARK}"', f'url = "pigeon://{MARK}'),
    (f'url = "pigeon://{MARK}"', f'url = "pigeon://{MARK}"\nurl = "pigeon://{MARK}"'),
    ('password_file = "password"', f'password = "{MARK}"'),
    ('password_file = "password"', 'password_file = "two_lines"'),
    ('user = "ada"', 'user = ""'),
    ('token_env = "TOKEN"\n[mqtt', 'token_env = "SHORT"\n[mqtt'),
    (', token_env = "TOKEN" }', f', token = "{MARK}" }}'),
    ('api_key_env = "OPEN_METEO"', f'api_key = "{MARK}"'),
    ('api_key_env = "OPEN_METEO"', 'api_key_env = "TWO_LINES"'),
    ('url_env = "PHONE"', 'url_env = "TWO_LINES"'),
    ('url_env = "PHONE"', 'url_env = "BARE"'),
    ('url_file = "address"', 'url_file = "password"'),
    ('url_file = "address"', 'url_file = "two_lines"'),
    ("[mqtt_out]", f'[mqtt_out]\npassword = "{MARK}"'),
]


@pytest.mark.parametrize(("right", "wrong"), MISTAKES)
def test_no_mistake_in_a_configuration_shows_a_secret(right, wrong, yard, capsys, monkeypatch):
    assert yard.text.count(right) >= 1
    for name, secret in (("SHORT", MARK[:13]), ("TWO_LINES", f"{MARK}\n{MARK}"), ("BARE", MARK)):
        monkeypatch.setenv(name, secret)
    (yard.folder / "two_lines").write_text(f"{MARK}\n{MARK}")
    yard.write(yard.text.replace(right, wrong, 1))
    for command in (["check", "--offline"], ["windows"]):
        for more, debug in (([], ""), ([], "1"), (["--json"], "")):
            monkeypatch.setenv("DRYSPELL_DEBUG", debug)
            code = main([*command, *more, "--config", str(yard.file)])
            output = capsys.readouterr()
            yard.hides(output.out + output.err)
            assert code in (0, 2)


@pytest.mark.parametrize("more", [[], ["--json"]])
def test_the_daemon_does_not_log_a_secret(more, yard):
    command = [sys.executable, "-m", "dryspell", "run", *more, "--config", str(yard.file), "--now", NOW.isoformat()]
    daemon = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    lines = []
    reader = threading.Thread(target=lambda: lines.extend(daemon.stdout), daemon=True)
    reader.start()
    # All that can go wrong here has gone wrong, and was said.
    wanted = ("inline does not take", "by_env does not take", "by_file does not take", "strange does not take")
    wanted += ("states are not published", "refuses user ada: ", "shed")
    until = time.monotonic() + 60
    while not all(any(text in line for line in lines) for text in wanted):
        assert time.monotonic() < until, "".join(lines)
        assert daemon.poll() is None, "".join(lines)
        time.sleep(0.05)
    daemon.send_signal(signal.SIGTERM)
    assert daemon.wait(30) == 0
    reader.join()
    daemon.stdout.close()
    yard.hides("".join(lines))
    yard.state_hides()
    if more:
        assert all(json.loads(line)["schema"] for line in lines)
