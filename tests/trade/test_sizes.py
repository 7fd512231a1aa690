"""The sizes of cans as they are written in a configuration."""

from decimal import Decimal

import pytest

from dryspell.trade.sizes import METRIC_CANS, US_CANS, read_cans


def test_sizes_are_read_smallest_first_with_and_without_prices():
    assert [(can.label, can.litres, can.price) for can in read_cans(["0.5 L", "250 mL"])] == [
        ("250 mL", 0.25, None),
        ("0.5 L", 0.5, None),
    ]
    assert [(can.label, can.price) for can in read_cans({"0.5 L": 16, "250 mL": Decimal("9.5")})] == [
        ("250 mL", 9.5),
        ("0.5 L", 16.0),
    ]


def test_what_is_usual_is_read_from_what_is_written_on_the_cans():
    assert read_cans([can.label for can in METRIC_CANS]) == METRIC_CANS
    assert read_cans([can.label for can in US_CANS]) == US_CANS
    # 1 US pint is 0.473176473 L, 1 US gallon 3.785411784 L, exact by definition (NIST SP 811)
    assert US_CANS[1].litres == pytest.approx(0.473176473)
    assert US_CANS[3].litres == pytest.approx(3.785411784)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ([], "no list of 1 to 12 sizes"),
        ("0.5 L", "no list of 1 to 12 sizes"),
        (["0.5 L"] * 13, "no list of 1 to 12 sizes"),
        ([0.5], "needs a unit"),
        (["0.5 kg"], "a mass, not a volume"),
        (["0 L"], "no size of a can"),
        (["500 mL", "0.5 L"], "one size twice"),
        ({"0.5 L": "16"}, "no number of 0 to 1000000"),
        ({"0.5 L": True}, "no number of 0 to 1000000"),
        ({"0.5 L": Decimal("nan")}, "no number of 0 to 1000000"),
        ({"0.5 L": Decimal(-1)}, "no number of 0 to 1000000"),
    ],
)
def test_what_is_wrong_is_said_with_what_would_be_right(value, said):
    with pytest.raises(ValueError, match=said):
        read_cans(value)
