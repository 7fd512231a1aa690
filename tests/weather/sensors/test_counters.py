"""A rain gauge that counts up: every tip is in one amount, and in one only."""

from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.weather.sensors.counters import Counters
from dryspell.weather.sensors.memory import Memory
from weather.sensors.bench import NOON


def at(minute):
    return NOON + timedelta(minutes=minute)


@pytest.fixture
def counters(memory):
    return Counters(memory)


def amounts(counters, *totals):
    return [counters.amount("gauge", at(minute), total) for minute, total in totals]


def test_the_first_total_says_nothing_and_each_further_one_its_difference(counters):
    assert amounts(counters, (0, 12.4), (1, 12.4), (2, 13.0), (5, 15.5)) == [None, 0, 0.6, 2.5]


def test_a_counter_that_was_set_back_counts_from_nought(counters):
    assert amounts(counters, (0, 12.4), (1, 0.2), (2, 0.5)) == [None, 0.2, 0.3]


def test_what_comes_late_or_in_the_same_second_is_left_to_the_next_difference(counters):
    assert amounts(counters, (0, 1), (2, 3), (1, 2), (2, 3.5), (2.005, 4), (3, 5)) == [None, 2, None, None, None, 2]


def test_nothing_is_lost_over_a_restart(tmp_path):
    before = Counters(Memory(tmp_path))
    amounts(before, (0, 1), (1, 2))
    before.commit()
    assert amounts(Counters(Memory(tmp_path)), (10, 4.5)) == [2.5]


def test_lines_that_are_read_again_after_a_restart_are_not_counted_twice(tmp_path):
    before = Counters(Memory(tmp_path))
    for reading in [(0, 1), (1, 2), (2, 2)]:
        amounts(before, reading)
        before.commit()
    assert amounts(Counters(Memory(tmp_path)), (0, 1), (1, 2), (2, 2), (3, 3)) == [None, None, 0, 1]


def test_what_could_not_be_kept_is_worked_out_again(counters):
    amounts(counters, (0, 1))
    counters.commit()
    assert amounts(counters, (1, 3)) == [2]
    counters.roll_back()
    assert amounts(counters, (1, 3)) == [2]


@pytest.mark.parametrize("kept", ["x", ["yesterday", 1], ["2026-06-01T12:00", 1], [1, 2], {}])
def test_what_is_no_count_in_the_memory_is_no_count(memory, kept):
    memory.put("counter/gauge", kept)
    assert amounts(Counters(memory), (0, 5)) == [None]


@given(st.lists(st.integers(0, 50), min_size=2, max_size=30))
def test_amounts_add_up_to_what_was_counted(steps):
    counters = Counters(Memory(Path("/dev/null")))  # nothing is kept there, and nothing has to be
    total, got = 0, []
    for minute, step in enumerate(steps):
        total += step
        got.append(counters.amount("gauge", at(minute), total / 10))
    assert sum(got[1:]) == pytest.approx(sum(steps[1:]) / 10)
