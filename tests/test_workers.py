import logging
import threading

from dryspell.errors import StoreError
from dryspell.workers import Workers


def test_a_job_that_hangs_holds_up_only_its_own_name():
    workers, hang, done = Workers(), threading.Event(), []
    assert workers.start("relay", hang.wait)
    assert not workers.start("relay", lambda: done.append("relay"))
    assert workers.start("phone", lambda: done.append("phone"))
    assert not workers.wait(0.05)
    assert done == ["phone"]
    hang.set()
    assert workers.wait(30)
    assert workers.start("relay", lambda: done.append("relay"))
    assert workers.wait(30)
    assert done == ["phone", "relay"]


def test_a_job_that_raises_is_logged_and_its_name_is_free_again(caplog):
    workers = Workers()
    with caplog.at_level(logging.ERROR):
        workers.start("phone", lambda: 1 / 0)
        assert workers.wait(30)
    assert [r.getMessage() for r in caplog.records] == ["phone failed"]
    assert workers.start("phone", lambda: None)
    assert workers.wait(30)


def test_a_job_that_fails_again_and_again_is_logged_once_and_anew_when_it_went_well_between(caplog):
    def run(error):
        def job():
            if error:
                raise error

        workers.start("weather", job)
        assert workers.wait(30)

    workers = Workers()
    for error in [StoreError("the disk is full")] * 3 + [None, StoreError("the disk is full"), ValueError("odd")]:
        run(error)
    said = [record.getMessage() for record in caplog.records]
    assert said == ["weather failed: the disk is full"] * 2 + ["weather failed"]
    assert [bool(record.exc_info) for record in caplog.records] == [False, False, True]


def test_a_name_keeps_its_thread_from_job_to_job_until_nobody_holds_the_workers():
    workers, ran = Workers(), []
    for _ in range(3):
        assert workers.start("weather", lambda: ran.append(threading.current_thread()))
        assert workers.wait(30)
    (thread,) = set(ran)
    assert len(ran) == 3
    assert thread.is_alive()
    del workers
    thread.join(30)
    assert not thread.is_alive()
