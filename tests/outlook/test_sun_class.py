"""How hard the sun is on a piece, and how many coats are usual for that."""

import pandas as pd
import pvlib
import pytest

from dryspell.outlook.sun_class import UsualCoats, sun_class, upkeep_text, usual_coats, usual_coats_text, year_of_sun
from dryspell.trade.families import built_on, family, family_keys
from dryspell.trade.system import Step, lays_of
from outlook.build import built, piece, site

COATINGS = {key: family(key) for key in family_keys()}


def wall(facing, **changes):
    return piece(**{"face": "vertical", "facing": facing} | changes)


@pytest.mark.parametrize("latitude", [0, 35, 54, -35])
def test_a_year_of_clear_days_on_level_ground_is_that_of_the_reference_library(latitude):
    """pvlib, the same model of a clear sky (Haurwitz), every day and every ten minutes."""
    times = pd.date_range("2025-01-01", "2026-01-01", freq="10min", inclusive="left", tz="UTC")
    zenith = pvlib.solarposition.get_solarposition(times, latitude, 0.0)["zenith"]
    reference = float(pvlib.clearsky.haurwitz(zenith)["ghi"].sum()) / 6.0 / 1000.0
    assert year_of_sun(piece(), site(latitude=f"{latitude} deg")) == pytest.approx(reference, rel=0.01)


@pytest.mark.parametrize(
    ("of", "found"),
    [
        # Severe is what lies flat or faces south to west, up high, in low latitudes (common practice, no source).
        (piece(), "severe"),
        (wall("S"), "severe"),
        (wall("SW"), "severe"),
        (wall("W"), "severe"),
        (wall("E"), "medium"),
        (wall("SE"), "medium"),
        (wall("N"), "mild"),
        (wall("NE"), "mild"),
        (wall("N", face="tilted", tilt="30 deg"), "medium"),
        # Under a tree, or a roof over a flat face, there is little sun.
        (piece(shelter="trees"), "mild"),
        (piece(shelter="roof"), "mild"),
        # A shed, tent or cover stands over it only while it is coated.
        (piece(shelter="shed"), "severe"),
        (wall("S", shelter="tent"), "severe"),
        (piece(shelter="cover"), "severe"),
        # A high quay before it, or a sun that reaches it for two hours.
        (wall("S", horizon={"E": "50 deg", "S": "50 deg", "W": "50 deg", "N": "0 deg"}), "mild"),
        (wall("SW", sun="12:45-15:00"), "medium"),
    ],
)
def test_the_class_is_what_the_trade_says_of_such_a_face(of, found):
    assert sun_class(of, site()) == found


def test_low_latitude_and_height_are_harder():
    assert sun_class(wall("E"), site()) == "medium"
    assert sun_class(wall("E"), site(latitude="46 deg", elevation="4000 m")) == "severe"
    assert year_of_sun(piece(), site(latitude="25 deg")) > 1.4 * year_of_sun(piece(), site(latitude="54 deg"))


def test_in_the_southern_half_of_the_world_north_is_the_sunny_side():
    there = site(latitude="-35 deg")
    assert [sun_class(wall(facing), there) for facing in ("N", "NW", "W", "S")] == ["severe"] * 3 + ["mild"]


def test_the_sun_of_the_afternoon_counts_for_more():
    east, west, north = (year_of_sun(wall(facing), site()) for facing in ("E", "W", "N"))
    assert north < east < west


@pytest.mark.parametrize(
    ("of", "coats", "usual"),
    [
        # Of an oil varnish 7, 8 or 12 coats by how hard the sun is (common practice, no source).
        (wall("N"), 7, UsualCoats("mild", 7, 7, (1, 2))),
        (wall("E"), 7, UsualCoats("medium", 8, 7, (1, 2))),
        (piece(), 7, UsualCoats("severe", 12, 7, (1, 2))),
        (piece(over="old film"), 7, UsualCoats("severe", 0, 7, (1, 2))),
    ],
)
def test_more_coats_are_usual_in_more_sun(of, coats, usual):
    assert usual_coats(of, site(), built(family("oil_varnish_1k"), coats=coats)) == usual


def test_it_is_said_where_there_are_fewer_than_are_usual_and_not_where_there_are_enough():
    few, enough = (usual_coats(piece(), site(), built(family("oil_varnish_1k"), coats=coats)) for coats in (7, 12))
    assert (few.short, enough.short) == (5, 0)
    assert usual_coats_text(few) == "for severe sun 12 are usual"
    assert usual_coats_text(few, "spar") == "for severe sun 12 of spar are usual"
    assert usual_coats_text(enough) == ""
    assert upkeep_text(few) == "Once built up, 1 to 2 coats a season keep it; the more sun, the more."


def test_in_a_build_up_of_several_coatings_the_coats_of_the_last_one_count():
    steps = [
        {"coating": "solvent_stain"},
        {"coating": "epoxy_sealer_2k", "times": 2},
        {"coating": "pu_clear_2k", "times": 6},
    ]
    lays = lays_of([Step.model_validate(step) for step in steps], COATINGS)
    # A maker's sheet for a two-part clear: six coats at least, up to eight in severe sun.
    assert usual_coats(piece(), site(), lays) == UsualCoats("severe", 8, 6, (1, 2))


def test_a_can_that_says_nothing_of_it_is_not_asked_for_more():
    silent = built_on("oil_varnish_1k", "silent", {"coats_for": "none", "upkeep": "none"})
    usual = usual_coats(piece(), site(), built(silent, coats=1))
    assert (usual.short, usual_coats_text(usual), upkeep_text(usual)) == (0, "", "")
    once = built_on("oil_varnish_1k", "once", {"upkeep": [1, 1]})
    assert upkeep_text(usual_coats(piece(), site(), built(once))).startswith("Once built up, 1 coat a season keeps it")
