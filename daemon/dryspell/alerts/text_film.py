"""The words of notices on the film that is on: what comes to it, and how far it has come."""

from dryspell.alerts.model import Why
from dryspell.alerts.spans import stretches
from dryspell.alerts.writing import Words, Writer, sentence
from dryspell.outlook.figures import weekday_date
from dryspell.outlook.model import FilmRisk, Hazard, Limit
from dryspell.trade.before import Before
from dryspell.trade.safety import DATA_SHEET, DUST, SOLVENT

_CLOSED = ("tent", "shed")
_NAME: dict[Hazard, str] = {"dew": "dew", "rain": "rain", "sun": "sun", "cold": "cold"}
_SAFE: dict[Hazard, str] = {"dew": "dew-safe", "rain": "rain-safe", "sun": "touch-dry", "cold": "hard enough for cold"}

_AFTER: dict[Hazard, str] = {
    "dew": "If it is milky or spotted after that: let it harden, sand it and coat again.",
    "rain": "If drops have marked it after that: let it harden, sand it flat and coat again.",
    "sun": "If it blisters or wrinkles after that: let it harden, cut it out, sand it and coat again.",
    "cold": "If it is cold first: it hardens late or badly. Give it warm days, and test it before you sand.",
}
"""What to do if it was too late; common practice, no source."""


def film_risk(w: Writer) -> Words:
    """Words of a danger to the film: what comes when, and what helps."""
    risk, at = w.notice.risk, w.notice.at
    if risk is None or at is None:
        return Words("", ())
    comes = "now" if at <= w.notice.created_at else w.at(at)
    soon = " soon," if w.notice.why is Why.NEAR else ""
    said = f"{_NAME[risk.hazard]}{soon} {comes}, {_in_short(w, risk.hazard)}"
    safe = f"by estimate not before {w.at(risk.safe_at)}" if risk.safe_at else "nor will be within the forecast"
    lines = (
        f"Coat {w.on} is not {_SAFE[risk.hazard]} yet, {safe}.",
        sentence(w.reason(risk.reason)),
        _odds(risk),
        _helps(w, risk.hazard, comes),
        _AFTER[risk.hazard],
        "You were told a later hour before." if w.notice.why is Why.SOONER else "",
    )
    heats = risk.hazard == "cold" or (risk.hazard == "dew" and w.piece.shelter in _CLOSED)
    cautions = (SOLVENT, DATA_SHEET) if heats and w.below and w.below.coating.cures_by != "coalescence" else ()
    return Words(said[:1].upper() + said[1:], lines, cautions)


def risk_over(w: Writer) -> Words:
    """Words of a danger that has gone."""
    hazard, at = w.notice.hazard, w.notice.at
    if hazard is None or at is None:
        return Words("", ())
    name = _NAME[hazard]
    lines = (
        f"You were told of {name} {w.at(at)}. It is not expected any more.",
        "Nothing more to do. What is covered or shaded already may stay so.",
    )
    return Words(f"No {name} after all", lines)


def dew_safe(w: Writer) -> Words:
    """Words of a film that dew marks no more."""
    film = w.outlook.film
    rain = film.stages.rain_safe if film else None
    then = f" Rain still does, until about {w.at(rain)}." if rain and rain > w.notice.created_at else ""
    lines = (
        f"{_since(w, 'dew-safe')} Dew marks it no more.{then}",
        "A cover that is on against dew may come off." if not then else "A cover that is on against rain stays on.",
    )
    return Words("Dew-safe by estimate", lines)


def rain_safe(w: Writer) -> Words:
    """Words of a film that a shower marks no more."""
    lines = (f"{_since(w, 'rain-safe')} A shower marks it no more.", "A cover that is on against rain may come off.")
    return Words("Rain-safe by estimate", lines)


def ready_to_sand(w: Writer) -> Words:
    """Words of a film that is hard, with coats to come."""
    if w.outlook.film is not None and w.outlook.film.stain:
        return _dry_to_coat(w)
    unsanded = w.lay.abrasive == "none"
    check = "Check with your thumb: pressed and turned hard it leaves no mark"
    check += "." if unsanded else ", and the dust is dry powder that does not clog the paper."
    lines = (
        f"{_since(w, 'hard right through')} That is reckoned from the temperatures it met, not by the clock.",
        check,
        sentence(f"then {w.preparing}, for coat {w.notice.coat} of {w.outlook.coats}"),
        _next(w),
    )
    return Words(
        "Hard by estimate" if unsanded else "Ready to sand by estimate", lines, () if unsanded else (DUST, DATA_SHEET)
    )


def _dry_to_coat(w: Writer) -> Words:
    """Words of a stain that is dry: nobody sands it."""
    lines = (
        f"{_since(w, 'dry to coat')} That is reckoned from the temperatures it met, not by the clock.",
        "Check with a white cloth: it takes no colour. Do not sand it, that cuts through the colour.",
        sentence(f"then {w.preparing}, for coat {w.notice.coat} of {w.outlook.coats}"),
        _next(w),
    )
    return Words("Stain dry to coat by estimate", lines)


