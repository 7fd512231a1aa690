"""What `dryspell check` says of alert targets by what the state knows, of pictures, and of publishing states."""

import re
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from alerts.receiver import Receiver
from dryspell.cli import alert_probes
from dryspell.store.notices import Message
from dryspell.store.store import open_store
from weather.sensors.small_broker import SmallBroker
from yard import config

NOW = datetime(2026, 6, 3, 8, tzinfo=UTC)


@pytest.fixture
def receiver():
    receiver = Receiver()
    yield receiver
    receiver.close()


def found(settings, **how):
    return [(each.part, each.word, each.text) for each in alert_probes.alerts(settings, NOW, **how)]


def message(at, **changes):
    made = Message(
        id="a", key="a", piece="rail", kind="wait", title="Wait", body="why", created_at=at,
        expires_at=at + timedelta(hours=1), targets=("phone", "relay"),
    )  # fmt: skip
    return replace(made, **changes)


def test_a_dead_target_and_what_was_too_late_are_shown(tmp_path):
    settings = config(tmp_path)
    with closing(open_store(settings.state_dir)) as store:
        for hour in (5, 4):
            at = NOW - timedelta(hours=hour)
            store.save_round({}, [], [message(at, id=f"{hour}", key=f"{hour}", topic=f"{hour}")], [], at)
        store.mark_failed(store.due(NOW - timedelta(hours=4))[0], "its service cannot be reached", NOW)
        store.thin_out(NOW, ["phone", "relay"])
    assert found(settings) == [
        (
            "alert",
            "bad",
            (
                "phone: json://… has taken none of 1 notice since 5 h ago, the last time because its service cannot be "
                "reached; 2 messages within a week were too late for it and dropped"
            ),
        ),
        (
            "alert",
            "look",
            (
                "relay: json://… about rail: Apprise knows the address; nothing was sent; 2 messages within a week "
                "were too late for it and dropped"
            ),
        ),
    ]
    week = [each.word for each in alert_probes.alerts(settings, NOW + timedelta(days=8))]
    assert week == ["bad", "good"]


def test_where_nothing_draws_messages_go_without_a_picture_and_that_is_said(tmp_path, monkeypatch):
    monkeypatch.setattr(alert_probes, "can_draw", lambda: False)
    more = 'alert.plain = { url = "json://127.0.0.1:1/", pictures = false }\nalert.told = { url = "gotify://a/token" }'
    *_, last = found(config(tmp_path, more))
    assert last == (
        "alert",
        "look",
        "phone, relay: messages go without a picture; the extra dryspell[charts] adds what draws it",
    )


def test_a_test_message_brings_a_picture_where_messages_do(tmp_path, receiver):
    more = f"""
alert.hub = {{ url = "{receiver.url}" }}
alert.plain = {{ url = "{receiver.url}", pictures = false }}
"""
    said = [text for _, _, text in found(config(tmp_path, more), send=True)]
    assert said[2:] == [
        "hub: json://… about all pieces: a test was sent, with a picture; see that it came",
        "plain: json://… about all pieces: a test was sent; see that it came",
    ]
    assert len(receiver.got) == 2
    ((_, kind, png),) = receiver.pictures
    assert (kind, png[:8]) == ("image/png", b"\x89PNG\r\n\x1a\n")


def test_where_states_are_published_is_tried(tmp_path):
    broker = SmallBroker(users={"ada": "right-hunter2"}).start()
    more = """
broker.yard = {{ host = "127.0.0.1", port = {port}, tls = false, user = "ada", password_file = "{password}" }}
mqtt_out = {{}}
"""
    (tmp_path / "password").write_text("right-hunter2")
    text = more.format(port=broker.port, password=tmp_path / "password")
    settings = config(tmp_path, text)
    assert [(each.word, each.text) for each in alert_probes.published(settings)] == [
        ("good", f"yard (127.0.0.1:{broker.port}): lets us in; states of pieces go to dryspell/piece/…")
    ]
    assert [each.word for each in alert_probes.published(settings, offline=True)] == ["skipped"]
    broker.users["ada"] = "other"
    ((word, text),) = [(each.word, each.text) for each in alert_probes.published(settings)]
    assert word == "bad"
    assert re.search(r"refuses user ada", text)
    assert "hunter2" not in text
    broker.stop()
    assert list(alert_probes.published(config(tmp_path))) == []
