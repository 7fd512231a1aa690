"""Every parser, on what nobody of good will would send: `python tests/bench/fuzz_parsers.py [SECONDS [PARSER ...]]`.

Configuration, tables of weather, answers of the weather services, payloads of sensors, what is posted to the API and to
the page, what is told of a coat, quantities, and the small files of the state. Each is given an equal share of the time
and new things in each run. Out may come what was read, or an error in plain words (a DryspellError, a ValueError where
that is the parser's word, a status under 500); anything else is a finding, printed as short as hypothesis can make it,
and ends the run with 1. `../shared/weather-samples` is used where it is there.
"""

import contextlib
import json
import logging
import string
import sys
import tempfile
import time
import traceback
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from asgi import AsgiClient  # noqa: E402  (tests are not a package)
from config import test_fuzz as documents  # noqa: E402
from dryspell.answers.coat_told import ToldError, told  # noqa: E402
from dryspell.bundled import bundled  # noqa: E402
from dryspell.clock import FixedClock  # noqa: E402
from dryspell.config import Config, parse  # noqa: E402
from dryspell.errors import ConfigError, WeatherError  # noqa: E402
from dryspell.service import Service  # noqa: E402
from dryspell.tick.heartbeat import FILE_NAME, Heartbeat, read_heartbeat  # noqa: E402
from dryspell.units import read_quantity  # noqa: E402
from dryspell.weather.kept import Kept, load, save  # noqa: E402
from dryspell.weather.sensors.counters import Counters  # noqa: E402
from dryspell.weather.sensors.decode import Arrival, Decoder, PayloadError  # noqa: E402
from dryspell.weather.sensors.intake import Intake  # noqa: E402
from dryspell.weather.sensors.memory import Memory  # noqa: E402
from dryspell.weather.sensors.notices import Notices  # noqa: E402
from dryspell.weather.sensors.position import Position  # noqa: E402
from dryspell.weather.sensors.push import PushDesk, Request  # noqa: E402
from dryspell.weather.sources import met_norway, nws  # noqa: E402
from dryspell.weather.sources.met_norway_answer import read_met_norway  # noqa: E402
from dryspell.weather.sources.nws_answer import read_nws, read_points  # noqa: E402
from dryspell.weather.sources.open_meteo import decode, read_answer, read_refusal  # noqa: E402
from dryspell.weather.sources.table_file import TableFile  # noqa: E402
from dryspell.weather.table import WeatherTable  # noqa: E402
from forms_in import forms_in  # noqa: E402
from mutations import changed  # noqa: E402
from weather.sensors.bench import NOON, Collected, sensor  # noqa: E402
from weather.sources import test_met_norway_answer, test_nws_answer  # noqa: E402
from yard import FakeSource, Taken, config, weather  # noqa: E402

SECONDS = 600.0
SAMPLES = ROOT.parent / "shared" / "weather-samples"
EXAMPLES_AT_ONCE = 100
NOW = datetime(2026, 6, 2, 10, tzinfo=UTC)
ODD = (
    "", " ", "\x00", "\ud800", "\u202e", "\N{MINUS SIGN}4", "1e999", "-1e999", "nan", "inf", "0x1F", "1_000", "\u0663",
    "9" * 400, "9^9^9^9 h", "1/0", "~", "~nobody-of-that-name/x", "/dev/zero", "../../x", "https://[", "json://[::1",
    "0001-01-01T00:00+14:00", "9999-12-31T23:59:59-23:59", "2026-03-29T02:30", "24:00", "99:99", "-0", "1e-320", "P0",
    "{", "[" * 2000, "a\nb", "<b>&",
)  # fmt: skip
PARSERS = {}

text = st.one_of(st.sampled_from(ODD), st.text(max_size=20), st.text(string.printable, max_size=40))
scalar = st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), text)
anything = st.recursive(scalar, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(text, inner, max_size=4))


