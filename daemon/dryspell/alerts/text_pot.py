"""The words of notices on the pot that is mixed."""

from dryspell.alerts.writing import Words, Writer
from dryspell.outlook.model import Pot
from dryspell.trade.safety import cautions

_LEFT = (
    "What is left then: never back into the can. Pour it out shallow, outdoors and uncovered, and leave it to harden; "
    "deep in a cup it can get hot enough to smoke."
)
"""Common practice, no source."""


def ready(w: Writer) -> Words:
    """Words of a mix that has stood for as long as is asked."""
    pot = w.outlook.pot
    if pot is None:
        return Words("", ())
    lines = (
        f"The pot for coat {w.notice.coat}, mixed {w.at(pot.mixed_at)}, has stood long enough. Stir it and brush.",
        f"It flows well until {w.at(pot.brush_until)} and goes off {w.at(pot.goes_off_at)}. {_by(pot)}",
        _now(w),
        w.record("Coated? Record it, and this stops:"),
    )
    return Words(f"Mix ready, brush by {w.at(pot.brush_until)}", lines, cautions(w.lay.coating))


def ending(w: Writer) -> Words:
    """Words of a mix that soon is too old to brush."""
    pot = w.outlook.pot
    if pot is None:
        return Words("", ())
    over = pot.brush_until <= w.notice.created_at
    said = f"Mix too old, off {w.at(pot.goes_off_at)}" if over else f"Mix ends, brush by {w.at(pot.brush_until)}"
    flows = "flows badly by now" if over else f"flows well until {w.at(pot.brush_until)}"
    lines = (
        f"The pot for coat {w.notice.coat}, mixed {w.at(pot.mixed_at)}, {flows} and goes off {w.at(pot.goes_off_at)}.",
        _by(pot),
        "Still to coat? Finish at a wet edge and mix anew; thinner does not bring it back.",
        _LEFT,
        w.record("Coated? Record it, and this stops:"),
    )
    return Words(said, lines, cautions(w.lay.coating))


def _by(pot: Pot) -> str:
    if pot.by_weather:
        return "Estimated by the air; a full cup warms itself and is sooner there."
    return "The air is not known: this is the shortest that is known of the coating."


def _now(w: Writer) -> str:
    """Say so where the weather is no good to brush in, or is not known."""
    match w.outlook.word:
        case "wait":
            return "But the weather says wait: look before you brush." if w.outlook.reason else ""
        case "unknown":
            return "There is no weather to go by: judge dew, rain and cold yourself."
        case _:
            return ""
