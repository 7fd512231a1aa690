"""Build-ups of several coatings in a configuration: right ones, and what is said of wrong ones."""

import pytest

SYSTEM = """
[[system.bench.coats]]
coating = "epoxy_sealer_2k"
times = 2
[[system.bench.coats]]
coating = "pu_clear_2k"
abrasive = "P240"
[piece.seat]
system = "bench"
done = 2
over = "old film"
"""


def test_a_piece_has_the_coats_of_its_system(read):
    from config.conftest import CONTACT, PIECE, SITE

    config = read(CONTACT + SITE + PIECE + SYSTEM)
    seat = config.piece["seat"]
    assert (seat.coats, seat.done) == (3, 2)
    assert [(lay.coating.key, lay.abrasive) for lay in config.lays_of(seat)] == [
        ("epoxy_sealer_2k", "P240"),
        ("epoxy_sealer_2k", "P400"),
        ("pu_clear_2k", "P240"),
    ]
    assert config.coatings_of(seat) == ["epoxy_sealer_2k", "pu_clear_2k"]
    rail = config.piece["toe_rail"]
    assert [lay.coating.key for lay in config.lays_of(rail)] == ["oil_varnish_1k"] * 7


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('system = "bench"', 'system = "bank"'), 'piece.seat.system = "bank" is no system; there is bench'),
        (('system = "bench"', 'system = "bench"\ncoats = 7'), "piece.seat.coats = 7 is for a piece without a system"),
        (("done = 2", "done = 4"), "piece.seat.done = 4 is more than coats (3)"),
        (
            ('coating = "pu_clear_2k"', 'coating = "pu_cleer_2k"'),
            'system.bench.coats, item 2.coating = "pu_cleer_2k" is no coating',
        ),
        (
            ('coating = "pu_clear_2k"\n', ""),
            'coats, item 2.coating is missing; wanted such as coating = "epoxy_sealer_2k"',
        ),
        (('abrasive = "P240"', "abrasive = 240"), 'is no abrasive; wanted a grit such as "P400"'),
        (('abrasive = "P240"', 'abrasiv = "P240"'), "is no key of a coat of a system"),
        (("times = 2", "times = 41"), "is too large"),
        (("times = 2", "times = 40"), "are 41 coats in all; 40 are the most there can be"),
    ],
)
def test_a_wrong_system_is_answered_with_what_would_be_right(problems, change, said):
    assert change[0] in SYSTEM
    found = problems(SYSTEM.replace(*change))
    assert len(found) == 1
    assert said in found[0]


@pytest.mark.parametrize("coats", ["", "coats = 7\n", "coats = []\n", 'coats = ["varnish"]\n'])
def test_a_system_without_coats_is_told_where_they_stand(problems, coats):
    found = problems(f"[system.bench]\n{coats}")
    assert len(found) == 1
    assert found[0].startswith("system.bench.coats is missing or no list of tables; wanted its coats in their order")
    assert found[0].endswith("[[system.bench.coats]]")