def parser(strategy):
    """Have a parser be given what a strategy makes."""

    def keep(function):
        PARSERS[function.__name__] = lambda how: how(given(strategy)(function))
        return function

    return keep


@st.composite
def spoilt(draw, body):
    """Return bytes with some of them cut, doubled or put in the place of others."""
    for _ in range(draw(st.integers(1, 4))):
        begin = draw(st.integers(0, len(body)))
        end = min(len(body), begin + draw(st.sampled_from((0, 1, 2, 10, 200))))
        put = draw(
            st.one_of(st.just(b""), st.binary(max_size=6), text.map(lambda each: each.encode("utf-8", "replace")))
        )
        body = body[:begin] + put + body[end:]
    return body


@st.composite
def spoilt_example(draw, lines):
    """Return the example of a configuration with lines switched on, left out, and values put in the place of others."""
    lines = list(lines)
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.integers(0, len(lines) - 1))
        key, _, value = lines[at].lstrip("#").partition("=")
        lines[at] = draw(
            st.sampled_from(
                (key + "=" + value, "", key + "= ", f"{key}= {{}}", f"{key}= []", f"{key}= true", f"{key}= -1")
            )
            | text.map(lambda each, key=key: f"{key}= {json.dumps(each)}")
        )
    return "\n".join(lines)


EXAMPLE = bundled("example.toml").read_text("utf-8").splitlines()


@parser(spoilt_example(EXAMPLE))
def configuration(written):
    # Text of lone surrogates is none that a file could hold.
    written = written.encode("utf-8", "replace").decode()
    problems = []
    try:
        assert isinstance(parse(written, Path("yard.toml"), env={"HOME": "/home/you"}), Config)
    except ConfigError as error:
        problems = error.problems
    assert all(problem.isprintable() for problem in problems), problems


@parser(documents.tables)
def configuration_of_any_shape(document):
    documents.assert_plain(documents.outcome(document))


CSV = b"\n".join(bundled("demo-weather.csv").read_bytes().splitlines()[:30])
JSONL = (
    b'{"units": {"air_temperature": "degF", "relative_humidity": "percent"}, "issued_at": "2026-06-01T06:00Z"}\n'
    b'{"time": "2026-06-01T08:00+02:00", "air_temperature": 61.5, "relative_humidity": 80}\n'
    b'{"time": "2026-06-01T09:00+02:00", "air_temperature": 62, "relative_humidity": null}\n'
)


@parser(st.one_of(st.tuples(st.just(".csv"), spoilt(CSV)), st.tuples(st.just(".jsonl"), spoilt(JSONL))))
def table(written):
    ending, body = written
    file = SCRATCH / f"weather{ending}"
    file.write_bytes(body)
    with contextlib.suppress(WeatherError):
        assert isinstance(TableFile(file).fetch(NOW), WeatherTable)


def samples(folder):
    return [json.loads(each.read_text("utf-8")) for each in sorted((SAMPLES / folder).glob("*.json"))]


def small(data):
    """Cut long lists, or most of what is put in the place of something hits the middle of a series."""
    if isinstance(data, dict):
        return {key: small(value) for key, value in data.items()}
    return [small(each) for each in data[:6]] if isinstance(data, list) else data


ASKED_TIMES = {"time": [1780315200 + 3600 * hour for hour in range(6)]}
OPEN_METEO = [
    {
        "utc_offset_seconds": 0,
        "hourly_units": {"time": "unixtime", "temperature_2m": "°C", "precipitation": "mm", "cloud_cover": "%"},
        "hourly": ASKED_TIMES
        | {"temperature_2m": [12.5, None, 13, 1, 2, 3], "precipitation": [0.0] * 6, "cloud_cover": [50] * 6},
    },
    *map(small, samples("open-meteo-forecast")),
    *map(small, samples("open-meteo-ensemble")),
]
MORE = (
    1e308,
    -1e308,
    10**400,
    10**18,
    -1,
    86400,
    "unixtime",
    "iso8601",
    "9999-12-31T23:59",
    "0001-01-01T00:00",
    *ODD[:12],
)


