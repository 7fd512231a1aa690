"""Who does the work: days off as people write them, and whose a piece is."""

from datetime import date

import pytest
from pydantic import ValidationError

from dryspell.trade.person import Person


def test_days_off_are_single_days_and_spans_of_them():
    person = Person(key="kim_b", days_off=["2026-09-14", "2026-09-21 to 2026-09-25", date(2026, 10, 3)])
    assert person.days_off == (
        (date(2026, 9, 14), date(2026, 9, 14)),
        (date(2026, 9, 21), date(2026, 9, 25)),
        (date(2026, 10, 3), date(2026, 10, 3)),
    )
    assert (person.name, Person(key="kim", name="Kim").name) == ("kim b", "Kim")
    assert Person(key="kim", days_off="2026-09-14").days_off == ((date(2026, 9, 14), date(2026, 9, 14)),)


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("next week", "are no days off; wanted"),
        ("2026-02-30", "has no day '2026-02-30' in the calendar"),
        ("2026-09-25 to 2026-09-21", "end before they start"),
        (14, "are no days off; wanted"),
    ],
)
def test_what_is_no_day_is_told_with_what_would_be_one(written, said):
    with pytest.raises(ValidationError, match=said):
        Person(key="kim", days_off=[written])


def test_a_piece_is_anybodys_unless_they_are_named():
    assert Person(key="kim").does("rail")
    assert Person(key="kim", pieces=["rail"]).does("rail")
    assert not Person(key="kim", pieces=["rail"]).does("door")
