"""`dryspell init`: a first configuration, by five questions or by options."""

import json
import os
import sys
import tempfile
from contextlib import suppress
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dryspell.cli.options import clock_at, shared_options
from dryspell.errors import ConfigError

if TYPE_CHECKING:
    from dryspell.config.first import First

SCHEMA = "dryspell.init/1"

EPILOG = """\b
Examples:
  dryspell init
  dryspell init --place "54.3 N 10.2 E" --piece "Front door" \\
    --coating oil_varnish_1k --area "2.5 m^2" --face vertical --facing SW \\
    --contact you@example.org --alert-env DRYSPELL_PHONE

\b
What is not told by an option is asked for; where nobody can be asked, it is
as shown in brackets. A file that is there is never overwritten."""

_NEEDED = {"place": "--place", "name": "--piece", "coating": "--coating", "contact": "--contact"}


@click.command(epilog=EPILOG)
@click.option("--place", metavar="LAT,LON", help='Where it stands: "54.3, 10.2" or "54.3 N 10.2 E".')
@click.option("--timezone", metavar="ZONE", help="Its time zone. [default: that of this computer]")
@click.option("--piece", "name", metavar="NAME", help="What is to be coated.")
@click.option("--coating", metavar="FAMILY", help="The family of the coating.")
@click.option("--area", metavar="AREA", help='The surface to coat. [default: "2 m^2"]')
@click.option("--face", metavar="FACE", help="horizontal, vertical or tilted. [default: vertical]")
@click.option("--facing", metavar="DIRECTION", help="Where a face that is not level looks. [default: S]")
@click.option("--tilt", metavar="ANGLE", help='Of a tilted face, from level. [default: "45 deg"]')
@click.option("--hours", metavar="HOURS", help='When you can work. [default: "08:00-18:00"]')
@click.option("--alert-env", metavar="NAME", help="The variable of the environment with an address for alerts.")
@click.option("--contact", metavar="ADDRESS", help="Your e-mail or web address, for the weather service.")
@click.option("--example", is_flag=True, help="Print every key there is, with its default, and write nothing.")
@shared_options
def command(
    *, example: bool, config_path: Path | None, as_json: bool, now: datetime | None, **told: str | None
) -> None:
    """Write a first configuration, and check it."""
    from dryspell.bundled import bundled  # noqa: PLC0415  (with the rest below: what --help does without)
    from dryspell.config.first import EXAMPLE, text_of, tried  # noqa: PLC0415
    from dryspell.config.places import own_config  # noqa: PLC0415

    if example:
        click.echo(bundled(EXAMPLE).read_text("utf-8"), nl=False)
        return
    file = config_path or own_config(os.environ)
    if os.path.lexists(file):
        raise _there_already(file)
    first = _Questions(file, told, ask=sys.stdin.isatty() and not as_json).answers()
    config = tried(first, file, os.environ)
    write_new(file, text_of(first))
    if as_json:
        document = {
            "schema": SCHEMA,
            "generated_at": f"{clock_at(now).now():%Y-%m-%dT%H:%M:%SZ}",
            "file": str(file),
            "cautions": list(config.cautions),
        }
        click.echo(json.dumps(document, ensure_ascii=False, indent=2))
        return
    click.echo(f"\nwrote {file}: it is good")
    for caution in config.cautions:
        click.echo(f"  look: {caution}")
    if first.alert_env and first.alert_env not in os.environ:
        click.echo(f"Put an address for alerts into {first.alert_env} where dryspell starts. Then:")
    else:
        click.echo("Now:")
    named = f" --config {file}" if config_path else ""
    click.echo(f"  dryspell check{named}     # asks the weather, and looks at the alert targets")
    click.echo(f"  dryspell windows{named}   # when the next coat can go on")
    click.echo(f"  dryspell run{named}       # the daemon")