@parser(st.sampled_from(OPEN_METEO).flatmap(lambda each: changed(each, *MORE)))
def open_meteo(data):
    for model in (None, "icon_seamless"):
        with contextlib.suppress(WeatherError):
            assert isinstance(read_answer(data, NOW, model=model), WeatherTable)


NORWAY = [test_met_norway_answer.GOOD, *map(small, samples("met-norway-locationforecast"))]


@parser(st.sampled_from(NORWAY).flatmap(lambda each: changed(each, *MORE)))
def met_norway_answer(data):
    with contextlib.suppress(WeatherError):
        assert isinstance(read_met_norway(data, NOW), WeatherTable)


NWS = [test_nws_answer.GOOD, *map(small, samples("nws-gridpoints"))]


@parser(st.sampled_from(NWS).flatmap(lambda each: changed(each, *MORE, *test_nws_answer.ODD_SPANS)))
def nws_answer(data):
    for read in (read_points, lambda data: read_nws(data, NOW)):
        with contextlib.suppress(WeatherError):
            read(data)


ERRORS = [each.read_bytes() for each in sorted((SAMPLES / "error-bodies").glob("*"))] or [
    b'{"error":true,"reason":"x"}'
]


@parser(st.sampled_from(ERRORS).flatmap(spoilt) | st.binary(max_size=60))
def error_bodies(body):
    for refusal in (read_refusal, met_norway.read_refusal, nws.read_refusal):
        for status in (200, 400, 429, 503):
            refusal(status, body, NOW)
    with contextlib.suppress(WeatherError):
        decode(body)


WAYS = {
    "nested": sensor(
        "mast", None, time={"path": "at", "format": "iso", "zone": "Europe/Berlin"},
        air_temperature="a.t", relative_humidity={"path": "b[1]", "unit": "%"},
        precipitation_amount={"path": "tips", "unit": "0.2794 mm", "kind": "counter"},
    ),
    "unix": sensor("mast", None, time={"path": "at", "format": "unix_ms"}, air_temperature={"path": "t", "unit": None}),
    "plain": sensor("mast", None, air_temperature={}),
}  # fmt: skip
PAYLOAD = {"at": "2026-06-01T12:00", "a": {"t": 20.5}, "b": [1, "55 %"], "tips": 14, "t": "21.3 °C"}


@parser(
    st.tuples(
        st.sampled_from(sorted(WAYS)),
        st.one_of(changed(PAYLOAD, *MORE), changed(PAYLOAD | {"at": 1780315200000}, *MORE), scalar).map(
            lambda each: json.dumps(each).encode()
        )
        | spoilt(json.dumps(PAYLOAD).encode())
        | st.binary(max_size=80)
        | st.dictionaries(st.sampled_from(["t", "at", "a.t"]), text),
    )
)
def payloads(sent):
    way, payload = sent
    decoder = Decoder(WAYS[way], Counters(Memory(SCRATCH / "memory")), Notices())
    for at in (NOON, None):
        with contextlib.suppress(PayloadError):
            decoder.readings(Arrival("mast", payload, at))


@parser(
    st.tuples(
        st.sampled_from(["POST", "GET", ""]),
        st.sampled_from(["/v1/readings/mast", "/v1/readings/%ff", "//[", "", "/v1/readings/mast?"]),
        text, st.sampled_from(["Bearer t", "Bearer \udc80", "bearer", "Basic", "Bearer a token of many letters"]),
        st.sampled_from(["", "application/json", "application/x-www-form-urlencoded"]),
        spoilt(json.dumps(PAYLOAD).encode()) | st.binary(max_size=40),
    )
)  # fmt: skip
def pushed(sent):
    method, target, more, token, kind, body = sent
    intake = Intake({"mast": WAYS["nested"]}, Collected(), Memory(SCRATCH / "memory"), Notices())
    desk = PushDesk("a token of many letters", {"mast"}, intake, FixedClock(NOON), Notices())
    answer = desk.answer(Request(method, target + more, {"authorization": token, "content-type": kind}, body))
    assert answer.status < 500
    json.dumps(answer.document)


