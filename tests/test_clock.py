from datetime import UTC, datetime, timedelta

import pytest

from dryspell.clock import FastClock, FixedClock, SystemClock

START = datetime(2026, 6, 2, tzinfo=UTC)


def test_the_fast_clock_runs_from_its_anchor_at_its_speed():
    anchor = datetime.now(UTC) - timedelta(seconds=10)
    elapsed = FastClock(START, 3600.0, anchor).now() - START
    assert timedelta(hours=10) <= elapsed < timedelta(hours=14)


def test_a_second_fast_clock_of_the_same_figures_goes_on_in_the_same_time():
    anchor = datetime.now(UTC)
    first = FastClock(START, 100.0, anchor).now()
    second = FastClock(START, 100.0, anchor).now()
    assert first <= second < first + timedelta(hours=1)


def test_clocks_tell_aware_instants_in_utc():
    for clock in (SystemClock(), FixedClock(START), FastClock(START, 1.0, START)):
        assert clock.now().tzinfo is UTC


@pytest.mark.parametrize(
    "make", [FixedClock, lambda at: FastClock(at, 1.0, START), lambda at: FastClock(START, 1.0, at)]
)
def test_an_instant_without_an_offset_is_refused(make):
    with pytest.raises(ValueError, match="offset from UTC"):
        make(START.replace(tzinfo=None))
