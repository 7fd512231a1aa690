"""The built-in families: figure by figure against the trade's tables, and in the order in which a film dries."""

import json
from itertools import pairwise
from pathlib import Path

import pytest

from dryspell.trade.coating import NO_SOURCE, OUR_CHOICE
from dryspell.trade.families import family, family_keys

PROFILES = Path(__file__).parents[3] / "shared" / "trade_profiles.json"
FILM_LOW_C = {"oxidation": 5, "reaction": 10, "coalescence": 10}
STAGES = {
    "touch_dry": ("touch", 1),
    "dew_safe": ("dew_safe", 1),
    "rain_safe": ("rain_safe", 1),
    "recoat": ("recoat_min", 1),
    "sandable": ("sandable", 1),
    "overcoat_max": ("window_max_no_sand", 1),
    "hot_open": ("hotcoat_open", 1),
    "hot_close": ("hotcoat_close", 1),
    "in_service": ("service_days", 24),
    "full_cure": ("full_cure_days", 24),
    "pot_life": ("pot_life_h", 1),
}
BY_FAMILY = pytest.mark.parametrize("key", family_keys())
STAINS = ["solvent_stain", "water_stain"]
"""Theirs is a table of its own among the trade's, of three temperatures."""
BY_FILM = pytest.mark.parametrize("key", [key for key in family_keys() if key not in STAINS])


@pytest.fixture(scope="module")
def profiles():
    if not PROFILES.exists():
        pytest.skip("the trade's tables are not here")
    return json.loads(PROFILES.read_text("utf-8"))


@pytest.mark.measured
def test_the_families_are_those_of_the_trade_tables(profiles):
    assert list(family_keys()) == [*profiles, *STAINS]


@pytest.mark.measured
@BY_FILM
def test_every_limit_is_that_of_the_trade_tables(profiles, key):
    coating, profile = family(key), profiles[key]
    assert coating.air_c == tuple(profile["air"])
    assert coating.surface_c == tuple(profile["surface"])
    assert coating.humidity_max_pct == profile["rh_max"]
    assert coating.humidity_good_pct == tuple(profile["rh_good"])
    assert coating.margin_apply_k == profile["dew_margin_apply"]
    assert coating.margin_hold_k == profile["dew_margin_hold"]
    assert coating.wind_good_m_s == profile["good_wind"]
    assert coating.wind_stop_m_s == profile["max_wind"]
    assert coating.wet_film_um == profile["wft"][2]
    assert coating.solids_pct == profile["vs"][2]


@pytest.mark.measured
@BY_FILM
@pytest.mark.parametrize("stage", STAGES)
def test_every_time_is_that_of_the_trade_tables(profiles, key, stage):
    name, hours_each = STAGES[stage]
    times = {float(t): value * hours_each for t, value in (profiles[key][name] or {}).items() if value is not None}
    assert dict(getattr(family(key), stage) or ()) == times


@pytest.mark.measured
@BY_FILM
def test_the_induction_is_that_of_the_trade_tables(profiles, key):
    wait = profiles[key]["induction_min"]
    assert family(key).induction_min == (wait and tuple(wait))


@pytest.mark.measured
@BY_FILM
def test_the_thinner_is_that_of_the_trade_tables_at_the_lower_end_of_a_range(profiles, key):
    for coat, written in enumerate(profiles[key]["thin"], start=1):
        assert family(key).thinner_of(coat) == int(written.split("-")[0].split()[0])


@pytest.mark.measured
@BY_FILM
def test_how_it_cures_is_that_of_the_trade_tables(profiles, key):
    word = {"oxidation": "oxidation", "reaction": "chemical", "coalescence": "coalescence"}[family(key).cures_by]
    assert word in profiles[key]["cure"]


@pytest.mark.measured
@BY_FILM
def test_how_many_coats_are_usual_is_that_of_the_trade_tables(profiles, key):
    assert family(key).coats_for == tuple(profiles[key]["coats_bare"])
    assert family(key).upkeep == tuple(profiles[key]["coats_maint"])


@BY_FAMILY
def test_only_what_has_hot_coats_says_how_many_may_lie_in_a_row(key):
    assert (family(key).hot_most is None) is (family(key).hot_open is None)


def test_so_many_hot_coats_lie_in_a_row_as_the_finishers_say():
    """Two of a fast-build finish, three or four of a two-part clear (common practice, no source)."""
    assert family("fast_build_1k").hot_most == 2
    assert 3 <= family("pu_clear_2k").hot_most <= 4


