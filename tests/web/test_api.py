"""The documents over HTTP: as the commands print them, bounded where they take something, plain where they refuse."""

import json
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import numpy as np
import pytest

from dryspell.answers.document import windows_document
from dryspell.trade.piece import Site
from dryspell.web.api.weather import piece_weather, site_weather
from served import START, served
from yard import config, weather

PROBLEM = "application/problem+json"
COAT = {"thinner_parts": 10, "wet_film_um": 80.0, "air_c": 18.5, "who": "Ada"}


@pytest.fixture
def daemon(tmp_path):
    with served(tmp_path) as daemon:
        yield daemon


@pytest.fixture(scope="module")
def unchanged(tmp_path_factory):
    """One for all tests that change nothing."""
    with served(tmp_path_factory.mktemp("unchanged")) as daemon:
        yield daemon


def coats_on(daemon):
    return daemon.get("api/v1/record/rail").json()["pieces"][0]["coats_on"]


def test_windows_are_the_document_that_the_command_prints(unchanged):
    known = unchanged.service.board.known
    written = windows_document(known.outlooks, known.at, {"harbour": "harbour", "orchard": "orchard"}).as_json()
    answer = unchanged.get("api/v1/windows")
    assert answer.headers["content-type"] == "application/json"
    assert answer.json() == written
    assert [piece["piece"] for piece in unchanged.get("api/v1/windows/bench").json()["pieces"]] == ["bench"]


@pytest.mark.parametrize(
    ("path", "schema"),
    [
        ("plan", "plan/1"), ("plan/rail", "plan/1"), ("record/rail", "log/1"), ("record/rail/history", "log/1"),
        ("material", "material/1"), ("material/rail?mix_c=20", "material/1"), ("review", "review/1"),
        ("review/bench?days=3", "review/1"), ("status", "status/1"), ("weather/site/harbour", "site_weather/1"),
        ("weather/piece/rail", "piece_weather/1"),
    ],
)  # fmt: skip
def test_every_document_says_which_it_is_and_when_it_was_made(unchanged, path, schema):
    written = unchanged.get(f"api/v1/{path}").json()
    assert written["schema"] == f"dryspell.{schema}"
    assert written["generated_at"] == "2026-06-02T10:00:00Z"


def test_the_weather_of_a_site_is_that_of_its_source_hour_by_hour(unchanged):
    written = unchanged.get("api/v1/weather/site/harbour").json()
    here = next(hour for hour in written["hours"] if hour["at"] == "2026-06-02T12:00:00Z")
    # The yard's weather: 18 degC and 55 %. Dew point by Magnus (WMO-No. 8, Annex 4.B), worked out by hand: 8.8 degC.
    assert here["air_c"] == pytest.approx(18.0, abs=0.5)
    assert here["dew_point_c"] == pytest.approx(8.8, abs=0.5)
    assert here["rain_mm"] == 0.0
    assert here["gust_m_s"] is None
    assert written["weather"]["attribution"] == "Weather by nobody"


def test_the_sums_and_means_of_an_hour_stand_at_its_end_as_in_the_table_of_weather():
    rain, sun = np.zeros(48), np.zeros(48)
    rain[36:39], sun[40] = (1.0, 2.5, 0.25), 400.0
    table = weather(hours=48, precipitation_amount=rain, surface_downwelling_shortwave_flux_in_air=sun)
    site = Site.model_validate(
        {"key": "quay", "latitude": "54 deg", "longitude": "10 deg", "timezone": "Europe/Berlin"}
    )
    hours = site_weather(site, table, START - timedelta(days=1)).as_json()["hours"]
    assert len(hours) == 48
    assert {hour["at"]: hour["rain_mm"] for hour in hours if hour["rain_mm"]} == {
        "2026-06-01T22:00:00Z": 1.0, "2026-06-01T23:00:00Z": 2.5, "2026-06-02T00:00:00Z": 0.25,
    }  # fmt: skip
    assert [hour["at"] for hour in hours if hour["sun_w_m2"]] == ["2026-06-02T02:00:00Z"]


def test_a_piece_in_the_open_gets_the_rain_of_its_site_and_its_surface_differs_from_the_air(tmp_path):
    yard = config(tmp_path, 'piece.gate = { site = "harbour", coating = "oil_varnish_1k" }')
    rain = np.zeros(96)
    rain[60:63] = (1.0, 2.5, 0.25)
    found = piece_weather(yard.piece["gate"], yard.site["harbour"], weather(hours=96, precipitation_amount=rain), START)
    hours = found.as_json()["hours"]
    assert sum(hour["rain_mm"] or 0.0 for hour in hours) == pytest.approx(3.75, abs=0.02)
    assert max(hour["surface_c"] - hour["air_c"] for hour in hours[2:-2]) > 2.0
    for hour in hours[2:-2]:
        assert hour["margin_k"] == pytest.approx(hour["surface_c"] - hour["dew_point_c"], abs=0.02)


