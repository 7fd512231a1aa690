"""The whole list: cans by piece, what is at hand, and what is used up beside the coating."""

from datetime import date

import pytest
from pydantic import ValidationError

from dryspell.trade.families import built_on, family
from dryspell.trade.piece import Piece
from dryspell.trade.safety import DATA_SHEET, DUST, ISOCYANATE, OLD_PAINT, RAGS, cautions_of_all
from dryspell.trade.shopping import Work, shopping
from dryspell.trade.sizes import read_cans
from dryspell.trade.stock import AtHand, Stock, Use
from dryspell.trade.system import Step, lays_of

TODAY = date(2026, 9, 3)
VARNISH = built_on("oil_varnish_1k", "varnish", {"cans": {"0.5 L": 16}})
NOTHING = AtHand((), (), TODAY)


def work(*steps, count=0, coatings=(), over="bare wood", **told):
    piece = Piece.model_validate({"key": "piece", "site": "yard", "coating": "any", "over": over} | told)
    known = {each.key: each for each in (VARNISH, family("pu_clear_2k"), family("acrylic_clear_wb"), *coatings)}
    lays = lays_of([Step.model_validate(step) for step in steps], known, on_old_film=over == "old film")
    return Work(piece, lays, (), count)


RAIL = {"area": "4.048 m^2", "edges": "36.8 m"}


def rail(count=0):
    return work({"coating": "varnish", "times": 8}, count=count, **RAIL)


def stock(key, **told):
    return Stock.model_validate({"key": key, "coating": "varnish"} | told)


def bought(found):
    choices = [buy.choice for piece in found.pieces for buy in piece.purchases]
    return {can.label: count for choice in choices for can, count in choice.counts.items()}


# A finisher's worked examples (common practice, no source).
def test_the_toe_rail_takes_what_the_finisher_reckons_beside_the_varnish():
    used = shopping([rail()], NOTHING).consumables
    assert used.degreaser_l == pytest.approx(0.91, abs=5e-3)  # 9 wipes
    assert used.discs == {"P180": 11}
    assert used.quarter_sheets == {"P400": 8 * 7}  # 14 sheets
    assert used.tape_m == pytest.approx(121, abs=0.5)  # 3 maskings of 36.8 m and a tenth
    (thinner,) = used.thinners
    assert thinner.cleaning_l == pytest.approx(0.6)  # 8 x 0.15 L, half of it used again
    assert used.brushes == {"varnish": 1}


def test_the_door_takes_what_the_finisher_reckons_beside_the_varnish():
    used = shopping([work({"coating": "varnish", "times": 7}, area="2.53 m^2")], NOTHING).consumables
    assert used.degreaser_l == pytest.approx(0.51, abs=5e-3)  # 8 wipes
    assert used.quarter_sheets == {"P400": 5 * 6}  # 8 sheets


def test_of_what_is_on_nothing_is_bought_any_more():
    found = shopping([rail(count=6)], NOTHING)
    assert [need.lay.number for need in found.pieces[0].needs] == [7, 8]
    assert found.consumables.discs == {}
    assert found.consumables.quarter_sheets == {"P400": 16}
    assert found.consumables.tape_m == pytest.approx(36.8 * 1.1)
    assert bought(found) == {"0.5 L": 2}
    done = shopping([rail(count=8)], NOTHING)
    assert (done.coatings, done.buys_coating, done.consumables.degreaser_l) == ((), False, 0)
    assert shopping([rail(count=11)], NOTHING).pieces[0].needs == ()


def test_a_two_part_mix_takes_a_brush_a_coat_and_what_water_cleans_no_thinner():
    found = shopping([work({"coating": "pu_clear_2k", "times": 6}), work({"coating": "acrylic_clear_wb"})], NOTHING)
    assert found.consumables.brushes == {"pu_clear_2k": 6, "acrylic_clear_wb": 1}
    assert [each.coating.key for each in found.consumables.thinners] == ["pu_clear_2k"]


def test_an_old_film_is_keyed_and_a_coat_that_is_not_sanded_takes_no_paper():
    found = shopping(
        [work({"coating": "varnish"}, {"coating": "varnish", "abrasive": "none"}, over="old film")], NOTHING
    )
    assert (found.consumables.discs, found.consumables.quarter_sheets) == ({"P240": 3}, {})
    assert found.consumables.degreaser_l == pytest.approx(2 * 0.025)


def test_coats_that_nobody_knows_the_litres_of_are_to_buy_but_not_counted():
    oil = built_on("penetrating_oil", "oil", {"spread": "none"})
    found = shopping([work({"coating": "oil"}, coatings=[oil])], NOTHING)
    assert found.pieces[0].purchases[0].choice is None
    assert found.buys_coating


