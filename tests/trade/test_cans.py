"""The cans to buy against enumeration, and against a finisher's own worked examples (common practice, no source)."""

import random
from itertools import combinations_with_replacement

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.trade.can_search import Cost
from dryspell.trade.cans import SPARE_PCT, choose_cans
from dryspell.trade.sizes import METRIC_CANS, US_CANS, Can, read_cans

RAIL = [0.217, 0.279, 0.339, 0.396, 0.396, 0.396, 0.396, 0.355]


def sold(*litres):
    return [Can(f"{each:g} L", each) for each in litres]


def counts(choice):
    return {can.label: count for can, count in choice.counts.items()}


# --- by hand ---


def test_the_toe_rail_is_poured_from_six_cans_as_the_finisher_pours_it():
    """Can 1: coats 1 and 2; can 2: coat 3 and 0.161 of 4; can 3: the rest of 4 and 0.265 of 5; and so on."""
    choice = choose_cans(RAIL, sold(0.5), fresh_last=True)
    assert counts(choice) == {"0.5 L": 6}
    assert [len(pour.opened) for pour in choice.pours] == [1, 0, 1, 1, 1, 1, 0, 1]
    assert [round(pour.rest_l, 3) for pour in choice.pours] == [0, 0.279, 0, 0.161, 0.265, 0.369, 0.396, 0]
    assert [round(pour.left_l, 3) for pour in choice.pours[-2:]] == [0.077, 0.145]
    # 0.161 L fill less than a third of the can they are kept in
    assert [pour.decant for pour in choice.pours] == [False, False, True, False, False, False, False, False]
    assert choice.spare_pct == pytest.approx(8.1, abs=0.1)


def test_the_door_has_a_fresh_can_for_every_coat():
    """Seven cans of 0.25 L, 1.75 L for 1.54 L, 7 to 27 % to spare in each."""
    needs = [0.182, 0.198, *[0.233] * 5]
    choice = choose_cans(needs, sold(0.25), fresh_last=True)
    assert counts(choice) == {"0.25 L": 7}
    assert all(len(pour.opened) == 1 and not pour.rest_l and not pour.kept for pour in choice.pours)
    spare = [100 * pour.left_l / 0.25 for pour in choice.pours]
    assert min(spare) == pytest.approx(7, abs=0.5)
    assert max(spare) == pytest.approx(27, abs=0.5)


def test_the_bench_has_a_kit_for_every_coat_of_clear_and_one_size_of_epoxy_that_is_enough():
    """Six kits of 0.375 L; of epoxy 0.75 L are too little for 0.731 L and a spare: two of 0.5 L."""
    clear = choose_cans([0.293, *[0.3075] * 5], sold(0.375, 0.75), fresh_last=True)
    assert counts(clear) == {"0.375 L": 6}
    assert not any(pour.kept for pour in clear.pours)
    assert counts(choose_cans([0.387, 0.344], sold(0.5, 0.75, 1.0), fresh_last=False)) == {"0.5 L": 2}


def test_a_larger_can_is_taken_where_it_is_cheaper_and_no_more_is_left_over():
    cheap = read_cans({"0.5 L": 20, "1 L": 39})
    choice = choose_cans([0.387, 0.344], cheap, fresh_last=False)
    assert (counts(choice), choice.price) == ({"1 L": 1}, 39)
    dear = read_cans({"0.5 L": 20, "1 L": 41})
    assert counts(choose_cans([0.387, 0.344], dear, fresh_last=False)) == {"0.5 L": 2}


def test_a_can_that_one_coat_alone_fits_exactly_is_enough_for_it():
    choice = choose_cans([0.1 + 0.2], sold(0.3), fresh_last=True, spare_pct=0)
    assert counts(choice) == {"0.3 L": 1}


def test_what_is_to_spare_may_be_a_can_that_stays_shut():
    choice = choose_cans([0.5, 0.5], sold(0.5), fresh_last=True)
    assert (counts(choice), [can.label for can in choice.unopened]) == ({"0.5 L": 3}, ["0.5 L"])


def test_nothing_needed_is_nothing_bought():
    assert counts(choose_cans([], METRIC_CANS, fresh_last=True)) == {}
    none = choose_cans([0.0, 0.0], METRIC_CANS, fresh_last=True)
    assert (counts(none), none.price, none.spare_pct, len(none.pours)) == ({}, None, 0, 2)


def test_of_a_tiny_piece_several_coats_come_out_of_one_can():
    """0.01 m2 takes a millilitre a coat: five coats count as one of the two that an opened can is used for."""
    choice = choose_cans([0.001] * 8, METRIC_CANS, fresh_last=True)
    assert counts(choice) == {"0.25 L": 2}
    assert [len(pour.opened) for pour in choice.pours] == [1, 0, 0, 0, 0, 0, 0, 1]
    assert [round(pour.left_l, 3) for pour in choice.pours] == [
        0.249, 0.248, 0.247, 0.246, 0.245, 0.244, 0.243, 0.249,
    ]  # fmt: skip
    assert [pour.kept for pour in choice.pours] == [True] * 6 + [False] * 2


def test_a_large_surface_is_poured_from_the_large_cans_however_many_coats():
    for sizes in (METRIC_CANS, US_CANS):
        choice = choose_cans([90.0] * 40, sizes, fresh_last=True)
        assert counts(choice).keys() == {sizes[-1].label}
        assert choice.bought_l >= 3600 * 1.08


