"""Quiet hours by the clock of a place: over midnight, and where the clocks change."""

from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.alerts.quiet import DEFAULT_QUIET, Quiet, common, quiet_before, quiet_until, read_quiet

ZONE = ZoneInfo("Europe/Berlin")
NOON_REST = Quiet(time(12), time(14))


def on(text):
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


@pytest.mark.parametrize(
    ("now", "until", "began"),
    [
        ("2026-06-03T21:29", None, None),
        ("2026-06-03T21:30", "2026-06-04T06:30", "2026-06-03T21:30"),
        ("2026-06-04T03:00", "2026-06-04T06:30", "2026-06-03T21:30"),
        ("2026-06-04T06:30", None, None),
        # The clocks go forward on 29 March 2026 at 02:00 and back on 25 October at 03:00: the morning is the local one.
        ("2026-03-28T23:00", "2026-03-29T06:30", "2026-03-28T21:30"),
        ("2026-10-25T02:30", "2026-10-25T06:30", "2026-10-24T21:30"),
    ],
)
def test_the_hours_are_those_of_the_clock_on_the_wall(now, until, began):
    as_utc = [None if text is None else on(text).astimezone(UTC) for text in (until, began)]
    assert [quiet_until(on(now), DEFAULT_QUIET, ZONE), quiet_before(on(now), DEFAULT_QUIET, ZONE)] == as_utc


def test_hours_of_one_day_do_not_run_over_midnight():
    assert quiet_until(on("2026-06-03T13:00"), NOON_REST, ZONE) == on("2026-06-03T14:00").astimezone(UTC)
    assert quiet_until(on("2026-06-03T14:00"), NOON_REST, ZONE) is None


def test_without_quiet_hours_it_never_is():
    assert quiet_until(on("2026-06-03T03:00"), None, ZONE) is None


def test_hours_are_read_as_people_write_them():
    assert read_quiet("21:30-06:30") == read_quiet(" 21:30 - 6:30 ") == DEFAULT_QUIET
    assert read_quiet("none") is None
    for wrong in ("21:30", "25:00-06:00", "21:60-06:00", "06:00-06:00", 5, ["21:30-06:30"], ""):
        with pytest.raises(ValueError, match="are no quiet hours"):
            read_quiet(wrong)


CLOCKS = st.builds(time, st.integers(0, 23), st.integers(0, 59))
QUIETS = st.builds(Quiet, CLOCKS, CLOCKS).filter(lambda quiet: quiet.start != quiet.end)


@given(st.lists(QUIETS, min_size=1, max_size=3), CLOCKS)
def test_what_is_quiet_for_all_is_quiet_for_each(every, clock):
    found = common(every)
    if found is not None and found.holds(clock):
        assert all(each.holds(clock) for each in every)
    if len(every) == 1:
        assert found == every[0]


def test_nothing_is_quiet_for_all_where_somebody_has_no_quiet_hours():
    assert common([DEFAULT_QUIET, None]) is None
    assert common([DEFAULT_QUIET, NOON_REST]) is None
    assert common([DEFAULT_QUIET, Quiet(time(20), time(5))]) == Quiet(time(21, 30), time(5))
