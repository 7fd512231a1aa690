"""From when on weather is wanted."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from dryspell.config import Config
from dryspell.outlook.model import Coat

FRESH = timedelta(days=7)
"""A coat laid this soon on the one under it may have followed at the least time, which slows it."""


def since_of(config: Config, coats: Mapping[str, Sequence[Coat]]) -> dict[str, datetime]:
    """Return, by site, when the earliest of the last coats there was finished, or the one under it if it was fresh."""
    since: dict[str, datetime] = {}
    for key, piece in config.piece.items():
        if coats.get(key):
            last = coats[key][-1].finished_at
            first = min(coat.finished_at for coat in coats[key][-2:] if last - coat.finished_at <= FRESH)
            since[piece.site] = min(first, since.get(piece.site, first))
    return since