@pytest.mark.parametrize(
    ("key", "hours"),
    [("solvent_stain", {10: 24, 18: 12, 25: 8}), ("water_stain", {10: 6, 18: 3, 25: 2})],
)
def test_a_stain_is_dry_to_coat_when_the_finishers_say(key, hours):
    """Common practice, no source; and a litre goes 10 to 16 m2."""
    stain = family(key)
    assert dict(stain.recoat) == dict(stain.sandable) == hours
    assert 10 <= stain.spread_m2_per_l <= 16
    assert (stain.wet_film_um, stain.full_coats, stain.overcoat_max, stain.hot_open) == (0, 0, None, None)
    assert_in_order(stain, "touch_dry", "sandable", "dew_safe", "rain_safe")


@BY_FAMILY
def test_what_the_tables_do_not_say_follows_the_finishers_rules(key):
    # Common practice, no source: a night under 5 degC stalls a one-component film, under 10 degC the others; rain is
    # refused at 0.2 mm or a chance of 30 %; below its coldest time an oxidising film slows, the others stop; damp air
    # slows what takes up oxygen or loses water.
    coating = family(key)
    assert coating.film_low_c == FILM_LOW_C[coating.cures_by]
    assert (coating.rain_max_mm, coating.rain_chance_max_pct) == (0.2, 30)
    assert coating.below_coldest == ("slows" if coating.cures_by == "oxidation" else "stops")
    assert coating.humidity_slows is (coating.cures_by != "reaction")
    assert coating.film_low_c <= coating.surface_c[0]


def hours(coating, stage):
    return dict(coating.stage(stage))


def assert_in_order(coating, *stages):
    for first, then in pairwise(stages):
        before, after = hours(coating, first), hours(coating, then)
        assert all(before[t] <= after[t] for t in before), (coating.key, first, then)


@BY_FAMILY
def test_a_film_goes_through_its_stages_in_order(key):
    # Common practice, no source. A wiped oil sheds dew before it is tack-free; a waterborne film is sanded before it
    # stands a shower.
    coating = family(key)
    early = ("dew_safe", "rain_safe") if key == "penetrating_oil" else ("touch_dry", "dew_safe", "rain_safe")
    assert_in_order(coating, *early)
    assert_in_order(coating, "touch_dry", "sandable")
    if key not in ("acrylic_clear_wb", *STAINS):
        assert_in_order(coating, "rain_safe", "sandable")
    assert_in_order(coating, "recoat", "sandable")
    if coating.overcoat_max is not None:
        assert_in_order(coating, "recoat", "overcoat_max")
    if coating.hot_open is not None:
        assert_in_order(coating, "hot_open", "hot_close")
    service = ("in_service",) if coating.in_service else ()
    assert_in_order(coating, "sandable", *service, *(("full_cure",) if key not in STAINS else ()))


@BY_FAMILY
@pytest.mark.parametrize("stage", STAGES)
def test_a_warmer_film_is_never_slower(key, stage):
    points = getattr(family(key), stage) or ()
    assert [t for t, _ in points] == sorted(t for t, _ in points)
    assert all(slow >= fast > 0 for (_, slow), (_, fast) in pairwise(points))


@BY_FAMILY
def test_every_mark_belongs_to_a_figure_and_says_where_it_is_from(key):
    coating = family(key)
    assert set(coating.marks) <= {"default", *coating.figures()}
    assert coating.marks["default"] == NO_SOURCE
    assert coating.mark_of("sun_excess") == OUR_CHOICE
    assert all(mark and "://" not in mark and "www" not in mark for mark in coating.marks.values())


def test_the_figures_a_source_was_seen_for_carry_it():
    # Seen: US MIL-HDBK-1110 asks for a surface 5 degF over the dew point; the Wood Handbook (ch. 16) for 10 degC held
    # for 24 h under a waterborne film.
    assert "US MIL-HDBK-1110" in family("oil_varnish_1k").mark_of("margin_apply")
    assert "Wood Handbook ch. 16" in family("acrylic_clear_wb").mark_of("film_low")
    assert family("pu_clear_2k").mark_of("margin_apply") == NO_SOURCE


@BY_FAMILY
def test_what_is_mixed_from_two_parts_has_a_pot_life_and_nothing_else_has(key):
    two_part = family(key).cures_by == "reaction"
    assert (family(key).pot_life is not None) is (family(key).induction_min is not None) is two_part


def test_a_penetrating_oil_leaves_no_film():
    assert family("penetrating_oil").wet_film_um == 0
