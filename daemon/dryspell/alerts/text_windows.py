"""The words of notices on windows: when to coat, when to prepare for it, and when not after all."""

from datetime import timedelta

from dryspell.alerts.kinds import Kind
from dryspell.alerts.model import Why
from dryspell.alerts.spans import GRID, stretches
from dryspell.alerts.writing import Words, Writer, last_stroke, rounded, sentence, verb
from dryspell.outlook.figures import duration
from dryspell.outlook.model import Mix, Stages, Window
from dryspell.outlook.words import (
    before_line,
    capital,
    caution_text,
    cover_text,
    sand_first_text,
    verdict,
    why,
    wood_text,
)
from dryspell.trade.safety import cautions


def tomorrow(w: Writer) -> Words:
    """Words of the heads-up: the hours, and when to begin to prepare."""
    if w.window is None:
        return Words("", ())
    return Words(f"{verb(w.window)} {w.span(w.window).replace(' to ', '-')}", (*_plan(w), _after(w)))


def coat_now(w: Writer) -> Words:
    """Words of "coat now"."""
    window = w.window
    if window is None:
        return Words("", ())
    again = " again" if w.notice.why is Why.OPEN_AGAIN else ""
    said = f"{verb(window)} now{again}, brush down by {w.at(last_stroke(window))}"
    if w.outlook.word == "tight" and window.good_from:
        said = f"Tight now, better from {w.at(window.good_from)}"
    lines = (*_plan(w), _after(w), w.record("Coated? Record it:"))
    return Words(said, lines, cautions(w.lay.coating))


def hot_coat(w: Writer) -> Words:
    """Words of "coat now" on the soft coat below."""
    film, plain = w.outlook.film, coat_now(w)
    closes = film.stages.hot_close if film else None
    if closes is None or w.window is None:
        return plain
    soft = f"Coat {w.on} is soft still: no sanding, only no dust on it. This one has to be on by {w.at(closes)}."
    said = f"Coat on the soft one, by {w.at(min(closes, last_stroke(w.window)))}"
    return Words(said, (soft, *plain.lines), plain.cautions)


def last_call(w: Writer) -> Words:
    """Words of the last call."""
    window, by = w.window, w.notice.at
    if window is None or by is None:
        return Words("", ())
    prepare_by = rounded(by - timedelta(hours=w.piece.preparing_h))
    prepare = f"Begin by {w.at(prepare_by)}: {w.preparing}" if prepare_by >= w.notice.created_at else "Leave it"
    lines = (
        f"Coat {w.notice.coat} of {w.outlook.coats}: first stroke by {w.at(by)}, last by {w.at(last_stroke(window))}.",
        "Later is too late for this window.",
        "" if w.lay.hot else f"Not prepared yet? {prepare}.",
        f"Nearest limit: {w.reason(window.binding)}.",
        _after(w),
        w.record("Coated already? Record it, and this stops:"),
    )
    return Words(f"Begin by {w.at(by)} or leave it", lines)


def wait(w: Writer) -> Words:
    """Words of "wait": a window that was told of has gone or moved."""
    told, window = w.notice.told, w.window
    said = "Wait"
    if w.notice.why is Why.SHORTER and window and not _shut(w, window):
        said = f"Brush down sooner, by {w.at(last_stroke(window))}"
    elif window:
        said = f"Wait until {w.at(window.start)}"
    elif _was_open(w):
        said = "Wait, not now after all"
    elif told:
        said = f"Wait, no coat {w.at(told.start)}"
    reason = w.notice.reason
    lines = (
        _told(w),
        sentence(w.reason(reason, below=w.on)) if reason else "",
        f"Now: {w.begin(window)}" if window else "Leave the can shut.",
        _after(w),
        w.record("Coated already? Record it, and hear what comes to it:") if _was_open(w) else "",
    )
    return Words(said, lines)


def weather_lost(w: Writer) -> Words:
    """Words of weather that is not there."""
    no_weather = sentence(why(w.outlook, w.units))
    look = (
        f"Coat {w.on} may not be dew-safe: look after dew and rain yourself."
        if w.notice.why is Why.LOST_WET
        else "Judge dew, rain and cold yourself before you coat."
    )
    lines = (_told(w), no_weather, "No verdict is given on that, and no warning.", look)
    return Words("Wait, no weather to go by", lines)


def weather_back(w: Writer) -> Words:
    """Words of weather that is there again."""
    risks = w.outlook.film_risk or ()
    film = "" if not risks or w.outlook.film is None else f"Coat {w.on}: {w.reason(risks[0].reason)}."
    return Words("Weather is back", (_told(w), sentence(f"now: {verdict(w.outlook)}"), film))


def _shut(w: Writer, window: Window) -> bool:
    """Say whether a window that was open by what was told is not open now."""
    return _was_open(w) and window.start > w.notice.created_at + GRID


def _was_open(w: Writer) -> bool:
    """Say whether what was told had begun, so that somebody may have coated."""
    return w.notice.told is not None and w.notice.told.start <= w.notice.created_at


