"""What there is to say of sensors and of sources of weather, as messages to those who hear of a piece there."""

import logging
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol, TypeVar

from pydantic import ValidationError

from dryspell.alerts.outages import OutageMemory
from dryspell.alerts.quiet import quiet_until
from dryspell.alerts.sensor_text import compose_sensor, sensor_notice_id
from dryspell.alerts.sensors import MEMORY_KEY, SensorHealth, SensorMemory, SensorNotice, decide_sensors
from dryspell.alerts.source_text import compose_source, source_notice_id
from dryspell.alerts.sources import SOURCE_MEMORY_KEY, SourceHealth, SourceMemory, SourceNotice, decide_sources
from dryspell.config import Config
from dryspell.store.notices import Message
from dryspell.tick.saying import quiet_for_all

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class News:
    """Messages, the memory to save with them by its key, and the keys of notices that hold no more."""

    messages: list[Message] = field(default_factory=list)
    memory: dict[str, str] = field(default_factory=dict)
    settled: set[str] = field(default_factory=set)


def sensor_news(
    config: Config, seen: Iterable[SensorHealth], memory: Mapping[str, str], now: datetime, live: Collection[str] = ()
) -> News:
    """Return what to say of sensors now; in quiet hours of their site nothing is decided.

    Parameters
    ----------
    seen
        How they do.
    memory
        All that the store remembers; what is of others is passed by.
    live
        The sites where somebody counts on the weather.
    """
    before = _read(memory, MEMORY_KEY, SensorMemory)
    notices, after, settled = decide_sensors(before, _awake(config, seen, now), now, live)
    return News([_of_sensor(config, notice) for notice in notices], _written(after, MEMORY_KEY), settled)


def source_news(
    config: Config, seen: Iterable[SourceHealth], memory: Mapping[str, str], now: datetime, live: Collection[str]
) -> News:
    """Return what to say of sources of weather now, as `sensor_news` does of sensors."""
    before = _read(memory, SOURCE_MEMORY_KEY, SourceMemory)
    notices, after, settled = decide_sources(before, _awake(config, seen, now), now, live)
    return News([_of_source(config, notice) for notice in notices], _written(after, SOURCE_MEMORY_KEY), settled)


class _AtSite(Protocol):
    @property
    def site(self) -> str: ...


H = TypeVar("H", bound=_AtSite)
M = TypeVar("M", bound=OutageMemory)


def _awake(config: Config, seen: Iterable[H], now: datetime) -> list[H]:
    quiet = quiet_for_all(config)
    return [health for health in seen if quiet_until(now, quiet, config.site[health.site].zone) is None]


def _read(memory: Mapping[str, str], begins: str, model: type[M]) -> dict[str, M]:
    read = {}
    for key, text in memory.items():
        if key.startswith(begins):
            try:
                read[key.removeprefix(begins)] = model.model_validate_json(text)
            except ValidationError:
                log.warning("what was said of %s cannot be read; something may be said twice", key)
    return read


def _written(memory: Mapping[str, OutageMemory], begins: str) -> dict[str, str]:
    return {begins + key: remembered.model_dump_json() for key, remembered in memory.items()}


def _of_sensor(config: Config, notice: SensorNotice) -> Message:
    health = notice.health
    site = config.site[health.site]
    at = config.piece[health.piece] if health.piece else None
    pieces = [key for key, piece in config.piece.items() if piece.site == health.site and at in (None, piece)]
    words = compose_sensor(notice, at.name if at else site.name, site.zone)
    return _message(
        config, notice, pieces, words, message_id=sensor_notice_id(notice), about=MEMORY_KEY + health.sensor
    )


def _of_source(config: Config, notice: SourceNotice) -> Message:
    site = config.site[notice.health.site]
    pieces = [key for key, piece in config.piece.items() if piece.site == site.key]
    words = compose_source(notice, site.name, site.zone, config.weather.stale_after_h)
    topic = f"{SOURCE_MEMORY_KEY}{notice.health.key}"
    return _message(config, notice, pieces, words, message_id=source_notice_id(notice), about=site.key, topic=topic)


def _message(
    config: Config,
    notice: SensorNotice | SourceNotice,
    pieces: Collection[str],
    words: tuple[str, str],
    *,
    message_id: str,
    about: str,
    topic: str = "",
) -> Message:
    """Return a message to those who hear of one of the pieces."""
    title, body = words
    return Message(
        id=message_id,
        key=notice.key,
        piece=about,
        kind=notice.kind,
        title=title,
        body=body,
        created_at=notice.created_at,
        expires_at=notice.expires_at,
        targets=tuple(
            key
            for key, target in config.alerts.items()
            if target.hears(notice.kind, notice.level) and any(target.hears_of(piece) for piece in pieces)
        ),
        topic=topic,
    )
