"""The pot that is mixed: that it has stood long enough, and that it soon is too old to brush. Each once a pot.

- ready is said where the coating asks for a wait, and there is time to brush after it;
- the end is said twenty minutes before the mix flows badly, or when a quarter of that time is left if that is less;
- either expires with the pot, and holds no longer once the coat is recorded or the pot is poured away;
- the cautions of the coating come with the first of them, unless "coat now" had them.
"""

from datetime import timedelta

from dryspell.alerts.kinds import Kind
from dryspell.alerts.memory import PotMemory
from dryspell.alerts.model import Why
from dryspell.alerts.talk import Talk

# Common practice of people who load a brush for two or three more lengths, no source.
LEAD = timedelta(minutes=20)
LEAST_LEFT = 0.25


def follow(talk: Talk) -> None:
    """See which pot is mixed, and forget what was said of another."""
    pot, before = talk.outlook.pot, talk.memory.pot
    if before is not None and (pot is None or pot.mixed_at != before.mixed_at):
        begins = _key(talk, before)
        talk.retract_all(lambda key: key.startswith(begins))
        talk.remember(pot=None)
        before = None
    if pot is not None and before is None:
        talk.remember(pot=PotMemory(mixed_at=pot.mixed_at))


def speak(talk: Talk) -> None:
    """Say what there is to say of the pot."""
    pot, memory = talk.outlook.pot, talk.memory.pot
    if pot is None or memory is None or talk.now >= pot.goes_off_at:
        return
    brushes_from = pot.brush_from or pot.mixed_at
    lead = min(LEAD, LEAST_LEFT * (pot.brush_until - brushes_from))
    said = list(memory.said)
    if talk.now >= pot.brush_until - lead:
        if Kind.POT_ENDING not in said:
            _say(talk, Kind.POT_ENDING, Why.NEAR, memory)
            said += [Kind.POT_READY, Kind.POT_ENDING]
    elif pot.brush_from and talk.now >= pot.brush_from and Kind.POT_READY not in said:
        said.append(Kind.POT_READY)
        _say(talk, Kind.POT_READY, Why.REACHED, memory)
    talk.remember(pot=memory.put(said=tuple(said)))


def _say(talk: Talk, kind: Kind, why: Why, memory: PotMemory) -> None:
    pot = talk.outlook.pot
    if pot is not None:
        expires_at = pot.goes_off_at if kind is Kind.POT_ENDING else pot.brush_until
        told_to_coat = any(promise.opened for promise in talk.memory.windows.promises)
        talk.say(
            kind,
            why,
            f"{_key(talk, memory)}{kind}",
            expires_at,
            topic=f"{talk.outlook.piece}/pot",
            at=pot.brush_until,
            cautioned=told_to_coat or bool(memory.said),
        )


def _key(talk: Talk, memory: PotMemory) -> str:
    return f"{talk.outlook.piece}/pot/{memory.mixed_at:%Y-%m-%dT%H:%M:%SZ}/"