def test_sizes_without_a_common_measure_are_counted_on_the_careful_side():
    choice = choose_cans(RAIL, sold(0.25, 0.4732, 0.946), fresh_last=True)
    assert choice.bought_l >= 1.08 * sum(RAIL)
    assert choice.spare_pct < 20


@pytest.mark.parametrize(("needs", "sizes"), [([1.0], []), ([-1.0], METRIC_CANS), ([float("nan")], METRIC_CANS)])
def test_what_cannot_be_is_refused(needs, sizes):
    with pytest.raises(ValueError, match="wanted"):
        choose_cans(needs, sizes, fresh_last=True)


# --- by enumeration ---


def every_way(needs, sizes, *, fresh_last, most):
    """Yield the cost of every way to pour coats from cans, whatever sense it makes: (bought, price, rests, cans).

    A can is opened once the others are empty; its rest goes into the next coat, or nowhere.
    """

    def pour(number, rest, cost):
        if cost[0] > most:
            return
        if number == len(needs):
            yield cost
            return
        is_last = fresh_last and number == len(needs) - 1
        for used in {0, 0 if is_last else min(rest, needs[number])}:
            lacking = needs[number] - used
            for count in range(most // sizes[0][0] + 1):
                for cans in combinations_with_replacement(sizes, count):
                    held = sum(volume for volume, _ in cans)
                    if held < lacking or (cans and held - max(volume for volume, _ in cans) >= lacking):
                        continue
                    price = sum(each for _, each in cans)
                    now = (cost[0] + held, cost[1] + price, cost[2] + (used > 0), cost[3] + count)
                    yield from pour(number + 1, held - lacking, now)

    yield from pour(0, 0, (0, 0, 0, 0))


def by_enumeration(needs, sizes, *, fresh_last, wanted):
    """Return the least cost of all ways, each filled up with every set of shut cans."""
    most = wanted + sum(sizes[0][0] for _ in needs) + sizes[0][0]
    ways = set(every_way(needs, sizes, fresh_last=fresh_last, most=most))
    shut = [
        (sum(volume for volume, _ in cans), sum(price for _, price in cans), 0, count)
        for count in range(most // sizes[0][0] + 1)
        for cans in combinations_with_replacement(sizes, count)
    ]
    costs = (tuple(map(sum, zip(way, more, strict=True))) for way in ways for more in shut)
    return min(cost for cost in costs if cost[0] >= wanted)


@pytest.mark.parametrize("seed", range(200))
def test_no_other_way_buys_less_or_costs_less(seed):
    rng = random.Random(seed)
    sizes = sorted(rng.sample([200, 250, 300, 375, 500, 750], rng.randint(1, 3)))
    prices = [rng.randint(3, 30) if rng.random() < 0.7 else 0 for _ in sizes]
    needs = [10 * rng.randint(7 if sizes[0] < 220 else 14, 45) for _ in range(rng.randint(1, 3))]
    needs = [max(need, sizes[0] // 3 + 1) for need in needs]
    fresh_last = rng.random() < 0.6
    spare = rng.choice([0.0, SPARE_PCT, 25.0])
    cans = [Can(f"{ml} mL", ml / 1000, float(price)) for ml, price in zip(sizes, prices, strict=True)]
    choice = choose_cans([need / 1000 for need in needs], cans, fresh_last=fresh_last, spare_pct=spare)
    wanted = -int(-sum(needs) * (100 + spare) // 100)
    best = by_enumeration(needs, list(zip(sizes, prices, strict=True)), fresh_last=fresh_last, wanted=wanted)
    rests = sum(pour.rest_l > 0 for pour in choice.pours)
    assert (round(1000 * choice.bought_l), choice.price, rests, sum(choice.counts.values())) == best


# --- always ---


@given(
    st.lists(st.floats(0.001, 3.0), min_size=1, max_size=8),
    st.lists(st.sampled_from([0.1, 0.25, 0.3785, 0.5, 0.946, 1.0, 2.5]), min_size=1, max_size=4, unique=True),
    st.booleans(),
)
def test_every_coat_gets_what_it_takes_and_the_rules_of_the_cans_are_kept(needs, sizes, fresh_last):
    choice = choose_cans(needs, sold(*sizes), fresh_last=fresh_last)
    assert choice.bought_l >= sum(needs) * (1 + SPARE_PCT / 100) - 1e-5
    if fresh_last:
        assert choice.pours[-1].rest_l == 0
    before = None
    for need, pour in zip(needs, choice.pours, strict=True):
        there = pour.rest_l + sum(can.litres for can in pour.opened)
        assert there >= need - 1e-5
        if pour.rest_l > 1e-9:
            assert before.kept
            assert pour.rest_l <= before.left_l + 1e-5
        # a can as large as what is left need not have been opened
        assert not pour.opened or pour.left_l < min(can.litres for can in pour.opened)
        before = pour


def test_of_two_costs_the_one_that_buys_less_is_the_lesser():
    assert Cost(1, 9, 9, 9) < Cost(2, 0, 0, 0)
    assert Cost(1, 1, 9, 9) < Cost(1, 2, 0, 0)
