import json
import logging
import signal
import sys
import threading
from datetime import timedelta
from queue import SimpleQueue
from types import SimpleNamespace

import pytest

from dryspell.clock import FixedClock, SystemClock
from dryspell.errors import StoreError
from dryspell.logs import log_to_stderr
from dryspell.service import Service
from dryspell.tick.heartbeat import FILE_NAME
from dryspell.tick.round import Seen
from dryspell.tick.ticking import Health, JumpWatch
from yard import START, FakeSource, Taken, config, weather


@pytest.fixture
def service(tmp_path):
    sources = {"harbour": FakeSource(weather()), "orchard": FakeSource(weather())}
    service = Service(config(tmp_path), FixedClock(START), sender=Taken(), sources=sources)
    yield service
    service.close()


@pytest.fixture
def dryspell_log():
    """Put the logging of the program back as it was."""
    ours, root = logging.getLogger("dryspell"), logging.getLogger()
    before = ours.handlers[:], ours.level, ours.propagate, root.handlers[:]
    yield
    ours.handlers[:], ours.level, ours.propagate, root.handlers[:] = before


def nothing(service):
    """Return what a round sees that has nothing to look at."""
    return Seen(START, service.config, {}, [], [], [])


def run_until(service, done):
    """Run a service until `done()` or for half a minute."""
    signals = SimpleQueue()
    thread = threading.Thread(target=service.run, args=(signals,))
    thread.start()
    waited = threading.Event()
    for _ in range(3000):
        if done():
            break
        waited.wait(0.01)
    signals.put(signal.SIGTERM)
    thread.join(30)
    assert not thread.is_alive()


def test_the_first_tick_is_at_once_and_what_it_says_is_sent(tmp_path):
    sources = {"harbour": FakeSource(weather()), "orchard": FakeSource(weather())}
    sender = Taken()
    slow = config(tmp_path, 'daemon.tick = "1 hour"')
    with Service(slow, FixedClock(START), sender=sender, sources=sources) as service:
        run_until(service, lambda: len(sender.took) == 3)
    assert len(sender.took) == 3


def test_ticks_go_on_at_the_interval_and_faster_where_the_clock_does(tmp_path):
    source = FakeSource(weather())
    sources = {"harbour": source, "orchard": FakeSource(weather())}
    with Service(config(tmp_path), FixedClock(START), speed=6000.0, sender=Taken(), sources=sources) as service:
        ticks = []
        service._round.run = lambda: ticks.append(1) or nothing(service)
        run_until(service, lambda: len(ticks) >= 3)
    assert len(ticks) >= 3


def test_leaving_waits_for_a_tick_to_save_what_it_decided_but_not_for_ever(service):
    in_tick, go_on = threading.Event(), threading.Event()

    def run():
        in_tick.set()
        go_on.wait(30)
        return nothing(service)

    service._round.run = run
    thread = threading.Thread(target=service._tick_on_schedule)
    thread.start()
    assert in_tick.wait(30)
    assert not service.close(wait_s=0.1)
    go_on.set()
    thread.join(30)


def test_a_tick_that_comes_when_the_service_has_left_ends_at_once_and_looks_at_nothing(service):
    ticks = []
    service._round.run = lambda: ticks.append(1)
    assert service.close()
    thread = threading.Thread(target=service._tick_on_schedule, daemon=True)
    thread.start()
    thread.join(30)
    assert not thread.is_alive()  # at its exit the interpreter would wait for it without end
    assert ticks == []


def test_nothing_is_written_of_a_tick_that_ends_as_the_service_has_left_since_the_folder_may_be_another_s(service):
    beat = service.config.state_dir / FILE_NAME
    service._beat()
    beat.unlink()
    assert service.close()
    service._beat()
    assert not beat.exists()


def test_a_tick_that_fails_is_noted_in_the_health_once_and_the_next_one_goes_on(service, caplog):
    outcomes = [StoreError("the disk is full"), StoreError("the disk is full"), None, None]
    ticks = []

    def run():
        ticks.append(1)
        outcome = outcomes[min(len(ticks), len(outcomes)) - 1]
        if outcome:
            raise outcome
        return nothing(service)

    service._round.run = run
    service._tick_s = 0.05
    with caplog.at_level(logging.INFO, "dryspell.tick.ticking"):
        run_until(service, lambda: service.health.last_good_at is not None)
    assert [record.getMessage() for record in caplog.records if record.name.startswith("dryspell")] == [
        "a tick failed, the next one tries again: the disk is full",
        "ticks go well again after 2 that failed",
    ]
    assert service.health.failures == 0


def test_a_fault_of_the_program_is_logged_with_its_traceback(caplog):
    health = Health()
    for _ in range(2):
        health.note(SimpleNamespace(exception=ZeroDivisionError("in the middle"), traceback="Traceback: here"))
    assert [record.getMessage() for record in caplog.records] == [
        "a tick failed, the next one tries again: in the middle",
        "Traceback: here",
    ]


