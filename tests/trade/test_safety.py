"""The cautions a coat comes with, by what makes a film of it."""

from dryspell.trade import safety
from dryspell.trade.families import built_on, family
from dryspell.trade.safety import cautions


def test_each_way_of_curing_has_the_cautions_that_go_with_it():
    assert cautions(family("oil_varnish_1k")) == (safety.RAGS, safety.SOLVENT, safety.DATA_SHEET)
    assert cautions(family("pu_clear_2k")) == (safety.SOLVENT, safety.ISOCYANATE, safety.DATA_SHEET)
    assert cautions(family("epoxy_sealer_2k")) == (safety.SOLVENT, safety.EPOXY, safety.DATA_SHEET)
    assert cautions(family("acrylic_clear_wb")) == (safety.DATA_SHEET,)


def test_one_part_that_cures_by_moisture_holds_isocyanate_whatever_it_was_built_on():
    for start in ("urethane_alkyd_1k", "epoxy_sealer_2k"):
        can = built_on(start, "can", {"cures_by": "moisture"})
        assert cautions(can) == (safety.SOLVENT, safety.ISOCYANATE, safety.DATA_SHEET)
