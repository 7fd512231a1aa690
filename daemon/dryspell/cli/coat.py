"""`dryspell coat`: record a coat as done, correct one, take the last one back, or tell what became of it."""

from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast, get_args

import click

from dryspell.cli.coat_options import DETAILS, coat_options
from dryspell.cli.options import clock_at, shared_options
from dryspell.cli.pieces import piece_of
from dryspell.clock import Clock
from dryspell.config import Config, load
from dryspell.errors import CoatError, StoreError
from dryspell.outlook.model import Coat, Spoiler
from dryspell.trade.piece import Piece

if TYPE_CHECKING:
    from dryspell.answers.coat_done import Did, PotDid
    from dryspell.store import Store

T = TypeVar("T")
NOT_SPOILT = "none"

EPILOG = """\b
Examples:
  dryspell coat toe_rail
  dryspell coat toe_rail --at 09:40 --thinner "10 parts" --wet-film "80 um"
  dryspell coat toe_rail --correct 4 --thinner neat --by Ada
  dryspell coat toe_rail --spoilt dew
  dryspell coat toe_rail --undo
  dryspell coat toe_rail --sandable-now
  dryspell coat garden_bench --mixed-now

\b
It may be used beside a running daemon. Nothing is erased: a coat taken back,
corrected or spoilt stays in the record as that; `dryspell log` shows it. What
weather it was put on in is filled in from readings, else from the forecast."""


@click.command(epilog=EPILOG)
@click.argument("piece_key", metavar="PIECE")
@coat_options
@click.option("--correct", "number", type=int, metavar="N", help='Coat N was like this; "unknown" takes a figure back.')
@click.option(
    "--spoilt",
    type=click.Choice([*get_args(Spoiler), NOT_SPOILT]),
    help="The last coat is, and does not count; none: it is not.",
)
@click.option("--sandable-now", is_flag=True, help="The last coat is sandable, just so: learn from it.")
@click.option("--sandable-at", "sandable_text", metavar="WHEN", help="When it was first seen to be.")
@click.option("--mixed-now", is_flag=True, help="Two parts: the pot for the next coat is mixed, just so.")
@click.option("--mixed-at", "mixed_text", metavar="WHEN", help="When it was. You are told before it goes off.")
@click.option("--poured-away", is_flag=True, help="That pot is gone; it also is when the coat is recorded.")
@click.option("--undo", is_flag=True, help="Take the last coat of the piece back.")
@click.option("--by", default="", metavar="NAME", help="Who corrects, takes back or finds it spoilt.")
@shared_options
def command(
    *,
    piece_key: str,
    number: int | None,
    spoilt: str | None,
    sandable_now: bool,
    sandable_text: str | None,
    mixed_now: bool,
    mixed_text: str | None,
    poured_away: bool,
    undo: bool,
    by: str,
    config_path: Path | None,
    as_json: bool,
    now: datetime | None,
    **details: str | None,
) -> None:
    """Record a coat of PIECE as done; or correct one, take the last one back, or tell what became of it.

    Sandable is when it powders on the paper. Tell it when you first see it: how it dries for you is learned from that.
    """
    from dryspell.answers.coat_details import read_past_instant, read_plain  # noqa: PLC0415  (what --help does without)

    _check_together(
        {name for name in DETAILS if details[name] is not None},
        number=number is not None,
        spoilt=spoilt is not None,
        sandable_now=sandable_now,
        sandable_at=sandable_text is not None,
        mixed_now=mixed_now,
        mixed_at=mixed_text is not None,
        poured_away=poured_away,
        undo=undo,
        by=bool(by),
    )
    config = load(config_path, secrets=False)
    piece = piece_of(config, piece_key)
    clock = clock_at(now)
    present = clock.now()
    if sandable_now or sandable_text:
        zone = config.site_of(piece).zone
        at = _read("--sandable-at", sandable_text, lambda text: read_past_instant(text, zone, present))
        click.echo(_seen(config, piece, clock, at or present, as_json=as_json))
        return
    if mixed_now or mixed_text or poured_away:
        zone = config.site_of(piece).zone
        at = _read("--mixed-at", mixed_text, lambda text: read_past_instant(text, zone, present))
        click.echo(_pot(config, piece, clock, None if poured_away else at or present, as_json=as_json))
        return
    from dryspell.store.store import open_store  # noqa: PLC0415

    with closing(open_store(config.state_dir)) as store:
        entry = _Entry(config, piece, store, clock, as_json=as_json)
        who = read_plain(by)
        if undo:
            answer = entry.undo(who)
        elif spoilt is not None:
            answer = entry.spoil(spoilt, read_plain(details["note"] or ""), who)
        elif number is not None:
            answer = entry.correct(number, details, who)
        else:
            answer = entry.record(details)
    click.echo(answer)