TOLD = (
    "at", "began", "who", "coating", "thinner", "wet_film", "used", "abrasive", "batch", "air", "surface", "humidity",
    "wind", "photo", "note",
)  # fmt: skip
SAID = st.sampled_from(
    ("09:40", "2026-06-02T09:40", "2026-06-02T07:40Z", "10 parts", "10 %", "1:10", "neat", "80 um", "3 mil", "0.4 L",
     "P320", "none", "18 degC", "65 degF", "55 %", "3 m/s", "7 mph", "oil_varnish_1k")
)  # fmt: skip


def mixed(words):
    """Return words, and words that run into something odd."""
    return words | text | st.builds(lambda one, other: one + other, words, text)


@parser(st.dictionaries(st.sampled_from(TOLD), mixed(SAID), min_size=1, max_size=6))
def coat_told(given_text):
    yard = THERE.yard
    with contextlib.suppress(ToldError):
        told(given_text, yard, yard.piece["rail"], NOW)


QUANTITIES = st.sampled_from(("18 degC", "65 degF", "75 um", "4 m^2", "1.2 / hour", "80 %", "30 min", "12 K m^2/kW"))
UNITS = ("degC", "K", "percent", "m/s", "mm", "um", "m^2", "litre", "hour", "degree", "1/hour", "K m^2/W")


@parser(st.tuples(mixed(QUANTITIES), st.sampled_from(UNITS), st.booleans()))
def quantities(asked):
    written, unit, difference = asked
    with contextlib.suppress(ValueError):
        assert isinstance(read_quantity(written, unit, difference=difference), float)


BODY = {
    "at": "2026-06-02T09:00:00Z", "began": "2026-06-02T08:00:00Z", "who": "Ada", "coating": "oil_varnish_1k", "coat": 4,
    "thinner_parts": 10, "wet_film_um": 80, "used_l": 0.4, "air_c": 18.5, "humidity_pct": 55, "note": "n",
    "abrasive": "P320",
}  # fmt: skip
RECORD = "/api/v1/record/rail"
POSTED = ("/coats", "/coats/4/correction", "/coats/4/spoilt", "/coats/4/sandable", "/pot", "/coats/0/spoilt", "/x")


@parser(
    st.tuples(
        st.sampled_from(POSTED),
        changed(BODY, *MORE).map(lambda each: json.dumps(each).encode())
        | changed({"by": "dew", "note": "x", "who": "Ada"}, *MORE).map(lambda each: json.dumps(each).encode())
        | spoilt(json.dumps({"note": "x"}).encode()),
        st.text(string.ascii_letters, max_size=9),
    )
)
def api(sent):
    path, body, name = sent
    kind = {"content-type": "application/json", "idempotency-key": name}
    assert THERE.client.post(RECORD + path, content=body, headers=kind).status_code < 500


QUERIES = (
    "/api/v1/material?mix_c=", "/api/v1/review?days=", "/api/v1/plan/", "/api/v1/weather/site/", "/outlook/rail?day=",
    "/charts/dew.json?piece=rail&day=", "/?did=record&piece=rail&coat=", "/record/rail/coat?from=", "/record/",
    "/record/rail/correct?coat=", "/login?next=", "/calendar/site/harbour.ics?key=", "/record/rail?history=",
)  # fmt: skip


@parser(st.tuples(st.sampled_from(QUERIES), text))
def addresses(asked):
    path, more = asked
    assert THERE.client.get(path + quote(more, errors="replace")).status_code < 500


FORMS = ("coat", "correct", "undo", "spoilt", "sandable", "pot")


