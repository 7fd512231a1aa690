"""`dryspell demo`: the daemon on an invented scenario, with weather out of a file and alerts on the terminal."""

import json
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import replace
from datetime import datetime, time, timedelta, tzinfo
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import click

from dryspell.bundled import bundled
from dryspell.cli.options import clock_at, colour_option, in_colour, shared_options
from dryspell.cli.windows import names_of
from dryspell.clock import Clock, FastClock, SystemClock
from dryspell.config import Config, load
from dryspell.config.page import PageSettings
from dryspell.config.target import AlertTarget
from dryspell.errors import ConfigError
from dryspell.outlook.figures import weekday_date
from dryspell.outlook.model import Coat, Outlook
from dryspell.weather.sources.table_file import TableFile
from dryspell.weather.table import WeatherTable

if TYPE_CHECKING:
    from dryspell.alerts.deliver import Draw
    from dryspell.cli.paint import Paint
    from dryspell.cli.rehearse import Said

DAYS = 4
DRYING, DRYING_COAT, LAST_STROKE = "garden_bench", 2, time(13, 45)
"""The piece that begins with a coat put on yesterday, the number of that coat, and its last stroke, local."""
SCHEMA, ALERT_SCHEMA = "dryspell.demo/1", "dryspell.alert/1"

EPILOG = """\b
Example:
  dryspell demo --once

\b
Without --once the daemon stays until Ctrl-C and prints its alerts as they
come; with --speed 900 a quarter of an hour passes in a second."""


@click.command(epilog=EPILOG)
@click.option("--once", is_flag=True, help="Print verdicts, windows and the alerts of the next days, and leave.")
@click.option(
    "--speed",
    type=click.FloatRange(min=0, min_open=True),
    default=1.0,
    metavar="N",
    help="Let time run N times faster.",
)
@colour_option
@shared_options
def command(
    *, once: bool, speed: float, colour: bool | None, config_path: Path | None, as_json: bool, now: datetime | None
) -> None:
    """Run the daemon on an invented scenario: no network, nothing sent, nothing kept.

    The weather is moved so that its forecast starts today.
    """
    config = load(config_path or bundled("demo.toml"), secrets=False)
    begin = clock_at(now).now()
    scenario = Scenario(config, begin)
    painted = in_colour(colour)
    if once:
        click.echo(scenario.once(as_json=as_json, colour=painted), color=painted)
    else:
        scenario.stay(speed, as_json=as_json, colour=painted)


class TerminalSender:
    """Prints alerts instead of sending them, with the time it is in the demo."""

    def __init__(self, clock: Clock, zone: tzinfo, *, as_json: bool) -> None:
        self._clock = clock
        self._zone = zone
        self._as_json = as_json

    def send(self, target: str, title: str, body: str, draw: "Draw | None" = None) -> None:  # noqa: ARG002  (a terminal shows no pictures)
        """Print a message: set off from the log, or as one line of JSON."""
        now = self._clock.now()
        if self._as_json:
            at = now.strftime("%Y-%m-%dT%H:%M:%SZ")
            message = {"schema": ALERT_SCHEMA, "generated_at": at, "target": target, "title": title, "body": body}
            click.echo(json.dumps(message, ensure_ascii=False))
            return
        local = now.astimezone(self._zone)
        lines = [f"{weekday_date(local)} {local:%H:%M}  {title}", *body.splitlines()]
        wrapped = (textwrap.wrap(line, 78, break_on_hyphens=False) for line in lines)
        click.echo("\n".join(["", *(f"| {part}" for parts in wrapped for part in parts), ""]))