def test_only_the_last_coat_of_a_build_up_has_to_be_out_of_a_fresh_can():
    one = built_on("epoxy_sealer_2k", "one", {"cans": ["1 L"]})
    steps = [{"coating": "one", "times": 2}, {"coating": "varnish", "times": 2}]
    first, last = shopping([work(*steps, coatings=[one], area="3 m^2")], NOTHING).pieces[0].purchases
    assert [pour.rest_l > 0 for pour in first.choice.pours] == [False, True]
    assert [pour.rest_l > 0 for pour in last.choice.pours] == [False, False]


# --- what is at hand ---


def test_what_is_at_hand_is_poured_first_but_an_open_can_not_for_the_last_coat():
    at_hand = AtHand([stock("open", left="1 L", opened="2026-09-01")], (), TODAY)
    found = shopping([rail(count=6)], at_hand)
    assert found.pieces[0].purchases[0].at_hand_l == pytest.approx((0.3725, 0), abs=1e-3)
    assert bought(found) == {"0.5 L": 1}
    assert at_hand.left_l("varnish") == pytest.approx(1 - 0.3725, abs=1e-3)
    shut = AtHand([stock("shut", left="1 L")], (), TODAY)
    assert not shopping([rail(count=6)], shut).buys_coating


def test_an_open_can_is_emptied_before_a_shut_one():
    at_hand = AtHand([stock("shut", left="1 L"), stock("open", left="0.2 L", opened="2026-09-01")], (), TODAY)
    assert at_hand.pour("varnish", 0.3, fresh=False) == pytest.approx(0.3)
    assert at_hand.pour("varnish", 2.0, fresh=True) == pytest.approx(0.9)
    assert at_hand.pour("other", 1.0, fresh=False) == 0


def test_a_can_that_stood_open_for_more_than_three_weeks_is_not_counted_on():
    old = stock("old", left="1 L", opened="2026-08-12")
    at_hand = AtHand([old, stock("good", left="1 L", opened="2026-08-13")], (), TODAY)
    assert at_hand.old == (old,)
    assert at_hand.left_l("varnish") == 1


def test_coats_of_later_days_than_it_was_counted_on_have_come_out_of_it():
    uses = [Use(date(2026, 9, day), "varnish", 0.3) for day in (1, 2, 3)] + [Use(date(2026, 9, 3), "other", 9)]
    assert AtHand([stock("a", left="1 L", counted="2026-09-01")], uses, TODAY).left_l("varnish") == pytest.approx(0.4)
    assert AtHand([stock("a", left="1 L")], uses, TODAY).left_l("varnish") == 1
    assert AtHand([stock("a", left="0.1 L", counted="2026-09-01")], uses, TODAY).left_l("varnish") == 0


def test_two_pieces_share_what_is_at_hand_and_have_cans_of_their_own():
    at_hand = AtHand([stock("shut", left="0.4 L")], (), TODAY)
    first, second = (piece.purchases[0] for piece in shopping([rail(count=7), rail(count=7)], at_hand).pieces)
    assert (first.choice.counts, sum(second.choice.counts.values())) == ({}, 1)
    assert second.at_hand_l[0] == pytest.approx(0.4 - 0.3725, abs=1e-3)


@pytest.mark.parametrize("day", ["2026-13-01", "soon", 3, True])
def test_what_is_no_day_is_said_so(day):
    with pytest.raises(ValidationError, match="no day; wanted such as"):
        stock("a", left="1 L", opened=day)


# --- forty coats, one size ---


def test_forty_coats_out_of_one_size_without_a_price():
    only = built_on("oil_varnish_1k", "varnish", {"cans": ["0.75 L"]})
    found = shopping([work({"coating": "varnish", "times": 40}, coatings=[only], **RAIL)], NOTHING)
    choice = found.pieces[0].purchases[0].choice
    assert (choice.price, choice.spare_pct >= 8) == (None, True)
    assert len(choice.pours) == 40
    assert read_cans(["0.75 L"])[0] in choice.counts


# --- cautions ---


def test_the_cautions_are_those_of_the_coatings_each_once_and_the_data_sheet_decides():
    texts = cautions_of_all([VARNISH, family("pu_clear_2k")], sanding=True, old_film=True)
    assert {RAGS, ISOCYANATE, DUST, OLD_PAINT} < set(texts)
    assert len(texts) == len(set(texts))
    assert texts[-1] == DATA_SHEET
    assert cautions_of_all([], sanding=False, old_film=True) == (DATA_SHEET,)
