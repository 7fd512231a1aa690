"""Full coats counted apart from thinned ones."""

from datetime import timedelta

import pytest

from dryspell.outlook import words
from dryspell.outlook.full_coats import coats_on
from dryspell.outlook.model import Coat, CoatsOn
from dryspell.outlook.outlook import make_outlook
from dryspell.trade.families import family
from dryspell.trade.system import Step, lays_of
from outlook.build import MONDAY, built, piece, site, weather


def coat(number, parts=None, wet_um=None):
    at = MONDAY + timedelta(days=2 * number)
    return Coat(piece="rail", number=number, finished_at=at, recorded_at=at, thinner_parts=parts, wet_film_um=wet_um)


LADDER = [coat(number, parts) for number, parts in enumerate((50, 25, 10, 0, 0), 1)]


@pytest.mark.parametrize(
    ("coats", "count", "found"),
    [
        # Full: 10 parts of thinner or less, and four fifths of the usual 80 um (common practice, no source).
        (LADDER, 5, (5, 3, 0)),
        ([coat(1, 0, 63.0), coat(2, 0, 64.0), coat(3, 0, 120.0)], 3, (3, 2, 0)),
        ([coat(4, 0), coat(5)], 5, (5, 1, 4)),
    ],
)
def test_thinned_and_thin_coats_are_no_full_ones(coats, count, found):
    on = coats_on(coats, built(), count)
    assert (on.count, on.full, on.untold) == found


def test_where_nobody_told_how_they_were_thinned_nothing_is_said():
    assert coats_on([coat(1), coat(2, wet_um=80.0)], built(), 2) is None
    assert coats_on([], built(), 3) is None


def test_in_a_build_up_of_two_coatings_each_goes_by_its_own_film():
    keys = ("epoxy_sealer_2k", "pu_clear_2k")
    lays = lays_of([Step(coating=key, times=2) for key in keys], {key: family(key) for key in keys})
    # 70 um is less than four fifths of the sealer's 90, and more than those of the clear's 75.
    coats = [coat(1, 0, 70.0), coat(2, 0, 90.0), coat(3, 5, 70.0), coat(4, 20, 75.0)]
    assert coats_on(coats, lays, 4) == CoatsOn(count=4, full=2, untold=0)


def test_an_outlook_tells_it():
    outlook = make_outlook(
        piece(coats=8), site(), built(), LADDER[:3], weather(), MONDAY + timedelta(hours=10), stale_after_h=120
    )
    assert outlook.coats_on == CoatsOn(count=3, full=1, untold=0)


@pytest.mark.parametrize(
    ("on", "text"),
    [
        (CoatsOn(count=5, full=3, untold=0), "5 coats on, 3 of them full"),
        (CoatsOn(count=1, full=0, untold=0), "1 coat on, 0 of them full"),
        (CoatsOn(count=5, full=1, untold=4), "5 coats on, 1 of them full; of 4 it is not told how they were thinned"),
    ],
)
def test_it_is_said_in_plain_words(on, text):
    assert words.coats_on_text(on) == text
