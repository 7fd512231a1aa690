"""What there is to say of sensors, as messages to those who hear of a piece there."""

import logging
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from pydantic import ValidationError

from dryspell.alerts.quiet import quiet_until
from dryspell.alerts.sensor_text import compose_sensor, sensor_notice_id
from dryspell.alerts.sensors import MEMORY_KEY, SensorHealth, SensorMemory, SensorNotice, decide_sensors
from dryspell.config import Config
from dryspell.store.outbox import Message
from dryspell.tick.saying import habits_of

log = logging.getLogger(__name__)


@dataclass(frozen=True)
class SensorNews:
    """Messages, the memory to save with them by its key, and the keys of notices that hold no more."""

    messages: list[Message] = field(default_factory=list)
    memory: dict[str, str] = field(default_factory=dict)
    settled: set[str] = field(default_factory=set)


def sensor_news(
    config: Config,
    seen: Iterable[SensorHealth],
    memory: Mapping[str, str],
    now: datetime,
    live: Collection[str] = (),
) -> SensorNews:
    """Return what to say of sensors now; in quiet hours of their site nothing is decided.

    Parameters
    ----------
    seen
        How they do.
    live
        The sites where somebody counts on the weather.
    memory
        All that the store remembers; what is of pieces is passed by.
    """
    quiet = habits_of(config).quiet
    awake = [health for health in seen if quiet_until(now, quiet, config.site[health.site].zone) is None]
    notices, after, settled = decide_sensors(_read(memory), awake, now, live)
    return SensorNews(
        [_message(config, notice) for notice in notices],
        {MEMORY_KEY + sensor: remembered.model_dump_json() for sensor, remembered in after.items()},
        settled,
    )


def _read(memory: Mapping[str, str]) -> dict[str, SensorMemory]:
    read = {}
    for key, text in memory.items():
        if key.startswith(MEMORY_KEY):
            try:
                read[key.removeprefix(MEMORY_KEY)] = SensorMemory.model_validate_json(text)
            except ValidationError:
                log.warning("what was said of %s cannot be read; something may be said twice", key)
    return read


def _message(config: Config, notice: SensorNotice) -> Message:
    health = notice.health
    site = config.site[health.site]
    at = config.piece[health.piece] if health.piece else None
    pieces = [key for key, piece in config.piece.items() if piece.site == health.site and at in (None, piece)]
    title, body = compose_sensor(notice, at.name if at else site.name, site.zone)
    return Message(
        id=sensor_notice_id(notice),
        key=notice.key,
        piece=MEMORY_KEY + health.sensor,
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
    )
