"""Litres, films and full coats, against three worked examples of a finisher (common practice, no source).

The relations themselves (wet and dry film, spreading rate, thinner) are held against published data notes in
tests/science/test_film.py.
"""

import pytest

from dryspell.trade.batches import batch_of
from dryspell.trade.families import built_on, family
from dryspell.trade.material import CoatOn, film_of, need_of, one_more
from dryspell.trade.piece import Piece
from dryspell.trade.system import Step, lays_of


def piece(**told):
    return Piece.model_validate({"key": "piece", "site": "yard", "coating": "oil_varnish_1k"} | told)


def built(*steps, **coatings):
    families = {key: family(key) for key in ("oil_varnish_1k", "urethane_alkyd_1k", "penetrating_oil")}
    return lays_of([Step.model_validate(step) for step in steps], families | coatings)


# 2 rails of 9.20 m x 0.22 m; VS 48 %; loss 15 %.
RAIL = piece(area=f"{2 * 9.20 * 0.22} m^2")
RAIL_LAYS = built(
    {"coating": "oil_varnish_1k", "wet_film": "70 um"},
    {"coating": "oil_varnish_1k", "wet_film": "75 um"},
    {"coating": "oil_varnish_1k"},
    {"coating": "oil_varnish_1k", "wet_film": "85 um", "times": 4},
    {"coating": "oil_varnish_1k", "thinner": 5},
)
# Face and edges of an oak door; VS 50 %; loss 15 %.
DOOR = piece(area="2.53 m^2")
DOOR_LAYS = built(
    {"coating": "urethane_alkyd_1k", "wet_film": "75 um", "times": 2}, {"coating": "urethane_alkyd_1k", "times": 5}
)
# Slats of a bench; loss 20 %; both coatings 2 : 1.
BENCH = piece(area="3.58 m^2", loss="20 %")
EPOXY = built_on("epoxy_sealer_2k", "epoxy", {"ratio": [2, 1]})
CLEAR = built_on("pu_clear_2k", "clear", {"ratio": [2, 1]})
BENCH_LAYS = built(
    {"coating": "epoxy"},
    {"coating": "epoxy", "wet_film": "80 um"},
    {"coating": "clear", "thinner": 10},
    {"coating": "clear", "thinner": 5, "times": 5},
    epoxy=EPOXY,
    clear=CLEAR,
)


def needs(lays, of):
    return [need_of(lay, of) for lay in lays]


def test_the_toe_rail_takes_what_the_finisher_reckons_coat_by_coat():
    found = needs(RAIL_LAYS, RAIL)
    # he rounds the mix to the millilitre before he goes on
    assert [need.mix_l for need in found] == pytest.approx([0.326, 0.349, 0.372, *[0.396] * 4, 0.372], abs=6e-4)
    assert [need.coating_l for need in found] == pytest.approx([0.217, 0.279, 0.339, *[0.396] * 4, 0.355], abs=1.1e-3)
    assert [need.thinner_l for need in found] == pytest.approx([0.109, 0.070, 0.034, *[0] * 4, 0.018], abs=6e-4)
    assert [round(need.dry_um) for need in found] == [22, 29, 35, 41, 41, 41, 41, 37]
    assert [need.is_full for need in found] == [False, False, True, True, True, True, True, True]
    assert sum(need.coating_l for need in found) == pytest.approx(2.77, abs=5e-3)
    assert sum(need.thinner_l for need in found) == pytest.approx(0.23, abs=5e-3)


def test_the_toe_rail_ends_at_258_um_and_one_short_of_seven_full_coats():
    film = film_of(RAIL_LAYS, [], 0, on_old_film=False)
    assert film.end_um == pytest.approx(258, abs=1)
    assert (film.on_um, film.on_full, film.end_full, film.wanted_full, film.short) == (0, 0, 6, 7, 1)
    more = one_more(RAIL_LAYS, RAIL)
    assert more.coating_l == pytest.approx(0.40, abs=5e-3)
    assert sum(need.coating_l for need in needs(RAIL_LAYS, RAIL)) + more.coating_l == pytest.approx(3.17, abs=5e-3)


