"""`dryspell restore`: a copy of the state in the place of the one there is."""

import json
from datetime import datetime
from pathlib import Path

import click

from dryspell.cli.backup import copy_document, copy_text
from dryspell.cli.options import clock_at, shared_options
from dryspell.config import load

SCHEMA = "dryspell.restore/1"

EPILOG = """\b
Example:
  dryspell restore /media/stick/dryspell-v8-20260603T080000Z.sqlite3

\b
The daemon has to be stopped first. What is replaced is kept in the folder
`backups` of the state; restoring that one undoes this. A copy of an older
version is brought up by the next command that opens it."""


@click.command(epilog=EPILOG)
@click.argument("file", type=click.Path(path_type=Path))
@shared_options
def command(*, file: Path, config_path: Path | None, as_json: bool, now: datetime | None) -> None:
    """Put a copy made by `dryspell backup` in the place of the state.

    It is read through first; one that is damaged, or of another or a newer program, changes nothing.
    """
    from dryspell.store.backup import put_back  # noqa: PLC0415  (what --help does without)
    from dryspell.store.lock import DaemonLock  # noqa: PLC0415
    from dryspell.store.schema import MIGRATIONS  # noqa: PLC0415
    from dryspell.store.store import FILE_NAME  # noqa: PLC0415

    config, at = load(config_path, secrets=False), clock_at(now).now()
    with DaemonLock(config.state_dir):
        found, kept = put_back(file, config.state_dir / FILE_NAME, at)
    if as_json:
        document = copy_document(found, SCHEMA, at) | {
            "file": str(config.state_dir / FILE_NAME),
            "from": str(file),
            "kept": kept and str(kept),
        }
        click.echo(json.dumps(document, ensure_ascii=False, indent=2))
        return
    click.echo(f"{config.state_dir / FILE_NAME} is now as in {file}: {copy_text(found)}")
    if kept:
        click.echo(f"what was there before is kept in {kept}")
    if found.version < len(MIGRATIONS):
        click.echo(f"its version is {found.version}: the next command that opens it brings it to {len(MIGRATIONS)}")