class Scenario:
    """A configuration whose weather comes out of a file that is moved to begin the day before `begin`."""

    def __init__(self, config: Config, begin: datetime) -> None:
        file = config.weather.file
        if file is None:
            raise ConfigError(
                [f"{config.file}: the demo takes its weather out of a file; set sources and file in [weather]"]
            )
        self.config = config
        self.begin = begin
        self.sources = {
            key: TableFile(file, shift_to=(begin - timedelta(days=1)).astimezone(site.zone), zone=site.zone)
            for key, site in config.site.items()
        }

    def coats(self) -> dict[str, list[Coat]]:
        """Return the coats that are on when the demo begins."""
        if DRYING not in self.config.piece:
            return {}
        zone = self.config.site_of(self.config.piece[DRYING]).zone
        yesterday = self.begin.astimezone(zone).date() - timedelta(days=1)
        finished = datetime.combine(yesterday, LAST_STROKE, tzinfo=zone).astimezone(self.begin.tzinfo)
        coat = Coat(piece=DRYING, number=DRYING_COAT, finished_at=finished, recorded_at=finished)
        return {DRYING: [coat]}

    def once(self, *, as_json: bool, colour: bool) -> str:
        """Return verdicts, windows and the alerts of the next days, as text or as a document."""
        from dryspell.cli.paint import Paint  # noqa: PLC0415
        from dryspell.cli.rehearse import Said, rehearse  # noqa: PLC0415  (what --help does without)
        from dryspell.cli.showers import showers  # noqa: PLC0415

        tables = {key: source.fetch(self.begin) for key, source in self.sources.items()}
        outlooks = self._look(tables)
        said = rehearse(self.config, self.coats(), tables, outlooks, DAYS)
        if_showers = showers(self.config, self.coats(), tables, outlooks)
        if not as_json:
            return self._text(outlooks, list(self._told(said, if_showers, Paint(colour))), colour=colour)
        from dryspell.answers.document import instant, windows_document  # noqa: PLC0415

        document = windows_document(outlooks, self.begin, {key: site.name for key, site in self.config.site.items()})

        def told(alerts: Sequence[Said]) -> list[dict[str, str | None]]:
            return [
                {"at": instant(s.at), "piece": s.piece, "kind": s.kind, "title": s.title, "body": s.body}
                for s in alerts
            ]

        alerts = {"alerts": told(said), "alerts_if_showers": told(if_showers)}
        return json.dumps({**document.as_json(), "schema": SCHEMA, **alerts}, ensure_ascii=False, indent=2)

    def _told(self, said: "Sequence[Said]", if_showers: "Sequence[Said]", paint: "Paint") -> Iterator[str]:
        """Yield the alerts of the next days, and those on showers that nobody foresaw."""
        from dryspell.cli.rehearse import alert_lines  # noqa: PLC0415
        from dryspell.cli.show import heading  # noqa: PLC0415

        zones = {key: self.config.site_of(piece).zone for key, piece in self.config.piece.items()}
        yield from heading(f"What it would send in the next {DAYS} days", "nothing coated, forecast come true", paint)
        yield from alert_lines(said, zones, paint) if said else ["  Nothing: no window opens.", ""]
        if if_showers:
            yield from heading("And if showers came up", "coated as told, and the next forecast has them", paint)
            yield from alert_lines(if_showers, zones, paint)

    def stay(self, speed: float, *, as_json: bool, colour: bool) -> None:
        """Run the daemon on a temporary state folder until it is told to leave."""
        from dryspell.logs import log_to_stderr  # noqa: PLC0415
        from dryspell.service import Service, hearing, serve  # noqa: PLC0415
        from dryspell.store.store import open_store  # noqa: PLC0415

        terminal = AlertTarget.model_validate({"key": "terminal", "url": "terminal://here"})
        if not as_json:
            tables = {key: source.fetch(self.begin) for key, source in self.sources.items()}
            click.echo(self._text(self._look(tables), (), colour=colour), color=colour)
        log_to_stderr(as_json=as_json)
        # What is still under way when it leaves may write into the folder as that is cleared away.
        folder = TemporaryDirectory(prefix="dryspell-demo-", ignore_cleanup_errors=True)
        # Told to leave from now on, it does so as a daemon, and nothing is left behind.
        with hearing() as signals, folder as name:
            if not as_json:
                click.echo("\nThe daemon watches on: Ctrl-C leaves.")
            config = replace(self.config, state_dir=Path(name), alerts={"terminal": terminal}, page=_page(self.config))
            with closing(open_store(config.state_dir)) as store:
                for coat in (coat for coats in self.coats().values() for coat in coats):
                    store.add_coat(coat)
            clock = FastClock(self.begin, speed, SystemClock().now())
            sender = TerminalSender(clock, next(iter(config.site.values())).zone, as_json=as_json)
            service = Service(config, clock, speed=speed, sender=sender, sources=self.sources)
            serve(service, signals, at_last=folder.cleanup)

    def _look(self, tables: Mapping[str, WeatherTable]) -> list[Outlook]:
        from dryspell.tick.look import look  # noqa: PLC0415

        return look(self.config, self.coats(), tables, self.begin)

    def _text(self, outlooks: Sequence[Outlook], added: Sequence[str], *, colour: bool) -> str:
        from dryspell.cli.paint import Paint  # noqa: PLC0415
        from dryspell.cli.show import outlooks_text  # noqa: PLC0415

        return outlooks_text(outlooks, names_of(self.config), Paint(colour), self.config.alerting.units, added=added)


def _page(config: Config) -> PageSettings:
    """Return the page of a demo: on this machine only, and nobody has to know a token."""
    listen = config.page.listen
    return PageSettings(listen=None if listen is None else ("127.0.0.1", listen[1]))
