"""`dryspell coat PIECE --sandable-now`: the last coat was seen to be sandable, and what that teaches."""

import math
from dataclasses import dataclass
from datetime import datetime

from dryspell.answers.coat_done import SandableDocument
from dryspell.config import Config
from dryspell.errors import StoreError
from dryspell.outlook.figures import when
from dryspell.outlook.laid import coating_of as coating_as_laid
from dryspell.outlook.model import Coat, FilmState
from dryspell.science.pace import LOOKED_LATE, Pace
from dryspell.store import Store
from dryspell.tick.learned import PACE, pace_of
from dryspell.trade.coating import YOURS, Coating
from dryspell.trade.piece import Piece


@dataclass(frozen=True)
class Seen:
    """A coat that was seen to be sandable: how far it had come by the sum, and what the coats so far teach."""

    coat: Coat
    progress: float | None
    pace: Pace


def last_coat(store: Store, piece: Piece) -> Coat:
    """Return the last coat of a piece; StoreError where there is none."""
    coats = store.films(piece.key)
    if not coats:
        raise StoreError(f"no coat of {piece.key} is recorded, so none can be sandable")
    return coats[-1]


def progress_of(film: FilmState | None) -> float | None:
    """Return how far a film had come, None where not all the weather since is known."""
    if film is None or film.unaccounted_h > 0 or not math.isfinite(film.progress) or film.progress <= 0:
        return None
    return film.progress


def record(
    config: Config, store: Store, piece: Piece, coat: Coat, at: datetime, progress: float | None, present: datetime
) -> Seen:
    """Record it, and return what the coats so far teach."""
    coating = coating_of(config, piece, coat)
    coat = store.see_sandable(coat, at, coating=coating.key, progress=progress, recorded_at=present)
    return Seen(coat, progress, pace_of(coating, store.progress_seen().get(coating.key, [])))


def coating_of(config: Config, piece: Piece, coat: Coat) -> Coating:
    """Return what a coat was put on with."""
    return coating_as_laid(coat, config.lays_of(piece), config.coating)


def text(config: Config, piece: Piece, seen: Seen, present: datetime) -> str:
    """Return the answer in words."""
    at = when(seen.coat.sandable_at or present, config.site_of(piece).zone, present)
    return f"{piece.name}: coat {seen.coat.number} was sandable {at}. {_expected(seen)} {_taught(config, piece, seen)}"


def _expected(seen: Seen) -> str:
    if seen.progress is None:
        return "Not all the weather since it was put on is known here, so nothing can be learned from it."
    share = f"By the estimate it had come {seen.progress:.0%} of the way."
    if not 1 / LOOKED_LATE <= seen.progress <= LOOKED_LATE:
        return f"{share} That is too far off to be when it became sandable, so nothing is learned from it."
    return share


def _taught(config: Config, piece: Piece, seen: Seen) -> str:
    coating, pace = coating_of(config, piece, seen.coat), seen.pace
    if coating.mark_of(PACE) == YOURS:
        return f"The configuration gives {coating.key} a pace of its own, so that one stays."
    if pace.contradictory:
        return (
            f"The {pace.coats} coats of {coating.key} seen so far contradict each other (typically a factor of "
            f"{pace.apart:.1f} from their middle), so its times stay as they are printed."
        )
    if not pace.coats:
        return f"The times of {coating.key} stay as they are printed."
    coats = "one coat" if pace.coats == 1 else f"{pace.coats} coats"
    return f"After {coats} of {coating.key} seen so far, its times are multiplied by {pace.factor:.2f} from now on."


def document(config: Config, piece: Piece, seen: Seen, present: datetime) -> SandableDocument:
    """Return the answer as a JSON document."""
    site = config.site_of(piece)
    return SandableDocument(
        generated_at=present,
        piece=piece.key,
        name=piece.name,
        site=site.key,
        timezone=site.zone.key,
        coat=seen.coat.number,
        coats=piece.coats,
        finished_at=seen.coat.finished_at,
        sandable_at=seen.coat.sandable_at,
        progress=seen.progress,
        coating=coating_of(config, piece, seen.coat).key,
        pace=seen.pace.factor,
        pace_coats=seen.pace.coats,
        pace_contradictory=seen.pace.contradictory,
    )
