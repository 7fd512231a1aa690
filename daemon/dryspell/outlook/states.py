"""How far a piece is, in a word of the trade."""

from datetime import datetime
from enum import StrEnum

from dryspell.outlook.model import Outlook
from dryspell.trade.before import Before


class State(StrEnum):
    """What a finisher calls the state of a piece, from bare to in service."""

    BARE = "bare"
    WET = "coated and wet"
    DEW_SAFE = "dew-safe"
    READY_TO_SAND = "ready to sand"
    DRY_UNSANDED = "dry, not to be sanded"
    READY_TO_COAT = "ready to coat"
    OVERCOAT_PAST = "overcoat window past"
    BUILT_UP = "built up"
    IN_SERVICE = "in service"
    SPOILT = "spoilt"
    UNKNOWN = "not known"


def state_of(outlook: Outlook, now: datetime) -> State:
    """Return the state of a piece, by how far the film on it has come; an estimate.

    - Not known: coats are on of which the record, or the weather, says nothing.
    - Spoilt: the coat that lies on it has to be sanded off.
    - Ready to coat: a coat begun now would make it, the film below hard or, where that is done, soft.
    - Ready to sand: hard right through, whatever the weather is. Dry, not to be sanded: the same over a stain.
    - Overcoat window past: hard, and to be sanded before the next coat.
    - Built up: every coat is on, and the last one hard. In service: it may be used.
    """
    is_built_up = outlook.next_coat > outlook.coats
    if outlook.film is None:
        return State.BARE if outlook.next_coat == 1 else State.UNKNOWN
    if outlook.film.coat.spoilt:
        return State.SPOILT
    stages = outlook.film.stages

    def over(at: datetime | None) -> bool:
        return at is not None and at <= now

    if is_built_up and over(stages.sandable):
        return State.IN_SERVICE if over(stages.in_service) else State.BUILT_UP
    if not is_built_up and outlook.word in ("coat", "tight"):
        return State.OVERCOAT_PAST if over(stages.sand_first_after) else State.READY_TO_COAT
    if over(stages.sandable):
        hard = State.DRY_UNSANDED if Before.NO_SANDING in outlook.before else State.READY_TO_SAND
        return State.OVERCOAT_PAST if over(stages.sand_first_after) else hard
    return State.DEW_SAFE if over(stages.dew_safe) else State.WET
