"""`dryspell export`: all that is kept, as open formats."""

import csv
import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dryspell.cli.options import clock_at, shared_options
from dryspell.config import Config, load
from dryspell.errors import DryspellError, StoreError

if TYPE_CHECKING:
    from dryspell.answers.export import Sheet
    from dryspell.store.readonly import ReadOnlyStore

SCHEMA = "dryspell.export/1"

EPILOG = """\b
Example:
  dryspell export varnish-2026

\b
The folder is made: a table each of coats, readings, forecasts as issued,
messages, plans and all else as CSV and as JSON Lines, planned coats as
iCalendar, and a README that says what the columns mean and in which units.
The daemon may go on meanwhile."""


@click.command(epilog=EPILOG)
@click.argument("folder", type=click.Path(path_type=Path))
@shared_options
def command(*, folder: Path, config_path: Path | None, as_json: bool, now: datetime | None) -> None:
    """Write all that is kept as open formats: CSV, JSON Lines, iCalendar."""
    from dryspell.answers.export import SHEETS, readme  # noqa: PLC0415  (what --help does without)
    from dryspell.outlook.as_json import instant  # noqa: PLC0415
    from dryspell.store.readonly import open_store_to_read  # noqa: PLC0415
    from dryspell.store.schema import MIGRATIONS  # noqa: PLC0415

    config, at = load(config_path, secrets=False), clock_at(now).now()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise DryspellError(f"{folder} is there already and holds something; name a folder that is to be made")
    with closing(open_store_to_read(config.state_dir)) as store:
        store.check()
        if store.version != len(MIGRATIONS):
            raise StoreError(
                f"the state file {store.path} is of version {store.version}, and this dryspell writes out version "
                f"{len(MIGRATIONS)}; any command that uses it, such as `dryspell check`, brings an older one up"
            )
        store.begin()
        try:
            folder.parent.mkdir(parents=True, exist_ok=True)
            part = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
            try:
                counts = {sheet.name: _write(sheet, store, part) for sheet in SHEETS}
                calendars = list(_calendars(config, store, part, at))
                more = [f"Planned coats as iCalendar (RFC 5545): {', '.join(calendars)}."] if calendars else []
                (part / "README.md").write_text(readme(at, store.version, counts, more), "utf-8")
                part.rename(folder)
            finally:
                shutil.rmtree(part, ignore_errors=True)
        except OSError as error:
            raise DryspellError(f"{folder} cannot be written: {error.strerror}") from None
    if as_json:
        document = {"schema": SCHEMA, "generated_at": instant(at), "folder": str(folder), "rows": counts}
        click.echo(json.dumps(document, ensure_ascii=False, indent=2))
        return
    click.echo(f"{folder}: {', '.join(f'{name} {count}' for name, count in counts.items() if count) or 'nothing yet'}")


def _write(sheet: "Sheet", store: "ReadOnlyStore", folder: Path) -> int:
    """Write a table both ways, and return how many rows it has."""
    from dryspell.answers.log_csv import harmless  # noqa: PLC0415  (as above)

    count = 0
    with (
        _new(folder / f"{sheet.name}.csv") as comma,
        _new(folder / f"{sheet.name}.jsonl") as lines,
    ):
        writer = csv.writer(comma)
        writer.writerow(sheet.columns)
        for row in sheet.rows(store):
            count += 1
            writer.writerow([harmless(_cell(value)) for value in row])
            if sheet.lines is None:
                lines.write(_line(dict(zip(sheet.columns, row, strict=True))))
        for line in sheet.lines(store) if sheet.lines else ():
            lines.write(_line(line))
    return count


def _new(path: Path) -> Any:
    return os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8", newline="")


def _cell(value: Any) -> Any:
    return json.dumps(value, ensure_ascii=False) if isinstance(value, dict | list) else value


def _line(line: Any) -> str:
    return json.dumps(line, ensure_ascii=False, separators=(",", ":")) + "\n"


def _calendars(config: Config, store: "ReadOnlyStore", folder: Path, now: datetime) -> Iterator[str]:
    """Write the planned coats of each site as the page's calendar tells them, and yield the names of the files."""
    from uuid import uuid4  # noqa: PLC0415  (as above)

    from dryspell.web.calendar import written  # noqa: PLC0415
    from dryspell.web.calendar_entries import entries_of, tells, told_now  # noqa: PLC0415

    plans = [plan for plan in store.plans().values() if plan.piece in config.piece]
    for key, site in config.site.items():
        here = [plan for plan in plans if plan.site == key]
        told = told_now(
            store.calendar(f"site/{key}"),
            entries_of(here, config, config.alerting.units),
            {plan.piece: plan.coats - plan.left for plan in plans if tells(plan)},
            now.replace(microsecond=0),
            lambda: f"{uuid4()}@dryspell",
        )
        if told:
            credit = dict.fromkeys(plan.weather.attribution for plan in here if plan.weather)
            name = f"planned-coats-{key}.ics"
            (folder / name).write_bytes(written(told, f"Coats: {site.name}", filter(None, credit)))
            yield name
