"""What `dryspell check` has to try out: whether the weather answers, and whether the state can be written."""

import os
from collections.abc import Iterator, Mapping
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

from dryspell.cli.parts import Finding
from dryspell.config import Config
from dryspell.config.services import NETWORK_KINDS
from dryspell.errors import StoreError, WeatherError
from dryspell.outlook.figures import duration, when
from dryspell.store.store import FILE_NAME, open_store
from dryspell.tick.learned import learned
from dryspell.tick.look import look
from dryspell.tick.sources import sources_of
from dryspell.weather.sources import Source
from dryspell.weather.table import WeatherTable


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
    if not is_there(file):
        above = next(folder for folder in (config.state_dir, *config.state_dir.parents) if is_there(folder))
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
    if not is_there(config.state_dir / FILE_NAME):
        return config
    try:
        with closing(open_store(config.state_dir)) as store:
            return learned(config, store.progress_seen())
    except StoreError:
        return config


def is_there(path: Path) -> bool:
    """Say whether there is something at a path, as far as we may look."""
    try:
        return path.exists()
    except OSError:
        return False  # behind a folder that is closed to us