def overcoat_closing(w: Writer) -> Words:
    """Words of the overcoat window that closes."""
    at = w.notice.at
    if at is None:
        return Words("", ())
    before = next((s for s in stretches(w.outlook.windows) if s.start < at), None)
    keyed, key = ("denibbed, no more (stain below)", "denib") if _over_stain(w) else ("sanded", "sand")
    lines = (
        f"Coat {w.on} takes coat {w.notice.coat} unsanded until {w.at(at)}.",
        f"From then on it has to be {keyed} first, or the coats may come apart.",
        f"Window before that: {w.span(before.windows[0])}." if before else f"No window before that: plan to {key}.",
    )
    return Words(f"Coat by {w.at(at)}, or {key}", lines)


def overcoat_past(w: Writer) -> Words:
    """Words of the overcoat window that is past."""
    at, abrasive = w.notice.at, w.lay.abrasive
    with_what = "the paper that the data sheet names" if abrasive == "none" else abrasive
    over_stain = _over_stain(w)
    key = (
        f"Denib it lightly before coat {w.notice.coat}, no more: sanding would cut through to the stain below."
        if over_stain
        else f"Sand it all over with {with_what} before coat {w.notice.coat}, or the coats may come apart."
    )
    ended = f"The time to coat over coat {w.on} without sanding ended {w.at(at)}." if at else ""
    said = "Denib before the next coat" if over_stain else "Sand before the next coat"
    return Words(said, (ended, key, _next(w)), (DUST, DATA_SHEET))


def _over_stain(w: Writer) -> bool:
    return Before.NO_SANDING in w.outlook.before


def built_up(w: Writer) -> Words:
    """Words of a build-up that is done."""
    film = w.outlook.film
    service = film.stages.in_service if film else None
    until = f"until about {w.at(service)}" if service else "for about a week, or as the data sheet says"
    lines = (
        f"{_since(w, 'hard right through')} It is the last one: {w.outlook.coats} of {w.outlook.coats} are on.",
        f"It goes on curing {until}: till then no load, nothing tied on or shut against it, no tight cover.",
        "You hear again when it may be used." if w.below and w.below.coating.in_service else "",
    )
    return Words("Built up, all coats on", lines)


def in_service(w: Writer) -> Words:
    """Words of a film that may be used."""
    film = w.outlook.film
    cured = film.stages.full_cure if film else None
    lines = (
        f"{_since(w, 'hard enough to be used')} Fit the hardware, take off the last tape, hand it over.",
        f"All its hardness it has about {w.at(cured)}: go easy on it till then."
        if cured and cured > w.notice.created_at
        else "",
    )
    return Words("May be used, by estimate", lines)


def cured(w: Writer) -> Words:
    """Words of a film that has all its hardness."""
    return Words(
        "Fully cured, by estimate", (f"{_since(w, 'fully cured')} It may be washed, covered and loaded as usual.",)
    )


def upkeep(w: Writer) -> Words:
    """Words of upkeep that is due."""
    film, at = w.outlook.film, w.notice.at
    if film is None or at is None:
        return Words("", ())
    finished = film.coat.finished_at
    years = max(1, round((at - finished).days / 365))
    local = finished.astimezone(w.zone)
    lines = (
        f"The last coat was put on {weekday_date(local)} {local.year}.",
        "Look at what lies flat and what the sun meets first: dull spots, cracks, black edges, open joints.",
        "Dull but sound: key it and put on a coat or two before it fails.",
        "Cracked, lifted or black under the film: strip that part.",
    )
    after = "a year" if years == 1 else f"{years} years"
    return Words(f"Look it over, {after} on", lines, (DUST, DATA_SHEET))


def _since(w: Writer, state: str) -> str:
    at = w.notice.at
    return f"Coat {w.on} should be {state} since {w.at(at)}." if at else f"Coat {w.on} should be {state}."


def _next(w: Writer) -> str:
    ahead = next(iter(stretches(w.outlook.windows)), None)
    return f"Next window: {w.span(ahead.windows[0])}." if ahead else "No window within the forecast."


def _odds(risk: FilmRisk) -> str:
    is_told = risk.share is None or risk.reason.limit is Limit.RAIN_CHANCE
    return "" if is_told else f"Chance: {100 * (risk.share or 0.0):.0f} %."


def _in_short(w: Writer, hazard: Hazard) -> str:
    """Return what helps, in a word or two."""
    closed = w.piece.shelter in _CLOSED
    match hazard:
        case "rain":
            return "cover it"
        case "dew":
            return "heat it" if closed else "cover it"
        case "sun":
            return "shade it"
        case "cold":
            return "warm it"


def _helps(w: Writer, hazard: Hazard, comes: str) -> str:
    """Return what helps, and by when."""
    by = "at once" if comes == "now" else f"before {comes}"
    closed = w.piece.shelter in _CLOSED
    inside = "" if closed else ", or bring it inside"
    cover = "Put the cover over it" if w.piece.cover_at_hand else "Cover it"
    match hazard:
        case "rain":
            return f"{cover} {by}, clear of the film and with air through both ends{inside}."
        case "dew" if closed:
            return f"Shut it against damp air and heat it with electric heat {by}: air that is warmed is drier."
        case "dew":
            return f"{cover} {by}, clear of the film and with air through both ends{inside}."
        case "sun":
            at_hand = "Hang the cover" if w.piece.cover_at_hand else "Hang a cloth or board"
            hang = "Hang the shade" if w.piece.shade else f"{at_hand} as a shade"
            return f"{hang} {by}, clear of the film, until it is touch-dry{inside}."
        case "cold":
            return f"Keep it warm {by.replace('before', 'from')}: electric heat under a cover or tent{inside}."
