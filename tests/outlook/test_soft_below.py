"""A coat on the soft one below, a least time of its own, and a build-up of several coatings, in an outlook."""

from datetime import timedelta

import pytest

from dryspell.outlook import words
from dryspell.outlook.model import Coat, CoatsOn, Limit
from dryspell.outlook.outlook import make_outlook
from dryspell.outlook.rows import kept_in_rows
from dryspell.outlook.states import State, state_of
from dryspell.trade.before import Before
from dryspell.trade.families import family
from dryspell.trade.system import Step, lays_of
from outlook.build import MONDAY, built, piece, site, weather

CLEAR = family("pu_clear_2k")
SEALER = family("epoxy_sealer_2k")
FAIR = weather(days=9, cloud=100, air=(18, 18.5), dew_c=6.0)
NINE = MONDAY + timedelta(hours=9)


def look(lays, *, below=NINE, after=timedelta(minutes=15), **changes):
    door = piece(face="vertical", facing="N", body="door", brush_time="45 min", **changes)
    coats = [Coat(piece="rail", number=1, finished_at=below, recorded_at=below)]
    return make_outlook(door, site(), lays, coats, FAIR, below + after, stale_after_h=999)


def starts_of(outlook, day):
    begin = MONDAY + timedelta(days=day)
    return [(w.start, w.last_start) for w in outlook.windows if begin <= w.start < begin + timedelta(days=1)]


def test_a_hot_coat_goes_on_between_the_opening_and_the_closing_of_the_soft_one():
    """At 18 degC the two-part clear is open to the next from 3 h to 24 h (common practice, no source)."""
    (start, last), *_ = starts_of(look(built(CLEAR, hot=True)), 0)
    assert abs(start - (NINE + timedelta(hours=3))) <= timedelta(minutes=15)
    assert last < MONDAY + timedelta(hours=19)


def test_without_hot_it_waits_until_it_is_sandable():
    outlook = look(built(CLEAR))
    assert starts_of(outlook, 0) == []
    assert outlook.reason.limit is Limit.COAT_BELOW
    # 20 h at 18 degC: before the next morning.
    assert starts_of(outlook, 1)


def test_a_brush_that_would_be_out_past_the_closing_waits_until_it_is_hard():
    """Closing at 18 degC is a day (common practice, no source), sandable 20 h: one laid soft is sandable meanwhile."""
    quick = CLEAR.model_copy(update={"hot_close": ((18.0, 5.0),)})
    (start, last), *_ = starts_of(look(built(quick, hot=True)), 0)
    assert last - start <= timedelta(hours=1, minutes=15)
    assert last + timedelta(minutes=45) <= NINE + timedelta(hours=5)


def test_ordinary_varnish_has_no_soft_opening_whatever_the_system_says():
    assert starts_of(look(built(hot=True)), 0) == []


def test_what_the_sheet_asks_of_the_coat_below_stands_in_the_place_of_sandable():
    """Varnish over epoxy: days, not hours (a retailer: 5 to 7 days by product and temperature)."""
    varnish = built()[0].coating
    steps = [Step(coating=SEALER.key), Step(coating=varnish.key, times=3, after={"18 degC": "3 d"})]
    lays = lays_of(steps, {SEALER.key: SEALER, varnish.key: varnish})
    outlook = look(lays)
    assert (outlook.coating, outlook.film.coat.number) == (varnish.key, 1)
    assert outlook.windows[0].start >= NINE + timedelta(days=3) - timedelta(hours=4)
    sooner = lays_of([Step(coating=SEALER.key), Step(coating=varnish.key)], {SEALER.key: SEALER, varnish.key: varnish})
    assert look(sooner).windows[0].start < NINE + timedelta(days=2)
    # The film dries as the coating it is of, not as the next one.
    assert look(sooner).film.stages.sandable - NINE == pytest.approx(timedelta(hours=24), abs=timedelta(hours=1))


def test_the_build_up_ends_with_the_last_coat_of_the_system():
    door = piece(face="vertical", facing="N", body="door", done=2)
    assert make_outlook(door, site(), built(coats=2), [], FAIR, NINE, stale_after_h=999).reason.limit is Limit.BUILT_UP


