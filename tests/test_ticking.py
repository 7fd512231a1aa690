"""Ticks that fail for a long time are told by the log once for each kind of failure, and by `status` as they are."""

import logging
import sys
import traceback

import numpy as np
import pytest
from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_EXECUTED, JobExecutionEvent

from dryspell.errors import StoreError
from dryspell.tick.ticking import MOST_KINDS, Health

TICKS = 100


def event(job=None):
    """Return what the scheduler says of a job, as its executor makes it."""
    try:
        if job is not None:
            job()
    except Exception:  # noqa: BLE001  (as the executor does)
        _, error, place = sys.exc_info()
        text = "".join(traceback.format_tb(place))
        return JobExecutionEvent(EVENT_JOB_ERROR, "tick", "default", None, exception=error, traceback=text)
    return JobExecutionEvent(EVENT_JOB_EXECUTED, "tick", "default", None, retval=None)


def no_memory():
    raise MemoryError


def broken(text):
    raise ValueError(text)


def kept_badly(text):
    raise StoreError(text)


@pytest.fixture
def lines(caplog):
    caplog.set_level(logging.INFO, "dryspell")
    return lambda: [record.getMessage() for record in caplog.records]


def test_memory_that_is_short_for_many_ticks_is_said_once_in_words(lines):
    health = Health()
    for _ in range(TICKS):
        health.note(event(no_memory))
    assert lines() == ["a tick failed, the next one tries again: there was not enough memory"]
    assert (health.failures, health.last_error) == (TICKS, "there was not enough memory")


def test_texts_that_vary_are_one_kind_and_have_one_traceback(lines):
    health = Health()
    for tick in range(TICKS):
        health.note(event(lambda: broken(f"no room for {tick} at 0x{tick:x}, {'abc'[tick % 3]}")))  # noqa: B023
    assert len(lines()) == 2
    assert "in broken" in lines()[1]
    assert health.last_error == "no room for 99 at 0x63, a"


def test_sizes_that_an_array_could_not_have_are_one_kind(lines):
    health = Health()
    for tick in range(TICKS):
        health.note(event(lambda: np.empty((tick + 1, 1 << 50))))  # noqa: B023
    assert lines() == ["a tick failed, the next one tries again: there was not enough memory"]


def test_two_errors_in_turn_are_said_once_each(lines):
    health = Health()
    for tick in range(TICKS):
        health.note(
            event([lambda: kept_badly("the disk is full"), lambda: kept_badly("the disk gives errors")][tick % 2])
        )
        health.note(event(no_memory))
    assert [line.rpartition(": ")[2] for line in lines()] == [
        "the disk is full",
        "there was not enough memory",
        "the disk gives errors",
    ]


def test_an_error_without_a_text_is_told_by_its_name():
    health = Health()
    health.note(event(lambda: next(iter(()))))
    assert health.last_error == "StopIteration"


def test_after_a_good_tick_the_same_is_said_again(lines):
    health = Health()
    for _ in range(2):
        health.note(event(no_memory))
        health.note(event())
    assert [line.split(",")[0] for line in lines()] == ["a tick failed", "ticks go well again after 1 that failed"] * 2
    assert (health.failures, health.last_error) == (0, "")


def test_kinds_without_end_are_not_all_said(lines):
    health = Health()
    for tick in range(TICKS):
        word = chr(ord("A") + tick)
        health.note(event(lambda: kept_badly(word)))  # noqa: B023
    assert len(lines()) == MOST_KINDS + 1
    assert health.last_error == chr(ord("A") + TICKS - 1), "status tells of the last one"