def _check_together(told: set[str], **modes: bool) -> None:
    """Refuse what does not go together."""
    by = modes.pop("by")
    if modes["sandable_now"] and modes["sandable_at"]:
        raise click.UsageError("--sandable-now is --sandable-at the present; wanted one of them")
    if modes["mixed_now"] and modes["mixed_at"]:
        raise click.UsageError("--mixed-now is --mixed-at the present; wanted one of them")
    asked = [name for name, there in modes.items() if there]
    names = {"number": "--correct"}
    called = [names.get(name, f"--{name.replace('_', '-')}") for name in asked]
    if modes["undo"] and (told or len(asked) > 1):
        raise click.UsageError("--undo takes a coat back; it goes with no detail of one")
    if len(asked) > 1:
        raise click.UsageError(f"{' and '.join(called)} are two things; wanted one of them")
    if (modes["sandable_now"] or modes["sandable_at"]) and told:
        raise click.UsageError("--sandable-now and --sandable-at are of the last coat; they go with no detail of one")
    if (modes["mixed_now"] or modes["mixed_at"] or modes["poured_away"]) and told:
        raise click.UsageError(
            f"{called[0]} is of the pot; it goes with no detail of a coat, which is recorded when it is on"
        )
    if modes["spoilt"] and told - {"note"}:
        raise click.UsageError("--spoilt goes with --note, and with no other detail; --correct N tells those")
    if modes["number"] and not told:
        raise click.UsageError("--correct needs what is to be another way, such as --thinner neat")
    if by and not {"number", "spoilt", "undo"} & set(asked):
        raise click.UsageError("--by goes with --correct, --spoilt and --undo; who put a coat on is --who")


