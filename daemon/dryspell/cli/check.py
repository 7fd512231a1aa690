"""`dryspell check`: whether the configuration is good, part by part."""

import json
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from dryspell.answers.document import instant
from dryspell.cli.options import clock_at, colour_option, in_colour, shared_options
from dryspell.cli.paint import Paint
from dryspell.cli.parts import NO_BREAK, Finding, Word, coatings_shown, figures_document, figures_text, report
from dryspell.config import Config, load
from dryspell.errors import ConfigError
from dryspell.outlook.figures import Units
from dryspell.trade.coating import FACTORS, Coating

SCHEMA = "dryspell.check/1"
WIDTH = 80
BAD = 2

_ROLES: dict[Word, str] = {"good": "coat", "look": "tight", "bad": "wait", "skipped": "aside"}
_INDENT = 18

EPILOG = """\b
Examples:
  dryspell check
  dryspell check --offline --figures
  dryspell check --send

\b
Exit code 0: nothing is bad; 2: something is. "look" marks what is allowed but
deserves a second look."""


@click.command(epilog=EPILOG)
@shared_options
@colour_option
@click.option("--offline", is_flag=True, help="Ask nobody over the network.")
@click.option("--figures", is_flag=True, help="Show every figure of the coatings, and where it is from.")
@click.option("--send", is_flag=True, help="Send a test message to every alert target.")
@click.pass_context
def command(
    ctx: click.Context,
    *,
    config_path: Path | None,
    as_json: bool,
    now: datetime | None,
    colour: bool | None,
    offline: bool,
    figures: bool,
    send: bool,
) -> None:
    """Say of each part of the configuration whether it is good.

    The weather is asked, and the alert targets are looked at, as the daemon does it; nothing is sent without --send.
    """
    at = clock_at(now).now()
    config: Config | None = None
    try:
        config = load(config_path)
        found = [*report(config, at), *_probes(config, at, offline=offline, send=send)]
    except ConfigError as error:
        found = [Finding("config", "bad", problem) for problem in error.problems]
    shown = coatings_shown(_taught(config)) if config and figures else []
    if as_json:
        click.echo(document_text(found, shown, at))
    else:
        paint, units = Paint(in_colour(colour)), config.alerting.units if config else "metric"
        for line in (*findings_text(found, paint), *figures_lines(shown, units, paint)):
            click.echo(line, color=paint.on)
    if any(finding.word == "bad" for finding in found):
        ctx.exit(BAD)


def _probes(config: Config, now: datetime, *, offline: bool, send: bool) -> Iterator[Finding]:
    from dryspell.cli import probes  # noqa: PLC0415  (numpy, requests and the store: not for a configuration that is bad)

    yield from probes.weather(config, now, offline=offline)
    yield probes.state(config)
    if config.sensor:
        from dryspell.cli import sensor_devices, sensor_probes  # noqa: PLC0415  (MQTT: not where there is no sensor)

        yield from sensor_devices.brokers(config, offline=offline)
        yield from sensor_probes.sensors(config, now, offline=offline)
    from dryspell.cli import alert_probes  # noqa: PLC0415  (Apprise: as above)

    yield from alert_probes.alerts(config, now, send=send)
    yield from alert_probes.published(config, offline=offline)


def _taught(config: Config) -> Config:
    """Return the configuration with what the recorded coats have taught of its coatings."""
    from dryspell.cli import probes  # noqa: PLC0415  (as above)

    return probes.taught(config)


def findings_text(found: Iterable[Finding], paint: Paint) -> Iterator[str]:
    """Yield a line for each part, with what does not fit in 80 columns below it."""
    for finding in found:
        first, *rest = _wrapped(finding.text, WIDTH - _INDENT)
        yield f"{finding.part:<9} {paint(f'{finding.word:<7}', _ROLES[finding.word])} {first}"
        yield from (" " * _INDENT + line for line in rest)


def figures_lines(coatings: Iterable[Coating], units: Units, paint: Paint) -> Iterator[str]:
    """Yield every figure of some coatings, with where it is from below it."""
    for coating in coatings:
        yield from ("", paint(f"{coating.key}: {coating.label}", "title"))
        own = True
        for figure, value, mark in figures_text(coating, units):
            if own and figure.startswith(FACTORS):
                own = False
                yield "  and what multiplies its times, beside the temperature of the film:"
            *before, last = _wrapped(value, WIDTH - _INDENT)
            beside = len(last) + len(mark) + 4 <= WIDTH - _INDENT
            marked = f"{last}  {paint(f'({mark})', 'aside')}" if beside else last
            first, *rest = [*before, marked]
            yield f"  {figure.removeprefix(FACTORS):<15} {first}"
            yield from (" " * _INDENT + line for line in rest)
            if not beside:
                yield from (" " * _INDENT + paint(line, "aside") for line in _wrapped(f"({mark})", WIDTH - _INDENT))


def document_text(found: Sequence[Finding], coatings: Iterable[Coating], now: datetime) -> str:
    """Return the JSON document of `dryspell check --json`."""
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "generated_at": instant(now),
        "good": all(finding.word != "bad" for finding in found),
        "parts": [asdict(finding) for finding in found],
        "coatings": [
            {"coating": coating.key, "family": coating.family, "figures": figures_document(coating)}
            for coating in coatings
        ],
    }
    return json.dumps(document, indent=2, ensure_ascii=False)


def _wrapped(text: str, width: int) -> list[str]:
    # A path or an address is of no use in two pieces, nor is a number without its unit.
    lines = textwrap.wrap(text, width, break_on_hyphens=False, break_long_words=False) or [""]
    return [line.replace(NO_BREAK, " ") for line in lines]
