"""`dryspell coat`: record a coat as done, or take the last one back."""

import json
import random
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import datetime
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from dryspell.cli.options import clock_at, shared_options
from dryspell.clock import Clock
from dryspell.config import Config, load
from dryspell.errors import ConfigError, StoreError
from dryspell.outlook.model import Coat, FilmState
from dryspell.trade.piece import Piece

if TYPE_CHECKING:
    from dryspell.store import Store

FETCH_WAIT_S = 5.0
T = TypeVar("T")

EPILOG = """\b
Examples:
  dryspell coat toe_rail
  dryspell coat toe_rail --at 09:40 --thinner "10 parts" --wet-film "80 um"
  dryspell coat toe_rail --undo
  dryspell coat toe_rail --sandable-now

\b
It may be used beside a running daemon. Nothing is erased: a coat taken back
stays in the record as that."""


@click.command(epilog=EPILOG)
@click.argument("piece_key", metavar="PIECE")
@click.option("--at", "at_text", metavar="WHEN", help="The last stroke: 09:40, or a date and time. [default: now]")
@click.option("--who", default="", metavar="NAME", help="Who put it on.")
@click.option("--batch", default="", metavar="TEXT", help="Batch numbers off the cans.")
@click.option("--thinner", "thinner_text", metavar="AMOUNT", help='Such as "10 parts" (to 100 of coating) or "neat".')
@click.option("--wet-film", "wet_film_text", metavar="DEPTH", help='Such as "80 um".')
@click.option("--note", default="", metavar="TEXT", help="Anything to keep with it.")
@click.option("--sandable-now", is_flag=True, help="The last coat is sandable, just so: learn from it.")
@click.option("--sandable-at", "sandable_text", metavar="WHEN", help="When it was first seen to be.")
@click.option("--undo", is_flag=True, help="Take the last coat of the piece back.")
@shared_options
def command(
    *,
    piece_key: str,
    at_text: str | None,
    who: str,
    batch: str,
    thinner_text: str | None,
    wet_film_text: str | None,
    note: str,
    sandable_now: bool,
    sandable_text: str | None,
    undo: bool,
    config_path: Path | None,
    as_json: bool,
    now: datetime | None,
) -> None:
    """Record a coat of PIECE as done, or when the last one was seen to be sandable, or take it back.

    Sandable is when it powders on the paper. Tell it when you first see it: how it dries for you is learned from that.
    """
    from dryspell.cli import coat_details as details  # noqa: PLC0415  (what --help does without)
    from dryspell.cli import coat_report as report  # noqa: PLC0415
    from dryspell.store.store import open_store  # noqa: PLC0415
    from dryspell.tick.learned import learned  # noqa: PLC0415

    details_told = any((at_text, thinner_text, wet_film_text, who, batch, note))
    if undo and (details_told or sandable_now or sandable_text):
        raise click.UsageError("--undo takes a coat back; it goes with no detail of one")
    if (sandable_now or sandable_text) and details_told:
        raise click.UsageError("--sandable-now and --sandable-at are of the last coat; they go with no detail of one")
    if sandable_now and sandable_text:
        raise click.UsageError("--sandable-now is --sandable-at the present; wanted one of them")
    config = load(config_path, secrets=False)
    piece = _piece(config, piece_key)
    clock = clock_at(now)
    present = clock.now()
    zone = config.site_of(piece).zone
    if sandable_now or sandable_text:
        at = _read("--sandable-at", sandable_text, lambda text: details.read_past_instant(text, zone, present))
        click.echo(_seen(config, piece, clock, at or present, as_json=as_json))
        return
    draft = Coat(
        piece=piece.key,
        number=1,
        finished_at=_read("--at", at_text, lambda text: details.read_past_instant(text, zone, present)) or present,
        who=who,
        batch=batch,
        thinner_parts=_read("--thinner", thinner_text, details.read_thinner),
        wet_film_um=_read("--wet-film", wet_film_text, details.read_wet_film),
        note=note,
        recorded_at=present,
    )
    with closing(open_store(config.state_dir)) as store:
        if undo:
            coat, film = _undo(store, piece, present), None
        else:
            coat = store.add_coat(_numbered(draft, store, piece, config))
            film = _film(learned(config, store.progress_seen()), piece, store, clock)
    if as_json:
        document = report.document(config, piece, coat, film, present, undone=undo)
        click.echo(json.dumps(document, ensure_ascii=False, indent=2))
    elif undo:
        click.echo(report.taken_back_text(config, piece, coat, present))
    else:
        click.echo(report.recorded_text(config, piece, coat, film, present))