def test_the_door_takes_what_the_finisher_reckons():
    found = needs(DOOR_LAYS, DOOR)
    assert [need.coating_l for need in found] == pytest.approx([0.182, 0.198, *[0.233] * 5], abs=6e-4)
    assert [need.thinner_l for need in found] == pytest.approx([0.036, 0.020, *[0] * 5], abs=6e-4)
    assert sum(need.coating_l for need in found) == pytest.approx(1.54, abs=5e-3)
    assert sum(need.dry_um for need in found) == pytest.approx(265, abs=1)
    film = film_of(DOOR_LAYS, [], 0, on_old_film=False)
    assert (film.end_full, film.short) == (6, 1)
    # about 20 um are sanded off
    assert film.end_um == pytest.approx(265 - 20, abs=5)


def test_the_stain_of_the_door_goes_by_how_far_a_litre_goes():
    stain = built_on("penetrating_oil", "stain", {"spread": "14 m^2/L", "thinner": [0]})
    (lay,) = built({"coating": "stain"}, stain=stain)
    need = need_of(lay, piece(area="2.53 m^2", loss="10 %"))
    assert need.mix_l == pytest.approx(0.20, abs=2e-3)
    assert (need.dry_um, need.is_full) == (0, False)


def test_the_bench_takes_what_the_finisher_reckons_of_base_and_hardener():
    epoxy, clear = needs(BENCH_LAYS, BENCH)[:2], needs(BENCH_LAYS, BENCH)[2:]
    assert [need.mix_l for need in epoxy] == pytest.approx([0.387, 0.344], abs=6e-4)
    assert epoxy[0].base_and_hardener_l == pytest.approx((0.258, 0.129), abs=6e-4)
    assert epoxy[1].base_and_hardener_l == pytest.approx((0.229, 0.115), abs=6e-4)
    assert clear[0].base_and_hardener_l == pytest.approx((0.195, 0.098), abs=6e-4)
    assert clear[1].base_and_hardener_l == pytest.approx((0.205, 0.102), abs=6e-4)
    assert [need.mix_l for need in clear] == pytest.approx([0.323] * 6, abs=1e-3)
    assert [need.thinner_l for need in clear] == pytest.approx([0.029, *[0.015] * 5], abs=6e-4)
    parts = [need.base_and_hardener_l for need in clear]
    assert sum(base for base, _ in parts) == pytest.approx(1.22, abs=5e-3)
    assert sum(hardener for _, hardener in parts) == pytest.approx(0.61, abs=5e-3)
    assert sum(need.thinner_l for need in clear) == pytest.approx(0.11, abs=5e-3)
    assert sum(need.dry_um for need in clear) == pytest.approx(200, abs=1)


@pytest.mark.parametrize(
    ("coating", "mix_l", "at_c", "cups", "each_l", "brushable_min"),
    [
        # 20 min x 2/3 at 6 m2/h is 1.3 m2 a cup: three cups of 0.13 L; at 18 degC 24 min and two cups of 0.20 L
        (EPOXY, 0.387, 25.0, 3, 0.13, 13),
        (EPOXY, 0.387, 18.0, 2, 0.20, 24),
        # 4 h and 2.5 h: one mix a coat is fine
        (CLEAR, 0.323, 18.0, 1, 0.323, 160),
        (CLEAR, 0.323, 25.0, 1, 0.323, 100),
    ],
)
def test_the_bench_is_mixed_in_as_many_cups_as_the_finisher_says(coating, mix_l, at_c, cups, each_l, brushable_min):
    batch = batch_of(coating, mix_l, BENCH.brushing_h, at_c)
    assert batch.cups == cups
    assert batch.each_l == pytest.approx(each_l, abs=7e-3)
    assert 60 * batch.brushable_h == pytest.approx(brushable_min, abs=0.5)


