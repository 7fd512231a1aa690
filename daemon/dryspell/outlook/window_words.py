"""Windows, and the spans between them, in a finisher's words: for the terminal and for the page."""

from collections.abc import Callable, Iterator, Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

from dryspell.outlook import words
from dryspell.outlook.figures import Units
from dryspell.outlook.model import Block, Limit, Mix, Outlook, Stages, Window

OFF = {Limit.HOURS, Limit.DAYLIGHT}
"""Limits that are no weather: nobody asks why the night is no window."""
OFF_TEXT = "night, or outside your hours"

_STAGES = {"touch_dry": "touch-dry", "dew_safe": "dew-safe", "rain_safe": "rain-safe", "sandable": "sandable"}
_FACTORS = {
    "film_power": "the film's thickness",
    "thinned_first": "a thinned first coat",
    "oily_wood": "oily wood",
    "build_up": "following at the least time",
    "pace": "how it dried for you before",
}


def in_order(outlook: Outlook) -> list[Window | list[Block]]:
    """Return windows and blocks by time; blocks of nights and hours off work that touch are one."""
    spans: list[Window | Block] = [*outlook.windows, *outlook.blocks]
    groups: list[Window | list[Block]] = []
    for span in sorted(spans, key=lambda span: span.start):
        before = groups[-1] if groups else None
        if isinstance(span, Window):
            groups.append(span)
        elif isinstance(before, list) and _night(before[-1]) and _night(span) and before[-1].end == span.start:
            before.append(span)
        else:
            groups.append([span])
    return groups


def _night(block: Block) -> bool:
    return block.reason.limit in OFF


def block_text(outlook: Outlook, block: Block, units: Units, *, on: datetime) -> str:
    """Return why there is no window, as sentences with their full stops."""
    zone = ZoneInfo(outlook.timezone)
    text = words.reason_text(block.reason, zone, units, on=on, below=words.coat_below(outlook))
    others = ", ".join(words.LABELS[limit] for limit in block.others)
    return words.capital(text) + (f". Also {others}" if others else "") + "."


def window_text(outlook: Outlook, window: Window) -> str:
    """Return until when to brush in a window, and where it is tight, as a sentence without a full stop."""
    at = _within(outlook, window)
    coat = window.word == "coat"
    last = window.brush_down_by if coat else window.tight_until
    said = f"brush down by {at(last)}"
    if not coat:
        said += ", and only if the forecast is right to the degree"
    elif window.tight_until > last:
        said += f", tight to {at(window.tight_until)}"
    if window.good_from is not None and window.good_from > window.start:
        said += f", tight before {at(window.good_from)}"
    return said


def window_facts(outlook: Outlook, window: Window, units: Units) -> Iterator[str]:
    """Yield what else there is to say of a window, each as a sentence without a full stop."""
    zone, at = ZoneInfo(outlook.timezone), _within(outlook, window)
    if window.hang_shade_by is not None:
        yield f"shade up by {at(window.hang_shade_by)}"
    if window.without_cover is not None:
        yield words.cover_text(window, zone, units, on=window.start)
    if window.probability is not None:
        yield f"odds {window.probability:.0%}"
    if window.coarse:
        yield "the weather there is given in steps that can hide a night"
    surface, humidity = words.quantity(window.surface_c, "degC", units), words.quantity(window.humidity_pct, "%", units)
    yield f"best begun {at(window.best_start)}: surface {surface}, humidity {humidity}"
    apply, hold = (words.quantity(margin, "K", units) for margin in (window.margin_apply_k, window.margin_hold_k))
    yield f"over the dew point: {apply} while brushing, {hold} until dew-safe"
    yield stages_text(window.stages, at, stain=outlook.stain)
    if window.factors:
        yield slowed_text(window.factors)
    if window.mix is not None:
        yield _mix(window.mix)
    yield f"nearest limit: {words.reason_text(window.binding, zone, units, on=window.start)}"
    yield from (words.caution_text(reason, units) for reason in window.cautions)


def _within(outlook: Outlook, window: Window) -> Callable[[datetime], str]:
    zone = ZoneInfo(outlook.timezone)

    def at(instant: datetime) -> str:
        return words.moment(instant, zone, None, window.start)

    return at


def stages_text(stages: Stages, moment: Callable[[datetime], str], *, stain: bool) -> str:
    """Return when a film reaches its stages."""
    named = _STAGES | {"sandable": hard_text(stain=stain)}
    known = [f"{name} {moment(at)}" for key, name in named.items() if (at := getattr(stages, key)) is not None]
    beyond = [name for key, name in named.items() if getattr(stages, key) is None]
    return ", ".join(known + ([f"{' and '.join(beyond)} later than the forecast reaches"] if beyond else []))


def hard_text(*, stain: bool) -> str:
    """Return what a coat is called that the next may go on."""
    return "dry to coat" if stain else "sandable"


def slowed_text(factors: Mapping[str, float]) -> str:
    """Return what slows a film beside the weather."""
    named = (f"{value:g} for {_FACTORS.get(name, name)}" for name, value in factors.items())
    return f"times multiplied by {', '.join(named)}"


def _mix(mix: Mix) -> str:
    wait = mix.induction_min
    induction = f", after {wait[0]:g} to {wait[1]:g} min of induction" if wait and wait[1] else ""
    return f"mix lasts {mix.pot_life_h:.1f} h, brush it within {mix.brushable_h:.1f} h{induction}"