class _Questions:
    """Finds out what is wanted: from the options, else by asking, else as usual. Each answer is tried at once."""

    def __init__(self, file: Path, told: dict[str, str | None], *, ask: bool) -> None:
        from dryspell.config.first import First  # noqa: PLC0415  (as above)

        self._file = file
        self._told = told
        self._ask = ask and any(value is None for key, value in told.items() if key not in ("facing", "tilt"))
        self._first = First()

    def answers(self) -> "First":
        """Return all that is wanted."""
        from dryspell.config.first import FACES, zone_here  # noqa: PLC0415  (as above)
        from dryspell.trade.families import family, family_keys  # noqa: PLC0415

        lacking = [] if self._ask else [option for key, option in _NEEDED.items() if self._told[key] is None]
        if lacking:
            raise click.UsageError(f"nobody can be asked here, and wanted is still {' and '.join(lacking)}")
        self._head(
            "place timezone",
            "1. Where does it stand? Degrees, latitude first, such as 54.3 N 10.2 E.",
        )
        self._take("place", "   place", None)
        self._take("timezone", "   time zone", zone_here(os.environ))
        self._head("name coating area face", "2. What is to be coated, and what with?")
        self._take("name", "   what it is", None)
        self._head("coating", "\n".join(f"     {key:<18} {family(key).label}" for key in family_keys()))
        self._take("coating", "   coating", "oil_varnish_1k")
        self._take("area", "   surface to coat", self._first.area)
        self._take("face", f"   how it lies to the sky ({', '.join(FACES)})", self._first.face)
        if self._first.face != "horizontal":
            self._take("facing", "   where it looks", "S")
        if self._first.face == "tilted":
            self._take("tilt", "   how far from level", "45 deg")
        self._head("hours", "3. When can you work? Days may go before: Mon-Fri 16:00-20:00, Sat 08:00-18:00.")
        self._take("hours", "   hours", self._first.hours)
        self._head(
            "alert_env",
            "4. Who is told? The name of a variable of the environment that will hold an address: mail, chat, push.\n"
            "   The address itself is not asked for: it holds passwords. Nothing: nobody yet.",
        )
        self._take("alert_env", "   variable", "")
        self._head("contact", "5. Whom can the weather service write to? It goes to that service alone.")
        self._take("contact", "   your e-mail or web address", None)
        for key in ("facing", "tilt"):
            if self._told[key] is not None and not getattr(self._first, key):
                self._first = self._with(key, self._told[key] or "")
        return self._first

    def _head(self, keys: str, text: str) -> None:
        """Begin a question, unless all of it was told."""
        if self._ask and any(self._told[key] is None for key in keys.split()):
            click.echo(text)

    def _take(self, key: str, question: str, usual: str | None) -> None:
        """Take one answer in, which is then known to be good."""
        given = self._told[key]
        if given is not None:
            try:
                self._first = self._with(key, given)
            except click.UsageError as error:
                option = _NEEDED.get(key, f"--{key.replace('_', '-')}")
                raise click.UsageError(f"{option} {error.message}") from None
        elif self._ask:
            read = partial(self._with, key)
            self._first = click.prompt(question, default=usual, value_proc=read, show_default=bool(usual))
        else:
            self._first = self._with(key, usual or "")

    def _with(self, key: str, text: str) -> "First":
        """Return what is known with one more answer; click.UsageError says what is wrong with that."""
        from dryspell.config.first import is_variable, read_place, tried  # noqa: PLC0415  (as above)

        text = text.strip()
        if not text.isprintable():
            raise click.UsageError("holds signs that cannot be shown")
        if key == "place":
            try:
                latitude, longitude = read_place(text)
            except ValueError as error:
                raise click.UsageError(f"{text!r} {error}") from None
            first = replace(self._first, latitude=latitude, longitude=longitude)
        else:
            first = replace(self._first, **{key: text})
        if key == "alert_env" and text and not is_variable(text):
            # Not repeated: it may be the address itself.
            raise click.UsageError("is no name of a variable; wanted letters, digits and _, such as DRYSPELL_PHONE")
        if key == "name" and not first.piece:
            raise click.UsageError("needs a letter or a digit")
        try:
            tried(first, self._file, os.environ)
        except ConfigError as error:
            raise click.UsageError(
                "\n".join(problem.removeprefix(f"{self._file}: ") for problem in error.problems)
            ) from None
        return first


def write_new(file: Path, text: str) -> None:
    """Write a file that only its owner can read, whole or not at all, and its folders where they are not there.

    Raises
    ------
    ConfigError
        It is there already, or cannot be written; nothing is left of it.
    """
    made: list[Path] = []
    part: Path | None = None
    try:
        for folder in reversed([folder for folder in file.absolute().parents if not folder.exists()]):
            folder.mkdir(mode=0o700)
            made.append(folder)
        handle, name = tempfile.mkstemp(prefix=f".{file.name}.", dir=file.absolute().parent)
        part = Path(name)
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        # A link, unlike a rename, never takes the place of a file that has appeared meanwhile.
        os.link(part, file)
        made.clear()
    except FileExistsError:
        raise _there_already(file) from None
    except OSError as error:
        raise ConfigError([f"{file}: cannot be written: {error.strerror}"]) from None
    finally:
        if part:
            part.unlink(missing_ok=True)
        for folder in reversed(made):
            with suppress(OSError):
                folder.rmdir()


def _there_already(file: Path) -> ConfigError:
    return ConfigError(
        [f"{file} is there already and is not overwritten; `dryspell check` looks it over, --config names another file"]
    )
