"""What `dryspell check` has to try out: whether the weather answers, the state can be written, alerts can be sent."""

import os
from collections.abc import Iterator, Mapping
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

from dryspell.alerts.apprise_sender import AppriseSender
from dryspell.alerts.deliver import SendError
from dryspell.cli.parts import Finding
from dryspell.config import Config
from dryspell.config.settings import NETWORK_KINDS
from dryspell.errors import StoreError, WeatherError
from dryspell.outlook.figures import duration, when
from dryspell.store.outbox import Failing
from dryspell.store.store import FILE_NAME, open_store
from dryspell.tick import look, sources_of
from dryspell.tick.learned import learned
from dryspell.weather.sources import Source
from dryspell.weather.table import WeatherTable

TEST_TITLE = "dryspell: a test"
TEST_BODY = "Sent by `dryspell check --send`, to see that alerts reach you. There is nothing to do."


def weather(
    config: Config, now: datetime, *, offline: bool = False, sources: Mapping[str, Source] | None = None
) -> Iterator[Finding]:
    """Yield whether the weather answers for each site with pieces, asked and read as the daemon does it.

    Parameters
    ----------
    offline
        Ask nobody; a file is read all the same.
    sources
        By site, instead of those of the configuration.
    """
    if sources is None:
        # A state that nobody has made yet is not made here: whoever runs this may not be who runs the daemon.
        by_sensors = any("sensors" in config.sources_of(site) for site in config.site.values())
        if by_sensors and (config.state_dir / FILE_NAME).exists():
            with closing(open_store(config.state_dir)) as store:
                yield from weather(config, now, offline=offline, sources=sources_of(config, store))
            return
        sources = sources_of(config, None)
    for site in dict.fromkeys(piece.site for piece in config.piece.values()):
        if offline and (asked := [kind for kind in config.sources_of(config.site[site]) if kind in NETWORK_KINDS]):
            not_asked = f"{' and '.join(asked)} {'was' if len(asked) == 1 else 'were'} not asked"
            yield Finding("weather", "skipped", f"{site}: {not_asked}")
            continue
        try:
            table = sources[site].fetch(now)
        except WeatherError as error:
            yield Finding("weather", "bad", f"{site}: {error}")
        else:
            yield _weather(config, site, table, now)


def _weather(config: Config, site: str, table: WeatherTable, now: datetime) -> Finding:
    outlooks = [outlook for outlook in look(config, {}, {site: table}, now) if outlook.site == site]
    age, zone = now - table.issued_at, config.site[site].zone
    limit_h = config.weather.stale_after_h + table.cycle_h
    said = [f"{site}: {table.source} answers"]
    missing = dict.fromkeys(name for outlook in outlooks for name in outlook.missing)
    reaches = min((o.weather.reaches for o in outlooks if o.weather and o.weather.reaches), default=None)
    bad = True
    if missing:
        said.append(f"it does not tell {' and '.join(missing)}, which is needed")
    elif age > timedelta(hours=limit_h):
        said.append(f"issued {duration(age)} ago, and nothing older than {limit_h:g} h is acted on (stale_after)")
    elif reaches is None or reaches <= now:
        said.append("it knows nothing from now on")
    else:
        bad = False
        said.append(f"issued {duration(max(age, timedelta(0)))} ago, reaches to {when(reaches, zone, now)}")
    said += [*table.notes, *([table.attribution] if table.attribution else [])]
    return Finding("weather", "bad" if bad else "look" if table.notes else "good", "; ".join(said))


def state(config: Config) -> Finding:
    """Return whether the state can be kept; nothing is made that is not there yet."""
    file = config.state_dir / FILE_NAME
    if not _is_there(file):
        above = next(folder for folder in (config.state_dir, *config.state_dir.parents) if _is_there(folder))
        if above.is_dir() and os.access(above, os.W_OK | os.X_OK):
            return Finding("state", "good", f"{file}: will be made at the first start")
        return Finding("state", "bad", f"{file}: cannot be made, for {above} cannot be written to; check who owns it")
    try:
        open_store(config.state_dir).close()
    except StoreError as error:
        return Finding("state", "bad", str(error))
    return Finding("state", "good", f"{file}: can be written")


def taught(config: Config) -> Config:
    """Return the configuration with the pace that the recorded coats have taught; as it is where none can be read."""
    if not _is_there(config.state_dir / FILE_NAME):
        return config
    try:
        with closing(open_store(config.state_dir)) as store:
            return learned(config, store.progress_seen())
    except StoreError:
        return config


def _is_there(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:
        return False  # behind a folder that is closed to us


def _failing(config: Config) -> dict[str, Failing]:
    if not _is_there(config.state_dir / FILE_NAME):
        return {}
    try:
        with closing(open_store(config.state_dir)) as store:
            return store.failing()
    except StoreError:
        return {}  # said of the state itself


def alerts(config: Config, now: datetime, *, send: bool = False) -> Iterator[Finding]:
    """Yield whether Apprise takes each target's address, and with `send` whether a test message was taken.

    A target that has not taken what the daemon sent it is bad, unless it takes a test now.
    """
    if not config.alerts:
        yield Finding("alert", "look", "no target: what there is to say stands in the log only")
    failing = _failing(config)
    sender = AppriseSender({key: target.url.get_secret_value() for key, target in config.alerts.items()})
    for key, target in config.alerts.items():
        who = f"{key}: {target.scheme}"
        about = "all pieces" if target.pieces is None else ", ".join(target.pieces)
        try:
            sender.check(key)
            if send:
                sender.send(key, TEST_TITLE, TEST_BODY)
        except SendError as error:
            yield Finding("alert", "bad", f"{who} {error}")
            continue
        if (failed := failing.get(key)) and not send:
            many = f"{failed.notices} {'notice' if failed.notices == 1 else 'notices'}"
            said = f", the last time because {failed.error}" if failed.error else ""
            ago = duration(max(now - failed.since, timedelta(0)))
            yield Finding("alert", "bad", f"{who} has taken none of {many} since {ago} ago{said}")
        else:
            did = "a test was sent; see that it came" if send else "Apprise knows the address; nothing was sent"
            yield Finding("alert", "good", f"{who} about {about}: {did}")
