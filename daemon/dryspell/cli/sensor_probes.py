"""What `dryspell check` finds of sensors: what the state knows of their readings, and what their devices answer."""

from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from urllib.parse import urlsplit

import numpy as np

from dryspell.alerts.sensors import FEWEST, MOSTLY
from dryspell.cli.parts import Finding, Word
from dryspell.cli.sensor_devices import figure, look_at, plain
from dryspell.config import Config
from dryspell.errors import StoreError
from dryspell.outlook.figures import Units, duration
from dryspell.store import Store
from dryspell.store.readings import ROWS_FOR, Series
from dryspell.store.store import FILE_NAME, open_store
from dryspell.tick.hub import SHARE_OVER
from dryspell.weather.flags import WORDS, Flag
from dryspell.weather.sensors.model import Followed, Mqtt, Poll, Sensor
from dryspell.weather.sensors.push import PATH
from dryspell.weather.sensors.reading import Reading
from dryspell.weather.table import VARIABLES


@dataclass(frozen=True)
class _Known:
    """What the state knows of a sensor."""

    heard_at: datetime | None = None
    latest: Mapping[str, Reading] = field(default_factory=dict)
    lately: tuple[Series, ...] = ()


def sensors(config: Config, now: datetime, *, offline: bool = False) -> Iterator[Finding]:
    """Yield how each sensor does, by what the state knows and what a look at its device or file tells.

    Parameters
    ----------
    offline
        Ask no device.
    """
    known = _from_state(config, now)
    for key, sensor in config.sensor.items():
        where = f"in or on {sensor.piece}" if sensor.piece else f"in the open at {sensor.site}"
        problem, answer = look_at(sensor, now, offline=offline, units=config.alerting.units)
        theirs = known.get(key, _Known())
        odd = "; ".join(_odd(sensor, theirs, now))
        last = _last(sensor, theirs, now, config.alerting.units)
        said = [f"{key}: {_way(sensor)}, {where}", answer, last, odd, problem]
        word: Word = "bad" if problem else "look" if odd or not theirs.latest else "good"
        yield Finding("sensor", word, "; ".join(part for part in said if part))


def _way(sensor: Sensor) -> str:
    match sensor.way:
        case Mqtt(broker=broker, topic=topic):
            return f"{topic} of broker {broker}"
        case Poll(url=url, every_s=every_s):
            return f"{urlsplit(url).hostname} every {every_s:g} s"
        case Followed(path=path):
            return f"file {path}"
        case _:
            return f"pushed to {PATH}{sensor.key}"


def _last(sensor: Sensor, known: _Known, now: datetime, units: Units) -> str:
    """Return what was last read and when."""
    wanted = ", ".join(plain(measure.variable) for measure in sensor.read)
    if known.heard_at is None:
        return f"{wanted}: nothing has been read yet"
    if not known.latest:
        return (
            f"{wanted}: no good reading in {duration(ROWS_FOR)}, the last one of any kind {_ago(known.heard_at, now)}"
        )
    newest = max(reading.at for reading in known.latest.values())
    parts = []
    for measure in sensor.read:
        reading = known.latest.get(measure.variable)
        late = reading and (newest - reading.at).total_seconds() > sensor.silent_after_s
        value = "never" if reading is None else figure(reading.value, VARIABLES[measure.variable].unit, units)
        parts.append(f"{plain(measure.variable)} {value}{f' ({_ago(reading.at, now)})' if reading and late else ''}")
    return f"last good reading {_ago(newest, now)}: {', '.join(parts)}"


def _odd(sensor: Sensor, known: _Known, now: datetime) -> Iterator[str]:
    """Yield what is wrong with the readings of a sensor."""
    allowed = timedelta(seconds=sensor.silent_after_s)
    if known.heard_at is not None and now - known.heard_at > allowed:
        yield f"silent, where one in {duration(allowed)} is expected (while the daemon runs)"
    for series in known.lately:
        if series.flags[-1] == Flag.STUCK:
            yield f"{plain(series.variable)} is stuck at one value"
        elif (share := float(np.mean(series.flags != Flag.GOOD))) >= MOSTLY and series.flags.size >= FEWEST:
            most = Flag(int(np.bincount(series.flags[series.flags != Flag.GOOD]).argmax()))
            yield f"{100 * share:.0f} % of {plain(series.variable)} is not used, most of it because: {WORDS[most]}"


def _from_state(config: Config, now: datetime) -> dict[str, _Known]:
    """Return what the state knows of sensors; a state that nobody has made yet is not made here."""
    try:
        if not config.sensor or not (config.state_dir / FILE_NAME).exists():
            return {}
        with closing(open_store(config.state_dir)) as store:
            heard = store.last_arrivals()
            return {key: _known(store, key, sensor, heard.get(key), now) for key, sensor in config.sensor.items()}
    except (OSError, StoreError):
        return {}  # said of the state itself


def _known(store: Store, key: str, sensor: Sensor, heard_at: datetime | None, now: datetime) -> _Known:
    latest = {r.variable: r for r in store.latest_good(sensor.site, now, piece=sensor.piece or "") if r.sensor == key}
    lately = store.readings(sensor.site, now - SHARE_OVER, now, piece=sensor.piece or "", sensors=[key])
    return _Known(heard_at, latest, tuple(lately))


def _ago(at: datetime, now: datetime) -> str:
    return f"{duration(max(now - at, timedelta(0)))} ago"
