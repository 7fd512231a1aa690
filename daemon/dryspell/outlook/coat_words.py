"""The coating record in a finisher's words: what a coat met, and what was not as planned."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, tzinfo

from dryspell.outlook.coat_log import Row
from dryspell.outlook.figures import Units, limit_figure, quantity, when
from dryspell.outlook.met_model import AtPiece, Figure, Known, Met
from dryspell.outlook.model import Advice, Coat
from dryspell.outlook.words import LABELS

KNOWN: dict[Known, str] = {
    "hand": "by hand",
    "sensor": "by a sensor",
    "estimate": "estimated from readings",
    "forecast": "by the forecast",
}
"""How a figure is known, in words; the first letter of the key marks it in a table."""
NAMES = {
    "air_c": ("air", "degC"),
    "surface_c": ("surface", "degC"),
    "humidity_pct": ("humidity", "%"),
    "dew_point_c": ("dew point", "degC"),
    "margin_k": ("surface over the dew point", "K"),
    "wind_m_s": ("wind at the piece", "m/s"),
}
"""What each figure is called, and its unit."""
_SPOILT = {"other": "spoilt"}


def spoilt_text(coat: Coat) -> str:
    """Return that a coat was spoilt, and by what: "spoilt by dew"."""
    return _SPOILT.get(coat.spoilt, f"spoilt by {coat.spoilt}")


def met_lines(met: Met | None, zone: tzinfo, now: datetime, units: Units, *, assumed: bool) -> Iterator[str]:
    """Yield what a coat met, as sentences.

    Parameters
    ----------
    assumed
        The first stroke was not told, only worked out from how long the piece takes.
    """
    if met is None or not met.is_known:
        yield "The weather it was put on in is not known here."
        return
    if measured := by_hand_text(met, units):
        yield f"By hand: {measured}."
    about = "about " if assumed else ""
    if first := at_piece_text(met.start, units):
        yield f"At the first stroke, {about}{when(met.began_at, zone, now)}: {first}."
    worst = [(name, figure) for name, figure in _worst(met) if figure]
    if worst:
        yield f"Until the last one: {_joined(worst, units, kinds=('least', 'most', 'most'))}."


def _worst(met: Met) -> list[tuple[str, Figure | None]]:
    return [
        ("margin_k", met.least.margin_k),
        ("humidity_pct", met.most.humidity_pct),
        ("wind_m_s", met.most.wind_m_s),
    ]


def by_hand_text(met: Met, units: Units) -> str:
    """Return what was measured by hand, and what follows from it with the rest as it is known."""
    figures = {name: figure for name in NAMES if (figure := getattr(met.by_hand, name))}
    parts = [_list(figures, "hand", units)]
    for known, text in KNOWN.items():
        if known != "hand" and (more := _list(figures, known, units)):
            parts.append(f"with the rest {text}, {more}")
    return "; ".join(filter(None, parts))


def _list(figures: Mapping[str, Figure], known: Known, units: Units) -> str:
    said = (f"{NAMES[n][0]} {quantity(f.value, NAMES[n][1], units)}" for n, f in figures.items() if f.known == known)
    return ", ".join(said)


def at_piece_text(at: AtPiece, units: Units) -> str:
    """Return figures in a line, with how they are known: "air 18.0 °C, humidity 55 % (by the forecast)"."""
    return _joined([(name, figure) for name in NAMES if (figure := getattr(at, name))], units)


def _joined(figures: Sequence[tuple[str, Figure | None]], units: Units, kinds: tuple[str, ...] = ()) -> str:
    """Return figures in a line; those known in the same way stand together."""
    by_known: dict[Known, list[str]] = {}
    for k, (name, figure) in enumerate(figures):
        if figure is not None:
            label, unit = NAMES[name]
            which = f"{kinds[k]} " if kinds else ""
            by_known.setdefault(figure.known, []).append(f"{which}{label} {quantity(figure.value, unit, units)}")
    return "; ".join(f"{', '.join(parts)} ({KNOWN[known]})" for known, parts in by_known.items())


def advice_text(advice: Advice) -> str:
    """Return the verdict a coat was begun under, in short: "wait, dew while brushing"."""
    if advice.word in ("coat", "tight") or advice.reason is None:
        return advice.word
    return f"{advice.word}, {LABELS[advice.reason.limit]}"


def thinner_text(parts: float | None) -> str:
    """Return how a coat was thinned: "neat", "10 parts to 100"."""
    if parts is None:
        return "not told"
    return f"{parts:g} parts to 100" if parts else "neat"


def deviations(row: Row, units: Units) -> Iterator[str]:
    """Yield what of a coat was not as planned, or not as its coating's figures ask: phrases without a full stop."""
    coat, lay = row.coat, row.lay
    if coat.spoilt:
        yield f"{spoilt_text(coat)}: it does not count"
    if row.coating.key != lay.coating.key:
        yield f"{row.coating.label}, where {lay.coating.label} was planned"
    if coat.thinner_parts is not None and abs(coat.thinner_parts - lay.thinner_parts) > 0.5:
        yield f"thinner: {thinner_text(coat.thinner_parts)}, planned {thinner_text(lay.thinner_parts)}"
    if row.film_by != "plan" and lay.wet_film_um and row.wet_film_um < 0.8 * lay.wet_film_um:
        planned = quantity(lay.wet_film_um, "um", units)
        yield f"wet film {quantity(row.wet_film_um, 'um', units)}, planned {planned}"
    if coat.abrasive and coat.abrasive != lay.abrasive:
        yield f"sanded with {coat.abrasive} before it, planned {lay.abrasive}"
    yield from _of_weather(row, units)
    if coat.advice is not None and coat.advice.is_against:
        yield f"put on against the advice then: {advice_text(coat.advice)}"