def test_a_coat_that_is_recorded_moves_the_next_window(daemon):
    before = daemon.get("api/v1/windows/rail").json()["pieces"][0]
    answer = daemon.post("api/v1/record/rail/coats", json=COAT)
    assert answer.status_code == 201
    written = answer.json()
    assert (written["did"], written["coat"], written["thinner_parts"]) == ("record", 4, 10.0)
    assert written["weather"]["by_hand"]["air_c"] == {"value": 18.5, "known": "hand"}
    assert written["stages"]["sandable"] > written["finished_at"]
    assert written["cautions"]
    after = daemon.get("api/v1/windows/rail").json()["pieces"][0]
    assert (before["next_coat"], after["next_coat"]) == (4, 5)
    assert after["windows"][0]["start"] > before["windows"][0]["start"]


def test_the_same_request_sent_again_records_no_second_coat(daemon):
    name = {"Idempotency-Key": "two-taps-on-a-bad-line"}
    first, again = (daemon.post("api/v1/record/rail/coats", json=COAT, headers=name) for _ in range(2))
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert coats_on(daemon) == 4
    other = daemon.post("api/v1/record/bench/coats", json=COAT, headers=name)
    assert (other.status_code, coats_on(daemon)) == (409, 4)


def test_the_same_request_sent_at_once_many_times_records_one_coat(daemon):
    name = {"Idempotency-Key": "an-impatient-thumb"}

    def send(_):
        return daemon.post("api/v1/record/rail/coats", json=COAT, headers=name).json()["coat"]

    with ThreadPoolExecutor(8) as many:
        assert set(many.map(send, range(8))) == {4}
    assert coats_on(daemon) == 4


def test_a_coat_is_corrected_spoilt_and_taken_back_and_nothing_is_erased(daemon):
    daemon.post("api/v1/record/rail/coats", json=COAT)
    corrected = daemon.post("api/v1/record/rail/coats/4/correction", json={"thinner_parts": None, "by": "Kim"}).json()
    assert (corrected["thinner_parts"], corrected["wet_film_um"]) == (None, 80.0)
    spoilt = daemon.post("api/v1/record/rail/coats/4/spoilt", json={"by": "dew", "note": "a clear night"}).json()
    assert (spoilt["did"], spoilt["spoilt"]) == ("spoilt", "dew")
    assert daemon.post("api/v1/record/rail/coats/4/spoilt", json={"by": None}).json()["did"] == "not spoilt"
    assert daemon.client.delete("api/v1/record/rail/coats/4?by=Kim").json()["did"] == "undo"
    assert coats_on(daemon) == 3
    history = daemon.get("api/v1/record/rail/history").json()["pieces"][0]["history"]
    assert [[change["what"] for change in version["changes"]] for version in history] == [
        ["corrected"], ["spoilt", "not spoilt", "undone"],
    ]  # fmt: skip
    assert history[0]["changes"][0]["who"] == "Kim"


def test_a_coat_that_is_seen_to_be_sandable_teaches_its_pace(daemon):
    daemon.post("api/v1/record/rail/coats", json=COAT)
    daemon.tick(START + timedelta(hours=30))
    answer = daemon.post("api/v1/record/rail/coats/4/sandable", json={})
    assert answer.status_code == 200
    assert answer.json()["pace_coats"] == 1


def test_a_pot_is_mixed_and_poured_away(tmp_path):
    more = 'piece.spar = { name = "Spar", site = "harbour", shelter = "shed", coating = "pu_clear_2k" }'
    with served(tmp_path, more) as daemon:
        mixed = daemon.post("api/v1/record/spar/pot", json={}).json()
        assert (mixed["did"], mixed["coat"]) == ("mixed", 1)
        assert mixed["pot"]["goes_off_at"] > mixed["mixed_at"]
        assert daemon.client.delete("api/v1/record/spar/pot").json()["did"] == "poured away"


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"wet_film_um": 0}, "wet_film_um"),
        ({"wet_film_um": 2001}, "wet_film_um"),
        ({"thinner_parts": "10 parts"}, "thinner_parts"),
        ({"humidity_pct": 101}, "humidity_pct"),
        ({"air_c": True}, "air_c"),
        ({"abrasive": "P4"}, "abrasive"),
        ({"at": "yesterday"}, "at"),
        ({"at": "0001-01-01T00:00:00+14:00"}, "at"),
        ({"at": 1780000000}, "at"),
        ({"who": "x" * 101}, "who"),
        ({"litres": 1}, "litres"),
        ([], "body"),
    ],
)
def test_a_field_that_is_wrong_is_named_and_nothing_is_recorded(unchanged, body, field):
    answer = unchanged.post("api/v1/record/rail/coats", json=body)
    assert (answer.status_code, answer.headers["content-type"]) == (422, PROBLEM)
    problem = answer.json()
    assert {"type", "title", "status", "detail"} <= problem.keys()  # RFC 9457, section 3.1
    assert [error["field"] for error in problem["errors"]] == [field]
    assert coats_on(unchanged) == 3


