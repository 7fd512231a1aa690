"""Metrics as a monitoring system reads them, and the health that somebody else watches."""

from datetime import timedelta

import pytest
from prometheus_client.parser import text_string_to_metric_families

from served import START, served
from yard import down


@pytest.fixture(scope="module")
def daemon(tmp_path_factory):
    with served(tmp_path_factory.mktemp("metrics")) as daemon:
        yield daemon


def samples(daemon):
    answer = daemon.get("metrics")
    assert answer.headers["content-type"] == "text/plain; version=0.0.4; charset=utf-8"
    families = list(text_string_to_metric_families(answer.text))
    # prometheus.io/docs/practices/naming: one prefix, and a help text each.
    assert all(family.name.startswith("dryspell_") and family.documentation for family in families)
    return {(s.name, *sorted(s.labels.values())): s.value for family in families for s in family.samples}


def test_one_verdict_of_four_is_true_of_each_piece(daemon):
    found = samples(daemon)
    for piece in ("rail", "bench"):
        words = {word: found["dryspell_piece_verdict", *sorted((piece, word))] for word in
                 ("coat", "tight", "wait", "unknown")}  # fmt: skip
        assert sorted(words.values()) == [0.0, 0.0, 0.0, 1.0]
        assert words[daemon.service.board.known.outlook(piece).word] == 1.0


def test_ages_and_progress_are_told_in_base_units(tmp_path):
    with served(tmp_path) as daemon:
        daemon.post("api/v1/record/rail/coats", json={})
        daemon.tick(START + timedelta(hours=6))
        found = samples(daemon)
    assert found["dryspell_weather_age_seconds", "harbour"] == 6 * 3600
    assert found["dryspell_last_tick_timestamp_seconds",] == (START + timedelta(hours=6)).timestamp()
    assert 0.0 < found["dryspell_piece_film_sandable_ratio", "rail"] <= 1.0
    assert found["dryspell_piece_coats_left", "rail"] == 4.0
    assert ("dryspell_piece_film_sandable_ratio", "bench") not in found
    assert found["dryspell_piece_next_window_seconds", "rail"] > 0.0
    assert found["dryspell_source_failing_seconds", "harbour", "invented"] == 0.0
    assert found["dryspell_outbox_messages", "phone"] >= 0.0
    assert found["dryspell_plan_gap_ratio",] >= 0.0


def test_ticks_are_counted_with_their_time_and_those_that_fail(tmp_path):
    with served(tmp_path) as daemon:
        before = samples(daemon)
        daemon.service._tick_on_schedule()
        daemon.service._round.run = None
        with pytest.raises(TypeError):
            daemon.service._tick_on_schedule()
        after = samples(daemon)
    assert after["dryspell_tick_seconds_count",] == before["dryspell_tick_seconds_count",] + 1
    assert after["dryspell_tick_seconds_sum",] > before["dryspell_tick_seconds_sum",]
    assert after["dryspell_tick_failures_total",] == before["dryspell_tick_failures_total",] + 1


def test_there_are_as_many_series_as_pieces_sites_sensors_and_targets_ask_for(daemon):
    # Prometheus' advice: no label whose values grow without bound. 2 pieces, 2 sites, 2 targets.
    assert len(samples(daemon)) < 60


def health(daemon):
    answer = daemon.get("health")
    return answer.status_code, answer.json()["trouble"], answer.json()["well"]


def test_health_is_green_while_all_is_well_and_red_when_ticks_stay_out(tmp_path):
    with served(tmp_path) as daemon:
        assert health(daemon) == (200, [], True)
        daemon.clock.at += timedelta(minutes=10)
        assert health(daemon) == (503, ["ticks"], False)
        daemon.tick()
        assert health(daemon) == (200, [], True)


def test_health_is_red_when_no_source_gives_weather_for_hours(tmp_path):
    with served(tmp_path) as daemon:
        for source in daemon.sources.values():
            source.answer = down()
        for hours in (1, 2, 3, 4, 5):
            daemon.service._gatherer.refetch()
            daemon.tick(START + timedelta(hours=hours))
        assert health(daemon) == (503, ["sources"], False)


def test_health_is_red_when_the_state_cannot_be_read(tmp_path):
    with served(tmp_path) as daemon:
        daemon.service._store._connection.close()
        status, trouble, _ = health(daemon)
        assert (status, trouble) == (503, ["store"])


def test_health_tells_a_stranger_nothing_but_whether_it_is_well(tmp_path):
    with served(tmp_path, token="a-long-enough-token") as daemon:
        answer = daemon.get("health")
        assert answer.status_code == 200
        assert answer.json().keys() == {"schema", "generated_at", "well", "trouble", "ticked_at"}
        assert daemon.get("metrics").status_code == 401
        assert daemon.get("metrics", headers={"Authorization": "Bearer a-long-enough-token"}).status_code == 200