class TestRow:
    """Of a two-part clear three coats in a row may lie on soft ones (common practice, no source: three or four)."""

    LAYS = built(CLEAR, coats=9, hot=True)

    def on(self, *hours, **last):
        """Return coats with their last strokes so many hours after nine on Monday."""
        coats = [
            Coat(piece="rail", number=number, finished_at=at, recorded_at=at)
            for number, at in enumerate((NINE + timedelta(hours=each) for each in hours), 1)
        ]
        return [*coats[:-1], coats[-1].model_copy(update=last)]

    def next_start(self, coats):
        door = piece(face="vertical", facing="N", body="door", brush_time="45 min", hours="00:00-24:00")
        now = coats[-1].finished_at + timedelta(minutes=15)
        outlook = make_outlook(door, site(), self.LAYS, coats, FAIR, now, stale_after_h=999)
        return outlook.windows[0].start - coats[-1].finished_at, outlook

    def test_a_third_follows_two_in_a_row_and_a_fourth_waits_until_the_third_is_hard(self):
        gap, outlook = self.next_start(self.on(0, 3.25))
        assert gap < timedelta(hours=5)
        assert outlook.before == ()
        gap, outlook = self.next_start(self.on(0, 3.25, 6.5))
        # 20 h at 18 degC, and then by day.
        assert gap >= timedelta(hours=19)
        assert outlook.before == (Before.SAND_AFTER_ROW,)

    @pytest.mark.parametrize(
        ("coats", "row"),
        [
            ([], 0),
            ([0], 1),
            ([0, 3.25], 2),
            ([0, 3.25, 6.5], 3),
            # At 12 degC, the coldest it is put on, it takes 34 h to be hard: after 40 h it was hard.
            ([0, 40, 43.25], 2),
            ([0, 30, 33.25], 3),
        ],
    )
    def test_the_coats_that_are_on_are_counted_by_when_they_were_put_on(self, coats, row):
        coats = self.on(*coats) if coats else []
        lays = kept_in_rows(self.LAYS, coats, len(coats))
        may_follow = next((k for k, lay in enumerate(lays[len(coats) :]) if not lay.hot), 0)
        assert may_follow == (3 - row if coats else 0)

    def test_a_coat_before_which_was_sanded_began_a_new_row(self):
        coats = self.on(0, 3.25, 6.5, abrasive="P400")
        assert kept_in_rows(self.LAYS, coats, 3)[3].hot

    def test_a_coat_put_on_one_that_was_seen_to_be_hard_began_a_new_row(self):
        first, second, third = self.on(0, 3.25, 25)
        hard = second.model_copy(update={"sandable_at": NINE + timedelta(hours=24)})
        assert kept_in_rows(self.LAYS, [first, hard, third], 3)[3].hot
        assert not kept_in_rows(self.LAYS, [first, second, third], 3)[3].hot


class TestStain:
    """Dry to coat after 12 h at 18 degC in solvent, 3 h in water (common practice, no source)."""

    def look(self, key, *, number=1, after=timedelta(minutes=15), coats=4):
        stained = {key: family(key), "oil_varnish_1k": family("oil_varnish_1k")}
        lays = lays_of([Step(coating=key), Step(coating="oil_varnish_1k", times=coats)], stained)
        door = piece(face="vertical", facing="N", body="door", brush_time="45 min")
        coats = [
            Coat(piece="rail", number=each, finished_at=at, recorded_at=at, thinner_parts=0.0)
            for each, at in ((k, NINE + timedelta(days=2 * (k - 1))) for k in range(1, number + 1))
        ]
        return make_outlook(door, site(), lays, coats, FAIR, coats[-1].finished_at + after, stale_after_h=999)

    @pytest.mark.parametrize(("key", "hours"), [("solvent_stain", 12), ("water_stain", 3)])
    def test_it_is_coated_when_it_is_dry_and_not_sanded(self, key, hours):
        outlook = self.look(key)
        assert outlook.film.stain
        assert outlook.film.stages.sandable - NINE == pytest.approx(
            timedelta(hours=hours), abs=timedelta(hours=hours / 6)
        )
        assert (outlook.before, outlook.sand_first) == ((Before.NO_SANDING,), False)
        assert words.before_line(outlook) == "Before coat 2: do not sand: stain below."
        assert starts_of(outlook, 0 if hours == 3 else 1)

    def test_dry_it_is_not_ready_to_sand(self):
        outlook = self.look("solvent_stain", after=timedelta(hours=14))
        assert outlook.word == "wait"  # nobody works at night
        assert state_of(outlook, outlook.made_at) is State.DRY_UNSANDED

    def test_an_overcoat_window_that_is_past_over_a_stain_asks_for_no_more_than_a_denib(self):
        outlook = self.look("solvent_stain", number=2, after=timedelta(hours=95))
        assert outlook.sand_first
        assert words.sand_first_text(outlook) == "denib, no more (stain below)"

    def test_it_is_on_but_no_full_coat(self):
        assert self.look("solvent_stain", number=3).coats_on == CoatsOn(count=3, full=2, untold=0)
        assert self.look("solvent_stain", number=1).coats_on is None

    def test_bare_wood_is_as_dry_as_the_first_film_asks(self):
        """Under a two-part clear 12 %, under varnish 14 % on a door (common practice, no source)."""
        for key, below in (("oil_varnish_1k", 14.0), ("pu_clear_2k", 12.0)):
            kinds = {each: family(each) for each in ("solvent_stain", key)}
            lays = lays_of([Step(coating=each) for each in kinds], kinds)
            door = piece(face="vertical", facing="N", body="door")
            outlook = make_outlook(door, site(), lays, [], FAIR, NINE, stale_after_h=999)
            assert (outlook.stain, outlook.wood.below_pct) == (True, below)
