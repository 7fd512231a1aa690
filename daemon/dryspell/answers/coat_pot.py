"""`dryspell coat PIECE --mixed-now`: a pot of two parts was mixed for the next coat; how long it keeps."""

from collections.abc import Iterator
from datetime import datetime

from dryspell.answers.coat_done import PotDid, PotDocument
from dryspell.answers.document import PotPart
from dryspell.config import Config
from dryspell.errors import CoatError
from dryspell.outlook.figures import when
from dryspell.outlook.model import Mixed, Outlook, Pot
from dryspell.store import Store
from dryspell.trade.piece import Piece
from dryspell.trade.safety import cautions


def mix(config: Config, store: Store, piece: Piece, at: datetime, present: datetime) -> Mixed:
    """Record that a pot was mixed for the next coat of a piece.

    Raises
    ------
    CoatError
        Where there is no next coat, it is not of two parts, or it was put on since.
    """
    films, coats = store.films(piece.key), store.coats(piece.key)
    number = max(piece.done, coats[-1].number if coats else 0) + 1
    if number > len(config.lays_of(piece)):
        raise CoatError(
            f"every coat of {piece.key} is on, so there is none to mix for; raise `coats` if more are to come"
        )
    coating = config.lay_of(piece, number).coating
    if coating.pot_life is None:
        raise CoatError(
            f"coat {number} of {piece.key} is {coating.key}, which has no pot life; for a coating of two parts set "
            "pot_life in its table"
        )
    if films and films[-1].finished_at >= at:
        local = films[-1].finished_at.astimezone(config.site_of(piece).zone)
        raise CoatError(
            f"coat {films[-1].number} of {piece.key} was finished {local:%Y-%m-%d %H:%M}, and the pot for the next one "
            "can only be mixed later"
        )
    pot = Mixed(piece=piece.key, coat=number, mixed_at=at)
    store.add_pot(pot, present)
    return pot


def pour_away(store: Store, piece: Piece, present: datetime) -> Mixed:
    """Record that the pot was poured away, or never was mixed; CoatError where none is recorded."""
    pot = store.pots().get(piece.key)
    if pot is None:
        raise CoatError(f"no pot is recorded for {piece.key}, so none can be poured away")
    store.pour_away(pot, present)
    return pot


def text(config: Config, piece: Piece, mixed: Mixed, outlook: Outlook, did: PotDid) -> Iterator[str]:
    """Yield the answer in words, a paragraph each."""
    zone, now = config.site_of(piece).zone, outlook.made_at
    what = f"the pot for coat {mixed.coat}, mixed {when(mixed.mixed_at, zone, now)},"
    if did == "poured away":
        yield f"{piece.name}: {what} is poured away; nothing more is said of it."
        return
    pot = outlook.pot
    if pot is None:
        yield f"{piece.name}: {what} has gone off by now, by estimate. Mix anew."
    else:
        wait = pot.brush_from if pot.brush_from and pot.brush_from > now else None
        stand = f"Let it stand until {when(wait, zone, now)}. " if wait else ""
        yield (
            f"{piece.name}: {what} brushes well until {when(pot.brush_until, zone, now)} and goes off "
            f"{when(pot.goes_off_at, zone, now)}. {stand}You are told before it does."
        )
        yield (
            "Estimated at the temperature of the air; a full cup warms itself and goes off sooner, a tray does not."
            if pot.by_weather
            else "The air is not known, so this is the shortest pot life that is known of the coating."
        )
    yield ""
    yield from cautions(config.lay_of(piece, mixed.coat).coating)


def document(
    config: Config, piece: Piece, mixed: Mixed, pot: Pot | None, present: datetime, did: PotDid
) -> PotDocument:
    """Return the answer as a JSON document."""
    site = config.site_of(piece)
    return PotDocument(
        generated_at=present,
        did=did,
        piece=piece.key,
        name=piece.name,
        site=site.key,
        timezone=site.zone.key,
        coat=mixed.coat,
        mixed_at=mixed.mixed_at,
        pot=pot and PotPart.model_validate(pot),
        cautions=list(cautions(config.lay_of(piece, mixed.coat).coating)) if did == "mixed" else [],
    )
