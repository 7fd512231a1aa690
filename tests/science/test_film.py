"""Film and volume against worked examples of data notes and a finisher's own sums."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.science import film

SQUARE_FEET_PER_GALLON = 0.09290304 / 3.785411784  # [m2 L-1], exact US units
MIL_UM = 25.4

FILMS = st.floats(1, 500)
SOLIDS = st.floats(10, 100)
PARTS = st.floats(0, 200)


def test_solids_and_film_of_published_data_notes():
    # VS 71 %, 125 um dry: 176 um wet, 5.7 m2/L; VS 50 %, 100 um wet: 50 um dry (scribd.com/document/476982351)
    assert round(float(film.wet_film_for(125, 71))) == 176
    assert round(float(film.spreading_rate_m2_per_l(125, 71)), 1) == 5.7
    assert film.dry_film_um(100, 50) == 50
    # VS 65 %: 5.2 m2/L at 125 um, 208.5 square feet to the US gallon at 5 mil (scribd.com/document/343849341)
    assert round(float(film.spreading_rate_m2_per_l(125, 65)), 1) == 5.2
    per_gallon = film.spreading_rate_m2_per_l(5 * MIL_UM, 65) / SQUARE_FEET_PER_GALLON
    assert round(float(per_gallon), 1) == 208.5


def test_spread_and_wet_film_are_each_others_inverse():
    # 10 m2/L is 100 um wet, 8 m2/L is 125 um (painting-advice.blogspot.com)
    for wet, spread in ((100, 10), (125, 8)):
        assert film.spreading_rate_m2_per_l(film.dry_film_um(wet, 45), 45) == pytest.approx(spread)
        assert film.litres(spread, wet) == pytest.approx(1)


def test_thinner_leaves_less_film():
    # VS 45 % thinned by 10 parts: 40.909 %, 80 um wet: 32.7 um dry, 12.5 m2/L (computed by hand)
    assert film.dry_film_um(100, 45, 10) == pytest.approx(40.909, abs=5e-4)
    assert film.dry_film_um(80, 45, 10) == pytest.approx(32.7, abs=0.05)
    assert film.spreading_rate_m2_per_l(film.dry_film_um(80, 45, 10), 45, 10) == pytest.approx(12.5)


# Toe rail of 4.05 m2, VS 48 %, waste 15 %: a finisher's own sums (common practice, no source).
@pytest.mark.parametrize(
    ("parts", "wet", "mix", "varnish", "thinner", "dry"),
    [
        (50, 70, 0.326, 0.217, 0.109, 22), (25, 75, 0.349, 0.279, 0.070, 29), (10, 80, 0.372, 0.339, 0.034, 35),
        (0, 85, 0.396, 0.396, 0.000, 41), (5, 80, 0.372, 0.355, 0.018, 37),
    ],
)  # fmt: skip
def test_the_coats_of_a_toe_rail_take_what_the_finisher_reckons(parts, wet, mix, varnish, thinner, dry):
    needed = film.litres(2 * 9.20 * 0.22, wet, waste_pct=15)
    # the finisher rounds the mix to the millilitre before he goes on
    assert needed == pytest.approx(mix, abs=6e-4)
    np.testing.assert_allclose(film.coating_and_thinner(needed, parts), (varnish, thinner), atol=1.1e-3)
    assert round(float(film.dry_film_um(wet, 48, parts))) == dry


def test_the_toe_rail_sums_up_and_is_one_full_coat_short_of_seven():
    parts = np.array([50, 25, 10, 0, 0, 0, 0, 5])
    wet = np.array([70, 75, 80, 85, 85, 85, 85, 80])
    varnish, thinner = film.coating_and_thinner(film.litres(4.05, wet, 15), parts)
    assert varnish.sum() == pytest.approx(2.77, abs=0.01)
    assert thinner.sum() == pytest.approx(0.23, abs=0.005)
    assert film.dry_film_um(wet, 48, parts).sum() == pytest.approx(286, abs=1)
    assert film.is_full_coat(parts, wet, 80).sum() == 6


def test_parts_to_a_hundred_and_a_share_of_the_mix_are_told_apart():
    # a hundred and fifty hold a third of thinner, one to one holds a half
    assert film.parts_to_share(50) == pytest.approx(100 / 3)
    assert film.parts_to_share(100) == 50
    assert film.share_to_parts(50) == 100
    assert film.share_to_parts(0) == 0


@given(PARTS)
def test_parts_and_share_undo_each_other(parts):
    assert film.share_to_parts(film.parts_to_share(parts)) == pytest.approx(parts, abs=1e-9)


@given(FILMS, SOLIDS, PARTS)
def test_wet_and_dry_film_undo_each_other_and_a_film_never_grows(wet, solids, parts):
    dry = film.dry_film_um(wet, solids, parts)
    assert dry <= wet
    assert film.wet_film_for(dry, solids, parts) == pytest.approx(wet)


@given(st.floats(0.01, 100), PARTS)
def test_coating_and_thinner_make_the_mix_again(mix, parts):
    coating, thinner = film.coating_and_thinner(mix, parts)
    assert coating + thinner == pytest.approx(mix)
    assert thinner == pytest.approx(coating * parts / 100, abs=1e-9)


def test_a_full_coat_has_at_most_ten_parts_of_thinner_and_four_fifths_of_the_film():
    full = film.is_full_coat([0, 10, 10.1, 0, 0, np.nan], [80, 64, 80, 63.9, np.nan, 80], 80)
    np.testing.assert_array_equal(full, [True, True, False, False, False, False])
    # an oil that leaves no film to speak of
    assert film.is_full_coat(0, 0, 0)


def test_arrays_broadcast_scalars_stay_scalar_and_unknown_stays_unknown():
    assert film.dry_film_um(np.array([[80.0], [100.0]]), [45, np.nan]).shape == (2, 2)
    assert np.isnan(film.dry_film_um(80, np.nan))
    assert np.isnan(film.litres(4, np.nan))
    for value in (film.dry_film_um(80, 45), film.litres(4, 80), film.parts_to_share(50), film.wet_film_for(40, 50)):
        assert value.dtype == np.float64
        assert value.shape == ()


def test_what_cannot_be_is_refused_by_name():
    for name, call in {
        "wet_um": lambda: film.dry_film_um(-1, 45),
        "volume_solids_pct": lambda: film.dry_film_um(80, 0.45),
        "thinner_pct": lambda: film.dry_film_um(80, 45, -5),
        "dry_um": lambda: film.spreading_rate_m2_per_l(0, 45),
        "area_m2": lambda: film.litres(-4, 80),
        "waste_pct": lambda: film.litres(4, 80, -1),
        "mix": lambda: film.coating_and_thinner(-1, 10),
        "thinner_parts": lambda: film.parts_to_share(-1),
        "share_pct": lambda: film.share_to_parts(100),
    }.items():
        with pytest.raises(ValueError, match=name):
            call()
