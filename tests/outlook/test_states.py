from datetime import UTC, datetime, timedelta

import pytest

from dryspell.outlook.model import Coat, FilmState, Outlook, Stages
from dryspell.outlook.states import State, state_of

LAID = datetime(2026, 6, 1, 9, tzinfo=UTC)
STAGES = {
    "touch_dry": 5, "dew_safe": 7, "rain_safe": 10, "recoat": 24, "sandable": 24, "sand_first_after": 72,
    "in_service": 168,
}  # fmt: skip


def after(hours):
    return LAID + timedelta(hours=hours)


def outlook(number=4, coats=8, *, word="wait", spoilt="", film=True):
    coat = Coat(piece="rail", number=number, finished_at=LAID, recorded_at=LAID, spoilt=spoilt)
    stages = Stages(**{name: after(hours) for name, hours in STAGES.items()})
    return Outlook(
        piece="rail", piece_name="rail", site="home", timezone="UTC", made_at=LAID, word=word, reason=None,
        next_coat=number + 1, coats=coats, coating="oil_varnish_1k",
        film=FilmState(coat=coat, stages=stages, sandable_fraction=0.0) if film else None,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("hours", "word", "state"),
    [
        (1, "wait", State.WET),
        (6, "wait", State.WET),
        (7, "wait", State.DEW_SAFE),
        (23, "wait", State.DEW_SAFE),
        (24, "wait", State.READY_TO_SAND),
        (24, "coat", State.READY_TO_COAT),
        (24, "tight", State.READY_TO_COAT),
        # On the soft film, where that is done, the next coat may come before the one below is hard.
        (8, "coat", State.READY_TO_COAT),
        (72, "wait", State.OVERCOAT_PAST),
        (72, "coat", State.OVERCOAT_PAST),
    ],
)
def test_a_piece_goes_through_its_states_as_its_film_dries(hours, word, state):
    assert state_of(outlook(word=word), after(hours)) is state


@pytest.mark.parametrize(
    ("hours", "state"),
    [(1, State.WET), (8, State.DEW_SAFE), (25, State.BUILT_UP), (100, State.BUILT_UP), (168, State.IN_SERVICE)],
)
def test_a_piece_with_its_last_coat_is_built_up_and_then_in_service(hours, state):
    assert state_of(outlook(number=8), after(hours)) is state


def test_a_piece_without_a_coat_is_bare_and_one_with_coats_nobody_recorded_is_not_known():
    assert state_of(outlook(number=3, film=False), LAID) is State.UNKNOWN
    bare = outlook(film=False).model_copy(update={"next_coat": 1})
    assert state_of(bare, LAID) is State.BARE


def test_a_spoilt_coat_is_the_state_of_its_piece():
    assert state_of(outlook(spoilt="dew"), after(200)) is State.SPOILT


def test_stages_later_than_the_weather_reaches_are_not_reached():
    film = outlook()
    wet = film.model_copy(update={"film": film.film.model_copy(update={"stages": Stages()})})
    assert state_of(wet, after(1000)) is State.WET