def test_health_counts_failures_in_a_row():
    health = Health()
    for _ in range(3):
        health.note(SimpleNamespace(exception=StoreError("no room"), traceback=""))
    assert (health.failures, health.last_error, health.last_good_at) == (3, "no room", None)
    health.note(SimpleNamespace(exception=None))
    assert (health.failures, health.last_error) == (0, "")


def test_a_second_service_on_the_same_state_is_refused(service, tmp_path):
    with pytest.raises(StoreError, match=rf"runs on the state folder {service.config.state_dir}"):
        Service(config(tmp_path), FixedClock(START), sender=Taken(), sources={})


def test_a_service_whose_state_is_damaged_lets_go_of_the_folder(tmp_path):
    settings = config(tmp_path)
    settings.state_dir.mkdir()
    file = settings.state_dir / "dryspell.sqlite3"
    file.write_text("a letter to the harbour master " * 100)
    with pytest.raises(StoreError, match="damaged"):
        Service(settings, FixedClock(START), sender=Taken(), sources={})
    file.unlink()
    Service(settings, FixedClock(START), sender=Taken(), sources={}).close()


class Stopwatch:
    def __init__(self):
        self.read = 0.0

    def __call__(self):
        return self.read


@pytest.mark.parametrize(
    ("clock_s", "stopwatch_s", "jumped_s"),
    [
        (60, 60, 0),
        (179, 60, 0),  # less than two minutes apart
        (60 + 3600, 60, 3600),  # the machine slept for an hour: its stopwatch did not run
        (60 - 7200, 60, -7200),  # the clock was put back
    ],
)
def test_a_clock_that_jumps_is_noticed(clock_s, stopwatch_s, jumped_s):
    clock, stopwatch = FixedClock(START), Stopwatch()
    watch = JumpWatch(clock, stopwatch=stopwatch)
    assert watch.jumped_s() == 0.0
    clock.at += timedelta(seconds=clock_s)
    stopwatch.read += stopwatch_s
    assert watch.jumped_s() == jumped_s
    clock.at += timedelta(seconds=60)
    stopwatch.read += 60
    assert watch.jumped_s() == 0.0


def test_a_fast_clock_is_no_jump():
    clock, stopwatch = FixedClock(START), Stopwatch()
    watch = JumpWatch(clock, speed=3600.0, stopwatch=stopwatch)
    watch.jumped_s()
    clock.at += timedelta(hours=1)
    stopwatch.read += 1
    assert watch.jumped_s() == 0.0


def test_after_a_jump_the_weather_is_fetched_anew(service, caplog):
    asked = service._gatherer._sources["harbour"].asked
    stopwatch = Stopwatch()
    service._jump = JumpWatch(service.clock, stopwatch=stopwatch)
    for minutes in (0, 1, 11):
        service.clock.at += timedelta(minutes=minutes)
        stopwatch.read += 60 if minutes else 0
        service._tick_on_schedule()
    assert len(asked) == 2
    assert "the clock jumped by +600 s; the weather is fetched anew" in caplog.text


@pytest.mark.usefixtures("dryspell_log")
def test_lines_for_a_file_have_an_instant_and_a_level(capsys):
    log_to_stderr()
    logging.getLogger("dryspell.tick").info("Rail: coat 4 now")
    assert capsys.readouterr().err.endswith("Z INFO Rail: coat 4 now\n")


@pytest.mark.usefixtures("dryspell_log")
def test_lines_for_a_terminal_have_the_time_of_day_and_no_more(capsys, monkeypatch):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    log_to_stderr()
    logging.getLogger("dryspell.tick").info("Rail: coat 4 now")
    line = capsys.readouterr().err
    assert len(line) == len("12:00:00  Rail: coat 4 now\n")
    assert "INFO" not in line


@pytest.mark.usefixtures("dryspell_log")
def test_lines_as_json_are_documents(capsys):
    log_to_stderr(as_json=True)
    logging.getLogger("dryspell.tick").error("rail could not be judged", exc_info=ZeroDivisionError())
    document = json.loads(capsys.readouterr().err)
    assert document["schema"] == "dryspell.log/1"
    assert document["generated_at"] <= f"{SystemClock().now():%Y-%m-%dT%H:%M:%SZ}"
    assert (document["level"], document["message"]) == ("error", "rail could not be judged")
    assert "ZeroDivisionError" in document["traceback"]


@pytest.mark.usefixtures("dryspell_log")
def test_libraries_write_nothing_to_the_log(capsys):
    log_to_stderr()
    logging.getLogger("urllib3.connectionpool").warning("Retrying after: https://host/token-in-here")
    assert capsys.readouterr().err == ""