@pytest.mark.parametrize(
    ("method", "path", "sent", "status"),
    [
        ("GET", "windows/boat", {}, 404),
        ("GET", "weather/site/rail", {}, 404),
        ("GET", "nothing", {}, 404),
        ("PUT", "windows", {}, 405),
        ("GET", "review?days=0", {}, 422),
        ("POST", "record/rail/coats", {"content": "{", "headers": {"content-type": "application/json"}}, 400),
        ("POST", "record/rail/coats", {"content": "who=Ada"}, 415),
        ("POST", "record/rail/coats", {"json": {"coat": 9}}, 409),
        ("POST", "record/rail/coats", {"json": {"at": "2026-06-03T00:00:00Z"}}, 409),
        ("POST", "record/rail/coats", {"json": {"at": "1970-01-01T00:00:00Z"}}, 409),
        ("POST", "record/rail/coats", {"json": {"note": "x" * 70_000}}, 413),
        ("POST", "record/rail/coats/4/spoilt", {"json": {"by": "dew"}}, 404),
        ("DELETE", "record/rail/coats/4", {}, 404),
        ("POST", "record/rail/coats", {"json": {}, "headers": {"origin": "https://elsewhere.example"}}, 403),
        ("POST", "record/rail/coats", {"json": {}, "headers": {"host": "elsewhere.example"}}, 403),
    ],
)
def test_every_refusal_is_a_problem_document_that_names_no_path(unchanged, method, path, sent, status):
    answer = unchanged.client.request(method, f"api/v1/{path}", **sent)
    assert (answer.status_code, answer.headers["content-type"]) == (status, PROBLEM)
    problem = answer.json()
    assert (problem["status"], problem["type"]) == (status, "about:blank")
    folder = str(unchanged.service.config.state_dir.parent)
    assert folder not in answer.text
    assert "Traceback" not in answer.text
    assert coats_on(unchanged) == 3


def test_before_the_first_tick_a_program_is_told_to_come_again(daemon):
    daemon.service.board._known = None
    daemon.service.board._version += 1
    answer = daemon.get("api/v1/windows")
    assert (answer.status_code, answer.headers["content-type"]) == (503, PROBLEM)
    assert answer.headers["retry-after"] == "5"


def test_a_state_that_cannot_be_read_is_a_503_without_its_path(daemon):
    daemon.service._store._connection.close()
    answer = daemon.get("api/v1/record/rail")
    assert (answer.status_code, answer.headers["content-type"]) == (503, PROBLEM)
    assert "sqlite" not in answer.text


def test_with_a_token_only_who_brings_it_is_answered(tmp_path):
    with served(tmp_path, token="a-long-enough-token") as daemon:
        refused = daemon.get("api/v1/windows")
        assert (refused.status_code, refused.headers["www-authenticate"]) == (401, "Bearer")
        assert refused.headers["content-type"] == PROBLEM
        bearer = {"Authorization": "Bearer a-long-enough-token"}
        assert daemon.get("api/v1/windows", headers=bearer).status_code == 200
        assert "security" in daemon.get("api/openapi.json", headers=bearer).json()


def test_a_document_that_has_not_changed_is_not_sent_again(daemon):
    etag = daemon.get("api/v1/windows").headers["etag"]
    assert daemon.get("api/v1/windows", headers={"If-None-Match": etag}).status_code == 304
    daemon.post("api/v1/record/rail/coats", json=COAT)
    assert daemon.get("api/v1/windows", headers={"If-None-Match": etag}).status_code == 200


def test_behind_a_proxy_the_addresses_begin_with_its_prefix(tmp_path):
    with served(tmp_path, prefix="/varnish") as daemon:
        assert daemon.get("api/v1/status").json()["schema"] == "dryspell.status/1"
        assert daemon.get("api/openapi.json").json()["servers"] == [{"url": "/varnish"}]


def test_every_field_that_is_told_of_says_what_it_is(unchanged):
    schemas = unchanged.get("api/openapi.json").json()["components"]["schemas"]
    bare = [
        f"{name}.{field}"
        for name, schema in schemas.items()
        for field, of in schema.get("properties", {}).items()
        if not of.get("description") and not _is_told_by_its_model(of, schemas)
    ]
    assert bare == []


def _is_told_by_its_model(of, schemas):
    """Say whether the field is a model that says what it is, or a list of such."""
    names = json.dumps(of).split('"#/components/schemas/')[1:]
    return bool(names) and all(schemas[name.partition('"')[0]].get("description") for name in names)
