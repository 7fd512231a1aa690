"""The file of families, table by table, against tomllib's reading of the whole; and coatings that go before others."""

import tomllib

import pytest

from dryspell.bundled import bundled
from dryspell.trade.coating import Coating
from dryspell.trade.families import Families, Over, built_on, family, family_keys


def test_every_family_is_as_the_whole_file_has_it():
    whole = tomllib.loads(bundled("coatings.toml").read_text("utf-8"))
    assert family_keys() == tuple(whole)
    for key, table in whole.items():
        assert family(key) == Coating.model_validate({**table, "key": key, "family": key})
        # What a table says of itself is seen by its own marks and times too: nothing of a neighbour's came in.
        assert set(family(key).marks) == set(table["marks"])


def test_families_are_all_there_are_and_no_more():
    families = Families()
    assert (tuple(families), len(families)) == (family_keys(), len(family_keys()))
    assert "oil_varnish_1k" in families
    assert "oil_varnish_1k.marks" not in families
    with pytest.raises(KeyError):
        families["oil_varnish_1k.marks"]


def test_what_goes_before_is_found_first_and_stands_in_its_old_place():
    mine = built_on("oil_varnish_1k", "mine", {"wet_film": "60 um"})
    other = built_on("oil_varnish_1k", "oil_varnish_1k", {"wet_film": "70 um"})
    coatings = Over({"mine": mine, "oil_varnish_1k": other}, Families())
    assert tuple(coatings) == (*family_keys(), "mine")
    assert len(coatings) == len(family_keys()) + 1
    assert coatings["mine"].wet_film_um == 60
    assert coatings["oil_varnish_1k"].wet_film_um == 70
    assert coatings["primer_1k"] == family("primer_1k")
    assert "nothing" not in coatings