def _of_weather(row: Row, units: Units) -> Iterator[str]:
    met, of = row.coat.met, row.coating
    if met is None:
        return
    for name, bound, is_least in (
        ("air_c", of.air_c[0], True),
        ("air_c", of.air_c[1], False),
        ("surface_c", of.surface_c[0], True),
        ("surface_c", of.surface_c[1], False),
        ("humidity_pct", of.humidity_max_pct, False),
        ("margin_k", of.margin_apply_k, True),
        ("wind_m_s", of.wind_stop_m_s, False),
    ):
        # What was measured goes before what was worked out, though it be better.
        figure = getattr(met.by_hand, name) or getattr(met.least if is_least else met.most, name)
        if figure is None or not (figure.value < bound if is_least else figure.value > bound):
            continue
        label, unit = NAMES[name]
        value = quantity(figure.value, unit, units, unlike=bound)
        asked = f"at {'least' if is_least else 'most'} {limit_figure(bound, unit, units)}"
        yield f"{label} {value} ({KNOWN[figure.known]}), where {asked} is asked"


def differences(old: Coat, new: Coat, zone: tzinfo, units: Units) -> Iterator[str]:
    """Yield what is another way in a coat than in the one it was put in the place of: "thinner neat, was 10 parts"."""

    def at(instant: datetime | None) -> str:
        return "" if instant is None else f"{instant.astimezone(zone):%Y-%m-%d %H:%M}"

    def film(depth_um: float | None) -> str:
        return "" if depth_um is None else quantity(depth_um, "um", units)

    def measured(coat: Coat) -> str:
        figures = {name: figure for name in NAMES if coat.met and (figure := getattr(coat.met.by_hand, name))}
        return _list(figures, "hand", units)

    for name, was, is_now in (
        ("last stroke", at(old.finished_at), at(new.finished_at)),
        ("first stroke", at(old.began_at), at(new.began_at)),
        ("who", old.who, new.who),
        ("coating", old.coating, new.coating),
        ("batch", old.batch, new.batch),
        ("thinner", thinner_text(old.thinner_parts), thinner_text(new.thinner_parts)),
        ("wet film", film(old.wet_film_um), film(new.wet_film_um)),
        ("used", old.litres and f"{old.litres:g} L", new.litres and f"{new.litres:g} L"),
        ("abrasive", old.abrasive, new.abrasive),
        ("picture", old.photo, new.photo),
        ("note", old.note, new.note),
        ("measured", measured(old), measured(new)),
    ):
        if was != is_now:
            yield f"{name} {is_now or 'not told'}, was {was or 'not told'}"
