"""Working hours, as people write them."""

from datetime import time

import pytest

from dryspell.trade.hours import read_hours, working_hours_text

EVERY_DAY = frozenset(range(7))


@pytest.mark.parametrize(
    ("written", "spans"),
    [
        ("08:00-18:00", [(EVERY_DAY, time(8), time(18))]),
        ("8:00 - 24:00", [(EVERY_DAY, time(8), time.max)]),
        (
            "Mon-Fri 16:00-20:00, sat 08:00-18:00",
            [(frozenset(range(5)), time(16), time(20)), (frozenset({5}), time(8), time(18))],
        ),
        (["Sat-Mon 09:00-12:30"], [(frozenset({5, 6, 0}), time(9), time(12, 30))]),
        (["08:00-12:00", "13:00-17:00"], [(EVERY_DAY, time(8), time(12)), (EVERY_DAY, time(13), time(17))]),
    ],
)
def test_hours_are_read_as_spans_of_weekdays(written, spans):
    assert read_hours(written) == tuple(spans)


@pytest.mark.parametrize(
    ("written", "message"),
    [
        ("Mon-Fry 08:00-18:00", "has no day 'fry'; days are Mon Tue Wed Thu Fri Sat Sun"),
        ("08:00-25:00", "has no time '25:00'; wanted such as 08:00"),
        ("22:00-06:00", "end before they start at '22:00-06:00'; split hours past midnight in two"),
        ("all day", "cannot be read at 'all day'; wanted such as 08:00-18:00 or Mon-Fri 16:00-20:00"),
        ("08:00-18:00,", "cannot be read at ''; wanted such as 08:00-18:00 or Mon-Fri 16:00-20:00"),
        *(
            (
                nothing,
                "are no working hours; wanted text such as 08:00-18:00 or Mon-Fri 16:00-20:00, or a list of it",
            )
            for nothing in ([], 8, True, ["08:00-18:00", 8], {"mon": "08:00"}, None)
        ),
    ],
)
def test_what_are_no_hours_is_answered_with_what_would_be(written, message):
    with pytest.raises(ValueError) as caught:
        read_hours(written)
    assert str(caught.value) == message


@pytest.mark.parametrize(
    "written",
    [
        "08:00-18:00",
        "Mon-Fri 16:00-20:00, Sat 08:00-18:00",
        "Sun-Tue 20:00-24:00",
        "Wed 06:30-07:00",
        "Sat-Sun 09:00-12:00",
    ],
)
def test_hours_are_written_as_they_were_read(written):
    assert working_hours_text(read_hours(written)) == written


def test_hours_that_were_read_before_are_taken_as_they_are():
    spans = read_hours("08:00-18:00")
    assert read_hours(spans) is spans
