"""The pure part of a tick: from configuration, coats, weather and the time to the outlook of every piece."""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from dryspell.config import Config
from dryspell.outlook.laid import as_laid
from dryspell.outlook.model import Coat, Outlook, Provenance
from dryspell.outlook.outlook import make_outlook
from dryspell.trade.piece import Piece
from dryspell.weather.table import WeatherTable

OnError = Callable[[str, Exception], object]


def look(
    config: Config,
    coats: Mapping[str, Sequence[Coat]],
    tables: Mapping[str, WeatherTable | None],
    now: datetime,
    on_error: OnError | None = None,
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
    """
    outlooks = []
    for key, piece in config.piece.items():
        site, table = config.site_of(piece), tables.get(piece.site)
        try:
            outlook = make_outlook(
                piece,
                site,
                as_laid(config.lays_of(piece), coats.get(key, ()), config.coating),
                coats.get(key, ()),
                table,
                now,
                stale_after_h=config.weather.stale_after_h,
            )
        except Exception as error:  # one bad piece must not silence the others
            if on_error is None:
                raise
            on_error(key, error)
            outlook = _not_judged(config, piece, coats.get(key, ()), table, now)
        outlooks.append(outlook)
    return outlooks


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
