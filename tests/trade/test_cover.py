"""The hours of a cover, as people write them."""

import pytest
from pydantic import ValidationError

from dryspell.trade.cover import hours_text
from dryspell.trade.piece import Piece

PLAIN = {"key": "toe_rail", "site": "harbour", "coating": "oil_varnish_1k"}


def cover(written, **more):
    return Piece.model_validate(PLAIN | {"cover": written} | more).cover


def message(written, **more):
    with pytest.raises(ValidationError) as caught:
        cover(written, **more)
    return str(caught.value.errors()[0]["ctx"]["error"])


def test_hours_over_midnight_are_two_parts_of_a_day():
    assert [(str(start)[:5], str(end)[:5]) for _, start, end in cover("17:00-09:00")] == [
        ("17:00", "23:59"),
        ("00:00", "09:00"),
    ]
    assert cover(["17:00-24:00", "00:00-09:00"]) == cover("17:00-09:00")
    assert cover("18:00-00:00") == cover("18:00-24:00")
    assert cover("24:00-09:00") == cover("00:00-09:00")


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("17:00-09:00", "17:00-09:00"),
        (["17:00-9:00", "12:00-13:00"], "12:00-13:00, 17:00-09:00"),
        ("06:00-08:30", "06:00-08:30"),
        ("17:00-24:00", "17:00-24:00"),
        ("00:00-09:00", "00:00-09:00"),
    ],
)
def test_they_are_told_as_they_were_written(written, told):
    assert hours_text(cover(written)) == told


@pytest.mark.parametrize(
    ("written", "text"),
    [
        (
            "Mon 17:00-09:00",
            "names days, and the cover is told alike for every day; wanted hours of the day, such as 17:00-09:00",
        ),
        (5, "are no hours of a cover; wanted hours of the day, such as 17:00-09:00, or a list of them"),
        ([], "are no hours of a cover; wanted hours of the day, such as 17:00-09:00, or a list of them"),
        ("17-9", "cannot be read at '17-9'; wanted hours of the day, such as 17:00-09:00"),
        ("25:00-09:00", "has no time '25:00'; wanted such as 08:00"),
        (
            "17:00-17:00",
            "begin and end at one time at '17:00-17:00'; wanted hours of the day, such as 17:00-09:00",
        ),
        ("00:00-24:00", 'leave no hour without the cover; that is shelter = "cover"'),
        (["09:00-17:00", "17:00-09:00"], 'leave no hour without the cover; that is shelter = "cover"'),
    ],
)
def test_hours_that_are_none_are_told(written, text):
    assert message(written) == text


@pytest.mark.parametrize("shelter", ["cover", "tent", "shed"])
def test_what_is_closed_already_takes_no_cover(shelter):
    assert message("17:00-09:00", shelter=shelter) == (
        f'is only for shelter = "open", "trees" or "roof"; this one is {shelter}, which keeps sky, sun and rain off at '
        "all hours"
    )


def test_what_is_closed_already_has_nothing_to_be_covered_with_when_told():
    with pytest.raises(ValidationError) as caught:
        Piece.model_validate(PLAIN | {"shelter": "tent", "cover_at_hand": True})
    assert str(caught.value.errors()[0]["ctx"]["error"]) == (
        'is only for shelter = "open", "trees" or "roof", and this one is tent'
    )
    assert Piece.model_validate(PLAIN | {"shelter": "roof", "cover_at_hand": True}).cover_at_hand


def test_under_trees_and_a_roof_it_is_one_more():
    assert cover("17:00-09:00", shelter="trees") == cover("17:00-09:00", shelter="roof") == cover("17:00-09:00")