def test_induction_takes_its_time_from_what_can_be_brushed_and_may_leave_none():
    slow = built_on("epoxy_sealer_2k", "slow", {"pot_life": {"20 degC": "60 min"}, "induction": ["20 min", "30 min"]})
    assert batch_of(slow, 1.0, 1.0, 20.0).brushable_h == pytest.approx(20 / 60)
    assert batch_of(slow, 1.0, 1.0, 20.0).cups == 3
    none = built_on("epoxy_sealer_2k", "none", {"pot_life": {"20 degC": "30 min"}, "induction": ["20 min", "30 min"]})
    assert (batch_of(none, 1.0, 1.0, 20.0).cups, batch_of(none, 1.0, 1.0, 20.0).each_l) == (None, None)
    assert batch_of(family("oil_varnish_1k"), 1.0, 1.0, 20.0) is None
    assert batch_of(EPOXY, None, 1.0, 20.0).each_l is None


# --- what was laid ---


def test_what_was_recorded_goes_before_what_was_planned():
    on = [CoatOn(1, None, 20.0, 60.0), CoatOn(2, None, 0.0, None)]
    film = film_of(RAIL_LAYS, on, 3, on_old_film=False)
    # 60 x 48 / 120 + 75 x 48 / 100 + 80 x 48 / 110, less two sandings of 4 um (by hand)
    assert film.on_um == pytest.approx(24 + 36 + 34.909 - 8, abs=1e-3)
    assert (film.on_full, film.end_full, film.short) == (2, 7, 0)
    assert film.as_planned == 2


def test_a_coat_of_another_coating_is_reckoned_as_that():
    other = family("urethane_alkyd_1k")
    film = film_of(RAIL_LAYS, [CoatOn(1, other, 0.0, None)], 1, on_old_film=False)
    assert film.on_um == 40  # 80 um of 50 %
    assert film.end_full == 6


def test_on_an_old_film_nobody_counts_full_coats():
    assert film_of(RAIL_LAYS, [], 0, on_old_film=True).short == 0


def test_coats_beyond_the_build_up_count_too():
    film = film_of(RAIL_LAYS, [CoatOn(9, None, 0.0, 80.0)], 9, on_old_film=False)
    assert (film.on_full, film.end_full, film.short) == (7, 7, 0)
    assert film.on_um == film.end_um


# --- at the edges ---


def test_thirsty_wood_takes_more_in_its_first_coats_whatever_the_film():
    """9 m2 to the litre, which is 111 um; a film thicker than that stays what it is."""
    thirsty = piece(area="9 m^2", loss="0 %", thirsty_coats=1)
    lays = built({"coating": "oil_varnish_1k", "times": 2})
    assert [need_of(lay, thirsty).mix_l for lay in lays] == pytest.approx([1.0, 0.72])
    assert need_of(lays[0], thirsty).dry_um == need_of(lays[0], piece(area="9 m^2")).dry_um
    (thick,) = built({"coating": "oil_varnish_1k", "wet_film": "200 um"})
    assert need_of(thick, thirsty).mix_l == pytest.approx(1.8)


def test_an_oil_without_a_spread_takes_nobody_knows_how_much():
    oil = built_on("penetrating_oil", "oil", {"spread": "none"})
    (lay,) = built({"coating": "oil"}, oil=oil)
    need = need_of(lay, RAIL)
    assert (need.mix_l, need.coating_l, need.thinner_l, need.base_and_hardener_l) == (None, None, None, None)


def test_more_thinner_than_coating_is_reckoned_as_it_is_told():
    (lay,) = built({"coating": "oil_varnish_1k", "thinner": 150})
    need = need_of(lay, piece(area="1 m^2", loss="0 %"))
    assert need.mix_l == pytest.approx(0.08)
    assert need.coating_l == pytest.approx(0.032)
    assert need.thinner_l == pytest.approx(0.048)


def test_a_hundredth_of_a_square_metre_takes_a_millilitre():
    (lay,) = built({"coating": "urethane_alkyd_1k", "thinner": 0})
    assert need_of(lay, piece(area="0.01 m^2")).mix_l == pytest.approx(0.00092)
