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


def test_solids_and_film_of_published_data_notes(figure):
    # VS 71 %, 125 um dry: 176 um wet, 5.7 m2/L; VS 50 %, 100 um wet: 50 um dry (scribd.com/document/476982351)
    wet, spread = float(film.wet_film_for(125, 71)), float(film.spreading_rate_m2_per_l(125, 71))
    assert round(wet) == 176
    assert round(spread, 1) == 5.7
    note = "a data note, scribd.com/document/476982351, printed to "
    figure("wet film for 125 um dry, solids 71 %", abs(wet - 176), bar=0.5, unit="um", source=f"{note}1 um")
    figure("spread at 125 um dry, solids 71 %", abs(spread - 5.7), bar=0.05, unit="m2/L", source=f"{note}0.1 m2/L")
    assert film.dry_film_um(100, 50) == 50
    # VS 65 %: 5.2 m2/L at 125 um, 208.5 square feet to the US gallon at 5 mil (scribd.com/document/343849341)
    assert round(float(film.spreading_rate_m2_per_l(125, 65)), 1) == 5.2
    per_gallon = film.spreading_rate_m2_per_l(5 * MIL_UM, 65) / SQUARE_FEET_PER_GALLON
    assert round(float(per_gallon), 1) == 208.5
    note = "a data note, scribd.com/document/343849341, printed to 0.1 ft2/gal"
    figure("spread at 5 mil dry, solids 65 %", abs(per_gallon - 208.5), bar=0.05, unit="ft2/gal", source=note)


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
def test_the_coats_of_a_toe_rail_take_what_the_finisher_reckons(parts, wet, mix, varnish, thinner, dry, figure):
    needed = film.litres(2 * 9.20 * 0.22, wet, waste_pct=15)
    # the finisher rounds the mix to the millilitre before he goes on
    assert needed == pytest.approx(mix, abs=6e-4)
    found = film.coating_and_thinner(needed, parts)
    np.testing.assert_allclose(found, (varnish, thinner), atol=1.1e-3)
    name, source = f"varnish for a rail of 4.05 m2, {parts} parts of thinner", "a finisher's own sum, to 1 ml"
    figure(name, 1000 * abs(found[0] - varnish), bar=1.1, unit="ml", source=source)
    assert round(float(film.dry_film_um(wet, 48, parts))) == dry


def test_the_toe_rail_sums_up_and_is_one_full_coat_short_of_seven():
    parts = np.array([50, 25, 10, 0, 0, 0, 0, 5])
    wet = np.array([70, 75, 80, 85, 85, 85, 85, 80])
    varnish, thinner = film.coating_and_thinner(film.litres(4.05, wet, 15), parts)
    assert varnish.sum() == pytest.approx(2.77, abs=0.01)
    assert thinner.sum() == pytest.approx(0.23, abs=0.005)
    assert film.dry_film_um(wet, 48, parts).sum() == pytest.approx(286, abs=1)
    assert film.is_full_coat(parts, wet, 80).sum() == 6


def test_a_build_up_counts_full_coats_apart_and_takes_off_what_sanding_took():
    # the same sums: 286 um dry, 258 after seven sandings of 4 um; and the door's seven coats: six full ones, 265 um
    rail = film.build_up(
        [50, 25, 10, 0, 0, 0, 0, 5], [70, 75, 80, 85, 85, 85, 85, 80],
        default_wet_um=80, volume_solids_pct=48, sanded_um=4,
    )  # fmt: skip
    assert (rail.full, rail.thinned, rail.untold) == (6, 2, 0)
    assert rail.dry_um == pytest.approx(258, abs=1)
    door = film.build_up([20, 10, 0, 0, 0, 0, 0], [75, 75, 80, 80, 80, 80, 80], default_wet_um=80, volume_solids_pct=50)
    assert (door.full, door.thinned) == (6, 1)
    assert door.dry_um == pytest.approx(265, abs=1)
    # the bench: six coats of 75 um at 10 and then 5 parts, VS 47 %: 200 um
    bench = film.build_up([10, 5, 5, 5, 5, 5], 75, default_wet_um=75, volume_solids_pct=47)
    assert (bench.full, bench.thinned) == (6, 0)
    assert bench.dry_um == pytest.approx(200, abs=1)


def test_a_coat_that_nobody_told_of_is_no_full_one_and_adds_no_film():
    some = film.build_up([0, np.nan, 0], [80, 80, np.nan], default_wet_um=80, volume_solids_pct=50)
    assert (some.full, some.thinned, some.untold, some.dry_um) == (1, 2, 2, 40)
    none = film.build_up([], [], default_wet_um=80, volume_solids_pct=50, sanded_um=5)
    assert (none.full, none.thinned, none.untold, none.dry_um) == (0, 0, 0, 0)
    with pytest.raises(ValueError, match="sanded_um"):
        film.build_up([0], [80], default_wet_um=80, volume_solids_pct=50, sanded_um=-1)


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