def _plan(w: Writer) -> list[str]:
    """Say what to do and on which numbers that stands."""
    window = w.window
    if window is None:
        return []
    cover = cover_text(window, w.zone, w.units, on=w.notice.created_at)
    apply, hold = (w.figure(margin, "K") for margin in (window.margin_apply_k, window.margin_hold_k))
    return [
        f"Coat {w.notice.coat} of {w.outlook.coats}, {_thinned(w)}.",
        w.begin(window),
        *(f"Then again: {w.begin(later)}" for later in w.notice.windows[1:]),
        _prepare(w, window),
        before_line(w.outlook),
        _shade(w, window),
        wood_text(w.outlook.wood) if w.outlook.wood else "",
        sentence(cover),
        f"Surface {w.figure(window.surface_c, 'degC')}, humidity {w.figure(window.humidity_pct, '%')}.",
        f"Surface over dew point: {apply} at the least while brushing, then {hold} until dew-safe.",
        f"Nearest limit: {w.reason(window.binding)}.",
        _odds(window),
        _stages(w, window.stages),
        _mix(window.mix),
        *(sentence(caution_text(reason, w.units)) for reason in window.cautions),
    ]


def _shade(w: Writer, window: Window) -> str:
    by = window.hang_shade_by
    if by is None:
        return ""
    hang = "before you begin" if by <= window.start else f"by {w.at(by)}"
    return f"Hang the shade {hang}: from then on the sun is too much for a wet film."


def _thinned(w: Writer) -> str:
    parts = w.lay.thinner_parts
    return f"{parts:g} parts of thinner to 100" if parts else "neat (no thinner)"


def _prepare(w: Writer, window: Window) -> str:
    """Say when to begin to sand, so as to brush when the window opens."""
    if w.notice.kind is Kind.HOT_COAT:
        return ""
    takes = timedelta(hours=w.piece.preparing_h)
    must = sand_first_text(w.outlook) == "sand"
    sand = "Sanding first is a must, the time to coat without it is over" if must else ""
    if w.notice.kind is not Kind.TOMORROW:
        ready = rounded(max(w.notice.created_at, window.start) + takes, up=True)
        text = f"not prepared yet? {capital(w.preparing)}"
        if ready > window.begin_by:
            return sentence(f"{text}; that is too long for this window") + (f" {sand}." if sand else "")
        return sentence(f"{text}, so brush from {w.at(ready, window.start)}") + (f" {sand}." if sand else "")
    opens, film = window.good_from or window.start, w.outlook.film
    begin = rounded(opens - takes)
    hard = film.stages.sandable if film else None
    if hard is None or hard <= begin:
        text = f"to brush {w.at(opens)}, begin {w.at(begin, opens)}: {w.preparing}"
    else:
        brush = w.at(rounded(hard + takes, up=True), hard)
        text = f"coat {w.on} is hard about {w.at(hard)}; then {w.preparing}, and brush from {brush}"
    return sentence(text) + (f" {sand}." if sand else "")


def _odds(window: Window) -> str:
    if window.probability is None or window.probability >= 1.0:
        return ""
    return f"Good in {100 * window.probability:.0f} % of the ways the weather may go."


def _mix(mix: Mix | None) -> str:
    """Say how long one keeps that is mixed then; of the pot that is mixed `text_pot` tells."""
    if mix is None:
        return ""
    wait = ""
    if mix.induction_min and mix.induction_min[1]:
        least, most = mix.induction_min
        wait = f" Let it stand {least:.0f} to {most:.0f} min before you brush."
    usable, lasts = (duration(timedelta(hours=hours)) for hours in (mix.brushable_h, mix.pot_life_h))
    return f"A mix brushes well for about {usable} and goes off after {lasts}: mix what you brush in that time.{wait}"


def _stages(w: Writer, stages: Stages) -> str:
    named = (("dew-safe", stages.dew_safe), ("rain-safe", stages.rain_safe), ("sandable", stages.sandable))
    known = [f"{name} {w.at(at)}" for name, at in named if at]
    return f"Estimated, begun at the best time: {', '.join(known)}." if known else ""


def _told(w: Writer) -> str:
    told = w.notice.told
    if told is None:
        return ""
    return f"You were told {w.at(told.start)} to {w.at(told.brush_down_by, told.start)} for coat {w.notice.coat}."


def _after(w: Writer) -> str:
    """Name the next window after those the notice is about."""
    told, created = w.notice.told, w.notice.created_at
    last = w.notice.windows[-1].last_start if w.notice.windows else None
    if last is None and told:
        last = told.last_start if told.start <= created else None
    later = next((s for s in stretches(w.outlook.windows) if last is None or s.start > last), None)
    other = " other" if w.notice.windows else ""
    if later is None:
        return f"No{other} window within the forecast."
    tight = ", tight" if later.windows[0].word == "tight" else ""
    return f"Next{other} window: {w.span(later.windows[0])}{tight}."