def _seen(config: Config, piece: Piece, clock: Clock, at: datetime, *, as_json: bool) -> str:
    """Record when the last coat was seen to be sandable, and return the answer."""
    from dryspell.cli import coat_seen  # noqa: PLC0415  (what --help does without)
    from dryspell.cli.coat_report import wrapped  # noqa: PLC0415
    from dryspell.store.store import open_store  # noqa: PLC0415
    from dryspell.tick.learned import as_expected  # noqa: PLC0415

    with closing(open_store(config.state_dir)) as store:
        coat = coat_seen.last_coat(store, piece)
        if at <= coat.finished_at:
            local = coat.finished_at.astimezone(config.site_of(piece).zone)
            raise click.BadParameter(
                f"coat {coat.number} was finished {local:%Y-%m-%d %H:%M}, and it can only be sandable later",
                param_hint="--sandable-at",
            )
        progress = coat_seen.progress_of(_film(as_expected(config, piece.coating), piece, store, clock, at))
        seen = coat_seen.record(config, store, piece, coat, at, progress, clock.now())
    if as_json:
        return json.dumps(coat_seen.document(config, piece, seen, clock.now()), ensure_ascii=False, indent=2)
    return wrapped([coat_seen.text(config, piece, seen, clock.now())])


def _piece(config: Config, key: str) -> Piece:
    if key not in config.piece:
        near = get_close_matches(key, config.piece, n=1)
        hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(config.piece)}"
        raise ConfigError([f"{config.file} has no piece {key!r}; {hint}"])
    return config.piece[key]


def _read(option: str, text: str | None, read: Callable[[str], T]) -> T | None:
    if text is None:
        return None
    try:
        return read(text)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint=option) from None


def _numbered(draft: Coat, store: "Store", piece: Piece, config: Config) -> Coat:
    """Give a coat its number, after those recorded; it cannot have been finished before the one below."""
    coats = store.coats(piece.key)
    last = coats[-1] if coats else None
    if last is not None and draft.finished_at <= last.finished_at:
        local = last.finished_at.astimezone(config.site_of(piece).zone)
        raise click.BadParameter(
            f"coat {last.number} was finished {local:%Y-%m-%d %H:%M}, and the next one can only be later; "
            "--undo takes that one back",
            param_hint="--at",
        )
    return draft.model_copy(update={"number": max(piece.done, last.number if last else 0) + 1})


def _undo(store: "Store", piece: Piece, present: datetime) -> Coat:
    coat = store.undo_coat(piece.key, present)
    if coat is None:
        raise StoreError(f"no coat of {piece.key} is recorded, so there is none to take back")
    return coat


def _film(config: Config, piece: Piece, store: "Store", clock: Clock, at: datetime | None = None) -> FilmState | None:
    """Return how far the coat is at an instant, by the weather that is known here; the network is not asked."""
    from dryspell.tick import Gatherer, look, since_of, sources_of  # noqa: PLC0415

    alone = replace(config, piece={piece.key: piece})
    coats = {piece.key: store.coats(piece.key)}
    gatherer = Gatherer(alone, store, clock, sources_of(alone), random.Random())  # noqa: S311  (nothing secret)
    on_disk = config.weather.file is not None
    tables = gatherer.tables(since_of(alone, coats), wait_s=FETCH_WAIT_S, fetch=on_disk)
    return look(alone, coats, tables, at or clock.now())[0].film
