"""From a decision to what arrives: each target in its own units, with a chart or without, by the daemon's own parts."""

from contextlib import closing
from datetime import timedelta

import pytest

from alerts.receiver import Receiver
from dryspell.clock import FixedClock
from dryspell.service import Service
from dryspell.store.store import open_store
from dryspell.tick import charts
from yard import START, FakeSource, config, weather


@pytest.fixture
def receiver():
    receiver = Receiver()
    yield receiver
    receiver.close()


def told(folder, receiver):
    """Let a daemon look once, and return what arrived by what follows its title in the address."""
    more = f"""
alert.metric = {{ url = "{receiver.url}" }}
alert.us = {{ url = "{receiver.url}", units = "us", pictures = false }}
"""
    settings = config(folder, more)
    sources = {key: FakeSource(weather()) for key in settings.site}
    # Noon in Berlin: mild and dry, so that a coat can go on.
    with Service(settings, FixedClock(START), sources=sources) as service:
        seen = service.tick()
        assert service._delivery.wait(60)
    with closing(open_store(settings.state_dir)) as store:
        sendings = {(s.notice, s.target): s for s in store.sendings()}
    return seen, sendings


def test_each_target_reads_its_own_units_and_a_picture_goes_where_it_is_wanted(tmp_path, receiver):
    seen, sendings = told(tmp_path, receiver)
    assert seen.messages
    for message in seen.messages:
        metric, us = sendings[message.id, "metric"], sendings[message.id, "us"]
        assert metric.title == us.title
        assert "°C" in metric.body
        assert "°F" not in metric.body
        assert "°F" in us.body
        assert "°C" not in us.body
        assert metric.delivered_at == us.delivered_at == START
    assert len(receiver.got) == 2 * len(seen.messages)
    assert len(receiver.pictures) == len(seen.messages)
    assert {png[:4] for *_, png in receiver.pictures} == {b"\x89PNG"}
    # A chart that has gone, or will not go, is not kept.
    delivered = [s for s in sendings.values() if s.delivered_at]
    assert {s.chart for s in delivered} == {""}


def test_a_chart_that_cannot_be_made_holds_no_message(tmp_path, receiver, monkeypatch, caplog):
    def fails(*_):
        raise ValueError("no chart of that")

    monkeypatch.setattr(charts, "ahead_of", fails)
    seen, _ = told(tmp_path, receiver)
    assert len(receiver.got) == 2 * len(seen.messages)
    assert receiver.pictures == []
    assert "its message goes without" in caplog.text


def test_a_target_that_hears_of_one_piece_gets_its_part_and_its_chart(tmp_path, receiver):
    settings = config(tmp_path, f'alert.bench = {{ url = "{receiver.url}", pieces = ["bench"] }}')
    sources = {key: FakeSource(weather()) for key in settings.site}
    with Service(settings, FixedClock(START), sources=sources) as service:
        service.tick()
        assert service._delivery.wait(60)
    assert receiver.got
    assert all("Bench" in title + body and "Rail" not in title + body for title, body in receiver.got)


def test_weather_that_is_not_acted_on_is_not_drawn(tmp_path):
    settings = config(tmp_path)
    now = START + timedelta(days=5)
    outlook = look_at(settings, now)
    assert outlook.word == "unknown"
    chart = charts.Charts(settings, {"rail": outlook}, {"harbour": weather()}, now)
    assert chart("rail", "metric") == ""
    assert charts.Charts(settings, {"rail": look_at(settings, START)}, {"harbour": None}, START)("rail", "us") == ""


def look_at(settings, now):
    from dryspell.tick.look import look

    rail, _ = look(settings, {}, {"harbour": weather(), "orchard": weather()}, now)
    return rail
