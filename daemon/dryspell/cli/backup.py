"""`dryspell backup`: a whole copy of the state, made beside a running daemon."""

import json
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dryspell.answers.document import Document, instant
from dryspell.cli.options import clock_at, shared_options
from dryspell.config import load

if TYPE_CHECKING:
    from dryspell.store.backup import Copy

SCHEMA = "dryspell.backup/1"

EPILOG = """\b
Examples:
  dryspell backup /media/stick/
  dryspell backup before-the-move.sqlite3

\b
Into a folder it gets a name with the version and the instant. It is one file,
read through and found whole before it has its name; none is overwritten.
`dryspell restore` puts it back."""


@click.command(epilog=EPILOG)
@click.argument("target", metavar="FILE|FOLDER", type=click.Path(path_type=Path))
@shared_options
def command(*, target: Path, config_path: Path | None, as_json: bool, now: datetime | None) -> None:
    """Make a whole copy of the state: coats, record, and what was said.

    The daemon may go on meanwhile. The configuration, and secrets in files of their own, are not part of it.
    """
    from dryspell.store.backup import copy_to, examine, name_of  # noqa: PLC0415  (what --help does without)
    from dryspell.store.last_backup import LastBackup, note_backup  # noqa: PLC0415
    from dryspell.store.store import FILE_NAME  # noqa: PLC0415

    config, at = load(config_path, secrets=False), clock_at(now).now()
    state = config.state_dir / FILE_NAME
    if target.is_dir():
        target /= name_of(examine(state).version, at)
    copy = copy_to(state, target)
    # Where the state takes nothing, the copy is good all the same.
    with suppress(OSError):
        note_backup(config.state_dir, LastBackup(at=at, file=str(target.absolute()), size=copy.size))
    if as_json:
        click.echo(json.dumps(copy_document(copy, SCHEMA, at), ensure_ascii=False, indent=2))
    else:
        click.echo(f"{target}: {copy_text(copy)}; read through and whole")


def copy_document(copy: "Copy", schema: str, now: datetime) -> Document:
    """Return what a copy holds as a JSON document."""
    return {
        "schema": schema,
        "generated_at": instant(now),
        "file": str(copy.path),
        "version": copy.version,
        "size_bytes": copy.size,
        "rows": dict(copy.counts),
    }


def copy_text(copy: "Copy") -> str:
    """Return what a copy holds, in words."""
    counts = copy.counts
    coats, notices = counts.get("coats", 0), counts.get("notices", 0)
    told = [f"{coats} coat{'' if coats == 1 else 's'}", f"{notices} message{'' if notices == 1 else 's'}"]
    return f"{copy.size / 1e6:.1f} MB, version {copy.version}, {' and '.join(told)}"
