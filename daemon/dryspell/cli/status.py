"""`dryspell status`: how the daemon and its state are, in one screen."""

import os
import re
import tomllib
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dryspell.cli.options import clock_at, colour_option, in_colour, shared_options
from dryspell.config import Config, load
from dryspell.config.places import find_config, resolve, state_folder
from dryspell.errors import ConfigError

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from dryspell.answers.status_document import Judged, StatusDocument
    from dryspell.cli.paint import Paint

UNWELL = 1
WIDTH, LINES = 80, 23
"""A screen, and a line for what is typed after it."""
MOST_OF_A_KIND = 3
_WITH_UNIT = re.compile(r"(?<=\d) (?=(?:s|min|h|d|MB|GB)\b)|(?<=[a-z]) (?=ago\b)")

EPILOG = """\b
Examples:
  dryspell status
  dryspell status --exit-code || echo "look after it"

\b
It asks nobody and writes nothing. "look" marks what is worth a look, "bad"
what is not as it should be; --json has all of it."""


@click.command(epilog=EPILOG)
@click.option("--exit-code", "with_exit_code", is_flag=True, help="Exit with 1 when something is bad.")
@colour_option
@shared_options
@click.pass_context
def command(
    ctx: click.Context,
    *,
    with_exit_code: bool,
    colour: bool | None,
    config_path: Path | None,
    as_json: bool,
    now: datetime | None,
) -> None:
    """Tell in one screen whether the daemon runs and how all that it needs does.

    Also when it does not run, and when configuration or state are broken.
    """
    from dryspell.answers.status import status_of  # noqa: PLC0415  (what --help does without)
    from dryspell.cli.paint import Paint  # noqa: PLC0415

    config: Config | None = None
    problems: list[str] = []
    try:
        config = load(config_path, secrets=False)
    except ConfigError as error:
        problems = error.problems
    state_dir = config.state_dir if config else _state_dir(config_path)
    document = status_of(config, problems, state_dir, clock_at(now).now(), _zone(config))
    if as_json:
        click.echo(document.text())
    else:
        painted = in_colour(colour)
        for line in status_lines(document, Paint(painted)):
            click.echo(line, color=painted)
    if with_exit_code and not document.well:
        ctx.exit(UNWELL)


def status_lines(document: "StatusDocument", paint: "Paint") -> Iterator[str]:
    """Yield the screen: what is bad in full where there is room, what is well in short."""
    from dryspell.cli.check import findings_text  # noqa: PLC0415  (as above)
    from dryspell.cli.parts import NO_BREAK, Finding  # noqa: PLC0415

    def together(text: str) -> str:
        return _WITH_UNIT.sub(NO_BREAK, text)

    kinds: list[tuple[str, Sequence[Judged]]] = [
        ("config", [document.config]),
        ("daemon", [document.daemon]),
        ("weather", document.sources),
        ("sensor", document.sensors),
        ("queue", document.queue),
        ("state", [document.state]),
        ("backup", [document.backup]),
    ]
    found = [Finding(part, each.word, together(each.said)) for part, judged in kinds for each in _foremost(judged)]  # type: ignore[arg-type]
    if document.next:
        place = next(n for n, finding in enumerate(found) if finding.part == "state")
        found.insert(place, Finding("next", "good", document.next.said))
    lines = list(findings_text(found, paint))
    if len(lines) > LINES:
        short = [Finding(finding.part, finding.word, _cut(finding.text)) for finding in found]
        lines = list(findings_text(short, paint))
    yield from lines


def _foremost(judged: Sequence["Judged"]) -> Iterator["Judged"]:
    """Yield what is worst of a kind, and how many more there are."""
    from dryspell.answers.status_document import Judged  # noqa: PLC0415  (as above)

    order = ("bad", "look", "good")
    worst = sorted(judged, key=lambda each: order.index(each.word))
    if len(worst) <= MOST_OF_A_KIND:
        yield from worst
        return
    shown, rest = worst[: MOST_OF_A_KIND - 1], worst[MOST_OF_A_KIND - 1 :]
    yield from shown
    words = [f"{count} {word}" for word in order if (count := sum(each.word == word for each in rest))]
    yield Judged(word=rest[0].word, said=f"and {len(rest)} more: {', '.join(words)}")


def _cut(text: str) -> str:
    room = WIDTH - 18
    return text if len(text) <= room else f"{text[: room - 1]}…"


def _zone(config: Config | None) -> "ZoneInfo":
    from zoneinfo import ZoneInfo  # noqa: PLC0415  (as above)

    return next((site.zone for site in config.site.values()), ZoneInfo("UTC")) if config else ZoneInfo("UTC")


def _state_dir(config_path: Path | None) -> Path:
    """Return the folder of the state where the configuration is not good, from what can be read of it."""
    try:
        file = find_config(os.environ) if config_path is None else config_path
        written = tomllib.loads(file.read_bytes().decode("utf-8-sig")).get("state")
        named = resolve(written, file.absolute().parent, os.environ) if isinstance(written, str) else None
    except (ConfigError, OSError, ValueError):
        named = None
    return state_folder(named, os.environ)