class _Entry:
    """What is done to the record of one piece, and the answer to it."""

    def __init__(self, config: Config, piece: Piece, store: "Store", clock: Clock, *, as_json: bool) -> None:
        from dryspell.tick.logbook import Logbook  # noqa: PLC0415  (what --help does without)

        self._config = config
        self._piece = piece
        self._store = store
        self._clock = clock
        self._now = clock.now()
        self._book = Logbook(config, store, self._now)
        self._as_json = as_json

    def record(self, details: dict[str, str | None]) -> str:
        from dryspell.cli.coat_told import told  # noqa: PLC0415  (what --help does without)
        from dryspell.tick.logbook import ByHand  # noqa: PLC0415

        of_it = told(details, self._config, self._piece, self._now)
        fields = {"finished_at": self._now, **of_it.coat}
        draft = Coat(piece=self._piece.key, number=1, recorded_at=self._now, **fields)
        table = self._weather(draft)
        coat = self._book.record(draft, table, ByHand(**of_it.by_hand))
        return self._answer("record", coat, table)

    def correct(self, number: int, details: dict[str, str | None], who: str) -> str:
        from dryspell.cli.coat_told import told  # noqa: PLC0415  (what --help does without)
        from dryspell.tick.logbook import Correction  # noqa: PLC0415

        old = self._book.find(self._piece, number)
        of_it = told(details, self._config, self._piece, self._now, corrected=old.finished_at)
        table = self._weather(old.model_copy(update=dict(of_it.coat)))
        coat = self._book.correct(old, Correction(of_it.coat, of_it.by_hand), table, who=who)
        return self._answer("correct", coat, table, old)

    def spoil(self, spoilt: str, note: str, who: str) -> str:
        films = self._store.films(self._piece.key)
        if not films:
            raise StoreError(f"no coat of {self._piece.key} is recorded, so none can be spoilt")
        coat = films[-1]
        if coat.spoilt == ("" if spoilt == NOT_SPOILT else spoilt):
            raise CoatError(f"coat {coat.number} of {self._piece.key} is recorded just so; nothing was changed")
        by = None if spoilt == NOT_SPOILT else cast("Spoiler", spoilt)
        coat = self._store.spoil_coat(coat, by, self._now, note=note, who=who)
        return self._answer("spoilt" if by else "not spoilt", coat, self._weather(coat))

    def undo(self, who: str) -> str:
        coat = self._store.undo_coat(self._piece.key, self._now, who=who)
        if coat is None:
            raise StoreError(f"no coat of {self._piece.key} is recorded, so there is none to take back")
        return self._answer("undo", coat, None)

    def _weather(self, coat: Coat) -> Any:
        from dryspell.answers.coat_weather import weather_here  # noqa: PLC0415  (what --help does without)
        from dryspell.tick.logbook import began_at  # noqa: PLC0415

        since = began_at(coat, self._piece)
        return weather_here(self._config, self._piece, self._store, self._clock, since)

    def _answer(self, did: "Did", coat: Coat, table: Any, old: Coat | None = None) -> str:
        from dryspell.answers import coat_report as report  # noqa: PLC0415  (what --help does without)
        from dryspell.answers.coat_weather import outlook_here  # noqa: PLC0415
        from dryspell.tick.learned import learned  # noqa: PLC0415

        config = learned(self._config, self._store.progress_seen())
        film = None
        if did != "undo":
            film = outlook_here(config, self._piece, self._store, table, self._now).film
        answer = report.Answer(self._config, self._piece, coat, film, self._now, old)
        if self._as_json:
            return answer.document(did).text()
        return answer.text(did)


def _seen(config: Config, piece: Piece, clock: Clock, at: datetime, *, as_json: bool) -> str:
    """Record when the last coat was seen to be sandable, and return the answer."""
    from dryspell.answers import coat_seen  # noqa: PLC0415  (what --help does without)
    from dryspell.answers.coat_report import wrapped  # noqa: PLC0415
    from dryspell.answers.coat_weather import film_here  # noqa: PLC0415
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
        expected = as_expected(config, coat_seen.coating_of(config, piece, coat).key)
        progress = coat_seen.progress_of(film_here(expected, piece, store, clock, at))
        seen = coat_seen.record(config, store, piece, coat, at, progress, clock.now())
    if as_json:
        return coat_seen.document(config, piece, seen, clock.now()).text()
    return wrapped([coat_seen.text(config, piece, seen, clock.now())])


def _pot(config: Config, piece: Piece, clock: Clock, mixed_at: datetime | None, *, as_json: bool) -> str:
    """Record when a pot was mixed, or with None that it was poured away, and return the answer."""
    from dryspell.answers import coat_pot  # noqa: PLC0415  (what --help does without)
    from dryspell.answers.coat_report import wrapped  # noqa: PLC0415
    from dryspell.answers.coat_weather import outlook_here, weather_here  # noqa: PLC0415
    from dryspell.store.store import open_store  # noqa: PLC0415

    present = clock.now()
    with closing(open_store(config.state_dir)) as store:
        did: PotDid
        if mixed_at is None:
            did, pot = "poured away", coat_pot.pour_away(store, piece, present)
        else:
            did, pot = "mixed", coat_pot.mix(config, store, piece, mixed_at, present)
        outlook = outlook_here(config, piece, store, weather_here(config, piece, store, clock, pot.mixed_at), present)
    if as_json:
        return coat_pot.document(config, piece, pot, outlook.pot, present, did).text()
    return wrapped(coat_pot.text(config, piece, pot, outlook, did))


def _read(option: str, text: str | None, read: Callable[[str], T]) -> T | None:
    if text is None:
        return None
    try:
        return read(text)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint=option) from None
