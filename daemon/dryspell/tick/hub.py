"""Where all readings arrive: they are looked over, kept, and what there is to say of their sensors is known."""

import logging
import math
import threading
from collections import Counter, deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Protocol

import numpy as np

from dryspell.alerts.sensors import FEWEST, SensorHealth
from dryspell.clock import Clock
from dryspell.store import Store
from dryspell.store.database import instant, seconds
from dryspell.store.readings import Checked, Series
from dryspell.weather.flags import Flag
from dryspell.weather.quality import LOOK_BACK, SPIKE_WITHIN_S, TOGETHER_S, Place, flags
from dryspell.weather.sensors.reading import Reading
from dryspell.weather.table import FloatArray, TimeArray

log = logging.getLogger(__name__)

SHARE_OVER = timedelta(hours=3)
"""The share of flagged readings is that of this time (no source)."""
KEEP = timedelta(days=400)


class Sensor(Protocol):
    """What the hub wants to know of a sensor."""

    @property
    def name(self) -> str:
        """What to call it."""
        ...

    @property
    def site(self) -> str:
        """The key of its site."""
        ...

    @property
    def piece(self) -> str | None:
        """The key of the piece it is on or in; None where it reads the open air."""
        ...

    @property
    def silent_after_s(self) -> float:
        """How long it may say nothing. [s]"""
        ...


@dataclass
class _Heard:
    """What has come of a sensor."""

    last_at: datetime | None = None
    last_good_at: datetime | None = None
    flags: deque[tuple[datetime, Counter[tuple[str, Flag]]]] = field(default_factory=deque)
    newest: dict[str, tuple[int, Flag]] = field(default_factory=dict)


class Hub:
    """Takes readings in from any thread; what it returns from is kept for good.

    Parameters
    ----------
    sensors
        By key.
    places
        Of the sites, by key: for the test of sunshine.
    keep
        How long readings are kept: older ones are of no use.
    """

    def __init__(
        self,
        sensors: Mapping[str, Sensor],
        store: Store,
        clock: Clock,
        *,
        places: Mapping[str, Place] | None = None,
        keep: timedelta = KEEP,
    ) -> None:
        self._sensors = sensors
        self._store = store
        self._clock = clock
        self._places = places or {}
        self._keep = keep
        self._lock = threading.Lock()
        self._begun_at = clock.now()
        last = store.last_arrivals()
        self._heard = {key: _Heard(last_at=last.get(key)) for key in sensors}
        for site, piece in {(sensor.site, sensor.piece or "") for sensor in sensors.values()}:
            for reading in store.latest_good(site, self._begun_at, piece=piece):
                if heard := self._heard.get(reading.sensor):
                    heard.last_good_at = max(heard.last_good_at or reading.at, reading.at)

    def take(self, readings: Sequence[Reading]) -> None:
        """Look readings over and keep them, flagged ones as well.

        Raises
        ------
        StoreError
            They are not kept, none of them.
        """
        with self._lock:
            now = self._clock.now()
            checked = [
                each
                for key, theirs in self._by_sensor(readings).items()
                for together in _together(theirs)
                for each in self._checked(key, together, now)
            ]
            self._store.keep_readings(checked)
            # Only what is kept has been heard: it may have to be said again.
            new = {(reading.sensor, reading.variable, seconds(reading.at)) for reading in readings}
            self._note([each for each in checked if _name(each.reading) in new], now)

    def health(self, now: datetime) -> list[SensorHealth]:
        """Return how every sensor does."""
        with self._lock:
            return [self._health(key, sensor, now) for key, sensor in self._sensors.items()]

    def _by_sensor(self, readings: Sequence[Reading]) -> dict[str, list[Reading]]:
        found: dict[str, list[Reading]] = {}
        for reading in readings:
            if reading.sensor not in self._sensors or not math.isfinite(reading.value):
                log.warning("a reading of %s is left out: %s", reading.sensor, _why_not(reading))
                continue
            found.setdefault(reading.sensor, []).append(reading)
        return found

    def _checked(self, key: str, readings: list[Reading], now: datetime) -> list[Checked]:
        """Return a sensor's new readings with their flags, and those kept before whose flag has changed."""
        sensor = self._sensors[key]
        piece = sensor.piece or ""
        first, last = min(reading.at for reading in readings), max(reading.at for reading in readings)
        kept = {
            series.variable: series
            for series in self._store.readings(
                sensor.site,
                first - LOOK_BACK,
                last + timedelta(seconds=max(SPIKE_WITHIN_S, TOGETHER_S)),
                piece=piece,
                sensors=[key],
            )
        }
        merged = {
            variable: _merged(kept.get(variable), [r for r in readings if r.variable == variable])
            for variable in {*kept, *(reading.variable for reading in readings)}
        }
        company = {variable: (times, values) for variable, (times, values, _) in merged.items()}
        place = None if piece else self._places.get(sensor.site)
        checked = []
        for variable in dict.fromkeys(reading.variable for reading in readings):
            times, values, before = merged[variable]
            found = flags(times, values, variable, now=now, keep=self._keep, company=company, place=place)
            # A reading kept before is looked at again for one thing only: whether it was a spike.
            changed = (before < 0) | ((before == Flag.GOOD) & (found == Flag.SPIKE))
            for at in np.flatnonzero(changed):
                moment = instant(int(times[at].astype(np.int64)))
                reading = Reading(key, variable, moment, float(values[at]))
                checked.append(Checked(sensor.site, piece, reading, Flag(found[at])))
        return checked

    def _note(self, checked: Sequence[Checked], now: datetime) -> None:
        came: dict[str, Counter[tuple[str, Flag]]] = {}
        for each in checked:
            heard, at = self._heard[each.reading.sensor], each.reading.at
            came.setdefault(each.reading.sensor, Counter())[each.reading.variable, each.flag] += 1
            if each.flag is not Flag.FUTURE:
                heard.last_at = max(heard.last_at or at, at)
                stamp, _ = heard.newest.get(each.reading.variable, (0, Flag.GOOD))
                if seconds(at) >= stamp:
                    heard.newest[each.reading.variable] = (seconds(at), each.flag)
            if each.flag is Flag.GOOD:
                heard.last_good_at = max(heard.last_good_at or at, at)
        for key, count in came.items():
            self._heard[key].flags.append((now, count))

    def _health(self, key: str, sensor: Sensor, now: datetime) -> SensorHealth:
        heard = self._heard[key]
        while heard.flags and heard.flags[0][0] < now - SHARE_OVER:
            heard.flags.popleft()
        worst, count = _worst(sum((each for _, each in heard.flags), Counter[tuple[str, Flag]]()))
        total, good = count.total(), count.pop(Flag.GOOD, 0)
        may_be_quiet = timedelta(seconds=sensor.silent_after_s)
        # What was said while this daemon was away is not known.
        quiet_since = max(heard.last_at or self._begun_at, self._begun_at)
        return SensorHealth(
            sensor=key,
            name=sensor.name,
            site=sensor.site,
            piece=sensor.piece,
            silent_after_s=sensor.silent_after_s,
            silent=now - quiet_since > may_be_quiet,
            fresh=heard.last_good_at is not None and now - heard.last_good_at <= may_be_quiet,
            last_heard_at=heard.last_at,
            last_good_at=heard.last_good_at,
            stuck=tuple(sorted(name for name, (_, flag) in heard.newest.items() if flag is Flag.STUCK)),
            worst=worst,
            readings=total,
            flagged_share=1.0 - good / total if total else 0.0,
            main_flag=count.most_common(1)[0][0] if count else Flag.GOOD,
        )


