"""The weather at a piece as it is known here, for commands that have to be quick: the network is not asked."""

import random
from dataclasses import replace
from datetime import datetime

from dryspell.clock import Clock
from dryspell.config import Config
from dryspell.outlook.model import FilmState, Outlook
from dryspell.store import Store
from dryspell.tick.gather import Gatherer
from dryspell.tick.look import look
from dryspell.tick.since import since_of
from dryspell.tick.sources import sources_of
from dryspell.trade.piece import Piece
from dryspell.weather.table import WeatherTable

FETCH_WAIT_S = 5.0


def weather_here(
    config: Config, piece: Piece, store: Store, clock: Clock, since: datetime | None = None
) -> WeatherTable | None:
    """Return the weather at a piece's site; None where there is none.

    Parameters
    ----------
    since
        From when on it is wanted, beside what the films on the piece ask for.
    """
    alone = replace(config, piece={piece.key: piece})
    gatherer = Gatherer(alone, store, clock, sources_of(alone, store), random.Random())  # noqa: S311  (nothing secret)
    on_disk = config.sources_of(config.site_of(piece)) == ("table",)
    wanted = [since] if since is not None else []
    wanted += since_of(alone, {piece.key: store.films(piece.key, bare=True)}).values()
    tables = gatherer.tables({piece.site: min(wanted)} if wanted else {}, wait_s=FETCH_WAIT_S, fetch=on_disk)
    return tables[piece.site]


def outlook_here(config: Config, piece: Piece, store: Store, table: WeatherTable | None, now: datetime) -> Outlook:
    """Return the outlook of a piece by that weather."""
    alone = replace(config, piece={piece.key: piece})
    return look(alone, {piece.key: store.films(piece.key, bare=True)}, {piece.site: table}, now, pots=store.pots())[0]


def film_here(config: Config, piece: Piece, store: Store, clock: Clock, at: datetime | None = None) -> FilmState | None:
    """Return how far the film on a piece is at an instant, by that weather; default: now."""
    table = weather_here(config, piece, store, clock)
    return outlook_here(config, piece, store, table, at or clock.now()).film
