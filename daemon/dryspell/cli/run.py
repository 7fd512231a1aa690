"""`dryspell run`: the daemon."""

import logging
from datetime import UTC, datetime
from pathlib import Path

import click

from dryspell import __version__
from dryspell.cli.options import shared_options
from dryspell.clock import Clock, FastClock, SystemClock
from dryspell.config import Config
from dryspell.config.watch import ConfigWatch
from dryspell.errors import DryspellError
from dryspell.heap import keep_at_hand

log = logging.getLogger(__name__)

EPILOG = """\b
Example:
  dryspell run --config ~/boats.toml

\b
It stays until Ctrl-C or SIGTERM. Other commands may be used beside it. When
the configuration is changed it is taken, at once with SIGHUP; one that has a
fault is not, and that is an alert."""


@click.command(epilog=EPILOG)
@shared_options
@click.option("--speed", type=click.FloatRange(min=0, min_open=True), default=1.0, hidden=True)
@click.option("--anchor", type=float, metavar="UNIXSECONDS", hidden=True)
def command(
    *, config_path: Path | None, as_json: bool, now: datetime | None, speed: float, anchor: float | None
) -> None:
    """Watch the weather and send the alerts.

    With --json each line of the log is a JSON document; with --now the clock begins at that instant and runs on.
    """
    keep_at_hand()
    # The heavy parts are imported only when a daemon really starts.
    from dryspell.logs import log_to_stderr  # noqa: PLC0415
    from dryspell.service import Service, hearing, serve  # noqa: PLC0415
    from dryspell.tick.spare import begin_to_let_go  # noqa: PLC0415

    begin_to_let_go()
    watch = ConfigWatch(config_path)
    settings = watch.load()
    log_to_stderr(as_json=as_json)
    clock = _clock(now, speed, anchor)
    service = Service(settings, clock, speed=speed, watch=watch)
    _greet(settings)

    def again(changed: Config) -> Service:
        """Return a service on a changed configuration, and where that cannot run, on the last one that could."""
        nonlocal settings
        try:
            service = Service(changed, clock, speed=speed, watch=watch)
        except DryspellError as error:
            watch.refuse(str(error))
            return Service(settings, clock, speed=speed, watch=watch)
        settings = changed
        log.info("the configuration has changed")
        _greet(settings)
        return service

    with hearing() as signals:
        serve(service, signals, again)


def _greet(settings: Config) -> None:
    count = len(settings.piece)
    pieces = "1 piece" if count == 1 else f"{count} pieces"
    log.info("dryspell %s watches %s; its state is in %s", __version__, pieces, settings.state_dir)
    if not settings.alerts:
        log.warning("no alert target is configured: what is to be said stands only here")


def _clock(now: datetime | None, speed: float, anchor: float | None) -> Clock:
    """Return the clock to go by; an imagined one is logged with what a later process needs to go on in its time."""
    if now is None and speed == 1.0:
        return SystemClock()
    real = SystemClock().now()
    start, at = now or real, real if anchor is None else datetime.fromtimestamp(anchor, UTC)
    log.info("an imagined clock: --now %s --speed %g --anchor %.3f", start.isoformat(), speed, at.timestamp())
    return FastClock(start, speed, at)