def _merged(kept: Series | None, new: Sequence[Reading]) -> tuple[TimeArray, FloatArray, np.ndarray]:
    """Return readings kept and new in order of time, and the flags of those kept, -1 for the new ones."""
    at = np.array([seconds(reading.at) for reading in new], dtype=np.int64)
    times, values, before = at, np.array([reading.value for reading in new]), np.full(at.size, -1)
    if kept is not None:
        times = np.concatenate([kept.times.astype(np.int64), times])
        values = np.concatenate([kept.values, values])
        before = np.concatenate([kept.flags.astype(np.int64), before])
    ascending, first = np.unique(times, return_index=True)
    return ascending.astype("datetime64[s]"), values[first], before[first]


def _together(readings: Sequence[Reading]) -> list[list[Reading]]:
    """Return readings in groups too far apart to be judged by each other: one clock set to 1970 reads no year in."""
    groups: list[list[Reading]] = []
    for reading in sorted(readings, key=lambda reading: reading.at):
        if not groups or reading.at - groups[-1][-1].at > LOOK_BACK:
            groups.append([])
        groups[-1].append(reading)
    return groups


def _worst(count: Counter[tuple[str, Flag]]) -> tuple[str, Counter[Flag]]:
    """Return the variable most of whose readings are flagged, of those of which enough came, and its flags counted."""
    of: dict[str, Counter[Flag]] = {}
    for (variable, flag), number in count.items():
        of.setdefault(variable, Counter())[flag] += number
    many = {variable: flags for variable, flags in of.items() if flags.total() >= FEWEST} or of
    return min(many.items(), key=lambda item: item[1][Flag.GOOD] / item[1].total(), default=("", Counter[Flag]()))


def _name(reading: Reading) -> tuple[str, str, int]:
    return reading.sensor, reading.variable, seconds(reading.at)


def _why_not(reading: Reading) -> str:
    return "there is no such sensor" if math.isfinite(reading.value) else f"{reading.variable} is no number"