@parser(
    st.tuples(
        st.sampled_from(FORMS),
        st.dictionaries(
            st.sampled_from((*TOLD, "number", "by", "spoilt", "from", "away", "x")), mixed(SAID), max_size=6
        ),
    )
)
def forms(sent):
    name, fields = sent
    fields = {key: value.encode("utf-8", "replace").decode() for key, value in fields.items()}
    answer = THERE.client.post(f"/record/rail/{name}", data={"form": THERE.form_token, "number": "4"} | fields)
    assert answer.status_code < 500


BEAT = Heartbeat(process=1, version="0", started_at=NOW, at=NOW, tick_s=60.0)
KEPT = Kept(url="http://x/", checked_at=NOW, next_fetch_at=NOW, fetched_at=NOW, body=b"{}", status=200)


ANSWER = b"""{"kept":{"url":"http://x/","checked_at":"2026-06-02T10:00:00Z","next_fetch_at":"2026-06-02T10:00:00Z","""
MEMORY = b'{"counter mast": {"a": 1}, "file mast": [1, 2, "abc"], "broker house client_id": "dryspell-0123"}'


@parser(
    st.tuples(
        spoilt(BEAT.model_dump_json().encode()), spoilt(ANSWER + b'"status":200},"sha256":null}\n{}'), spoilt(MEMORY)
    )
)
def files_of_the_state(bodies):
    beat, answer, remembered = bodies
    (SCRATCH / FILE_NAME).write_bytes(beat)
    read_heartbeat(SCRATCH)
    save(SCRATCH / "answers", KEPT)
    (file,) = (SCRATCH / "answers").glob("*.answer")
    file.write_bytes(answer)
    load(SCRATCH / "answers", KEPT.url)
    (SCRATCH / "sensors.json").write_bytes(remembered)
    memory = Memory(SCRATCH)
    Counters(memory)
    Position.from_values(memory.get("file mast"))
    memory.client_id("house")


class There:
    """A daemon that has looked once, asked without a socket: what goes wrong in it comes out here."""

    def __init__(self, stack):
        yard = config(SCRATCH)
        page = {"listen": ("127.0.0.1", 0), "token": None}
        self.yard = replace(yard, page=yard.page.model_copy(update=page))
        sources = {site: FakeSource(weather(hours=24 * 6)) for site in yard.site}
        self.service = stack.enter_context(Service(self.yard, FixedClock(NOW), sender=Taken(), sources=sources))
        self.service._asked.ask = lambda _: None  # a tick after each change would leave time for little else
        self.service.tick()
        self.client = AsgiClient(self.service._app())
        self.client.post(f"{RECORD}/coats", json={})
        (form, *_) = forms_in(self.client.get("/record/rail/coat").text)
        self.form_token = form.fields["form"]


def found(function, seconds):
    """Give a parser something for some seconds; return how often, and what went wrong."""
    count, until = 0, time.monotonic() + seconds
    how = settings(
        max_examples=EXAMPLES_AT_ONCE, deadline=None, database=None, derandomize=False, print_blob=False,
        suppress_health_check=list(HealthCheck), phases=(Phase.generate, Phase.shrink),
    )  # fmt: skip
    while time.monotonic() < until:
        try:
            function(how)()
        except Exception:  # noqa: BLE001  (every kind is a finding)
            return count, traceback.format_exc()
        count += EXAMPLES_AT_ONCE
    return count, ""


def main(seconds, names):
    """Give every parser its share, print what came of it, and return whether nothing went wrong."""
    wrong = 0
    for name in names:
        count, what = found(PARSERS[name], seconds / len(names))
        print(f"{name:30} {count:8} things{', and then this:' if what else ''}", flush=True)
        if what:
            wrong += 1
            print(what, flush=True)
    return not wrong


if __name__ == "__main__":
    logging.getLogger("dryspell").setLevel(logging.CRITICAL)
    chosen = sys.argv[2:] or list(PARSERS)
    with contextlib.ExitStack() as exits:
        SCRATCH = Path(exits.enter_context(tempfile.TemporaryDirectory()))
        THERE = There(exits)
        sys.exit(not main(float(sys.argv[1]) if sys.argv[1:] else SECONDS, chosen))
