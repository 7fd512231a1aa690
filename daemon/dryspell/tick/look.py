"""The pure part of a tick: from configuration, coats, weather and the time to the outlook of every piece."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from dryspell.config import Config
from dryspell.outlook.cloud import every_way
from dryspell.outlook.conditions import conditions_at
from dryspell.outlook.mix import pot_of
from dryspell.outlook.model import Coat, Mixed, Outlook, Pot, Provenance
from dryspell.tick.alike import Alike, Answers, Place
from dryspell.trade.piece import Piece
from dryspell.weather.table import WeatherTable

OnError = Callable[[str, Exception], object]


def look(
    config: Config,
    coats: Mapping[str, Sequence[Coat]],
    tables: Mapping[str, WeatherTable | None],
    now: datetime,
    on_error: OnError | None = None,
    pots: Mapping[str, Mixed] | None = None,
    before: Answers | None = None,
) -> list[Outlook]:
    """Return the outlook of every piece, in the order of the configuration.

    Parameters
    ----------
    coats
        The recorded coats, by piece.
    tables
        The weather, by site, from before the last coat where it is known so far back; None where there is none.
    now
        The present instant, aware.
    on_error
        Told of a piece that could not be judged. Its verdict is then unknown, and the others go on; without `on_error`
        the exception is raised.
    pots
        The pot that was mixed last, by piece.
    before
        What was answered at the look before, which is put in its place what is answered now; None where nothing was.
    """
    before = Answers() if before is None else before
    found: dict[str, Outlook] = {}
    place: Place | None = None
    for alike in before.begin(config):
        site = config.site_of(alike[0])
        if place is None or place.site is not site:
            place = Place(site, tables.get(site.key))
        table = place.table
        group = Alike(config, place, now, before)
        for piece in alike:
            on = coats.get(piece.key, ())
            try:
                outlook = group.outlook(piece, on)
                if pots and piece.key in pots:
                    pot = _pot(config, piece, pots[piece.key], on, table, outlook)
                    outlook = outlook.model_copy(update={"pot": pot})
            except Exception as error:  # one bad piece must not silence the others
                if on_error is None:
                    raise
                on_error(piece.key, error)
                outlook = _not_judged(config, piece, on, table, now)
            found[piece.key] = outlook
    before.end()
    return [found[key] for key in config.piece]


def _pot(
    config: Config, piece: Piece, mixed: Mixed, coats: Sequence[Coat], table: WeatherTable | None, outlook: Outlook
) -> Pot | None:
    """Return how the pot keeps; None where it has gone off, or been brushed: a coat was put on since."""
    is_used = any(coat.finished_at > mixed.mixed_at for coat in coats)
    if is_used or mixed.coat != outlook.next_coat or mixed.mixed_at > outlook.made_at:
        return None
    site = config.site_of(piece)
    try:
        conditions = None if table is None else conditions_at(piece, site, every_way(table, site))
    except ValueError:  # less than half an hour of weather
        conditions = None
    pot = pot_of(mixed.mixed_at, config.lay_of(piece, mixed.coat).coating, conditions)
    return pot if pot is not None and outlook.made_at < pot.goes_off_at else None


def _not_judged(
    config: Config, piece: Piece, coats: Sequence[Coat], table: WeatherTable | None, now: datetime
) -> Outlook:
    on = max([piece.done, *(coat.number for coat in coats if not coat.spoilt)])
    note = "this piece could not be judged; the log says why"
    weather = table and Provenance(
        source=table.source,
        attribution=table.attribution,
        issued_at=table.issued_at,
        age_h=round((now - table.issued_at).total_seconds() / 3600.0, 2),
        reaches=None,
        notes=(*table.notes, note),
    )
    return Outlook(
        piece=piece.key,
        piece_name=piece.name,
        site=piece.site,
        timezone=config.site_of(piece).zone.key,
        made_at=now,
        word="unknown",
        reason=None,
        next_coat=on + 1,
        coats=max(piece.coats, on),
        coating=config.lay_of(piece, on + 1).coating.key,
        weather=weather,
    )
