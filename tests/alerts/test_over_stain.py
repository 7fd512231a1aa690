"""What is said of a stain and over one: it is never sanded (common practice, no source)."""

from alerts.fakes import at, film, outlook
from alerts.test_text import about
from alerts.timeline import Timeline
from dryspell.alerts.kinds import Kind
from dryspell.alerts.model import Habits, PieceHabits
from dryspell.alerts.mqtt_states import state_document
from dryspell.alerts.text import compose
from dryspell.outlook.model import Stages
from dryspell.trade.before import Before

UNSANDED = Habits(piece={"rail": PieceHabits(unsanded=frozenset({2, 3, 4}))})
STAGES = Stages(sandable=at(3, "20:30"), sand_first_after=at(6, "17:00"))
STAIN = film(3, "08:30", at(3, "20:30"), number=1, stages=STAGES).model_copy(update={"stain": True})
OVER_STAIN = film(3, "08:30", at(3, "20:30"), number=2, stages=STAGES)


def said(day, clock, wet, coat):
    seen = outlook(at(day, clock), (), coat=coat, film=wet, before=(Before.NO_SANDING,))
    return [
        (n, *compose(n, about(seen, "solvent_stain" if coat == 2 else "oil_varnish_1k")))
        for n in Timeline(UNSANDED).tick(seen)
    ]


def test_a_stain_is_told_to_be_dry_and_not_to_sand():
    ((notice, title, body),) = said(4, "08:00", STAIN, 2)
    assert notice.kind is Kind.READY_TO_SAND
    assert title == "Stain dry to coat by estimate: Toe rail"
    assert "Do not sand it" in body


def test_a_stain_has_no_overcoat_window_to_be_told_of():
    assert said(6, "08:00", STAIN, 2) == []


def test_over_a_stain_a_film_is_denibbed_and_no_more():
    ((closing, title, body),) = said(6, "08:00", OVER_STAIN, 3)
    assert closing.kind is Kind.OVERCOAT_CLOSING
    assert title == "Coat by 17:00, or denib: Toe rail"
    assert "denibbed, no more (stain below) first" in body
    past = next(each for each in said(6, "18:00", OVER_STAIN, 3) if each[0].kind is Kind.OVERCOAT_PAST)
    assert past[1] == "Denib before the next coat: Toe rail"
    assert "sanding would cut through to the stain below" in past[2]


def test_a_home_hub_is_not_told_to_sand_through_to_a_stain():
    seen = outlook(at(7, "08:00"), (), coat=3, film=OVER_STAIN, sand_first=True)
    assert state_document(seen)["sand_first"]
    over_stain = state_document(seen.model_copy(update={"before": (Before.NO_SANDING,)}))
    assert (over_stain["sand_first"], over_stain["before"]) == (False, ["no_sanding"])
    assert state_document(outlook(at(3, "09:00"), (), coat=2, film=STAIN))["film"]["stain"]
