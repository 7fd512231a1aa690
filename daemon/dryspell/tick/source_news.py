"""What there is to say of sources of weather, as messages to those who hear of a piece there."""

import logging
from collections.abc import Collection, Iterable, Mapping
from datetime import datetime

from pydantic import ValidationError

from dryspell.alerts.quiet import quiet_until
from dryspell.alerts.source_text import compose_source, source_notice_id
from dryspell.alerts.sources import SOURCE_MEMORY_KEY, SourceHealth, SourceMemory, SourceNotice, decide_sources
from dryspell.config import Config
from dryspell.store.outbox import Message
from dryspell.tick.saying import habits_of
from dryspell.tick.sensor_news import SensorNews

log = logging.getLogger(__name__)


def source_news(
    config: Config,
    seen: Iterable[SourceHealth],
    memory: Mapping[str, str],
    now: datetime,
    live: Collection[str],
) -> SensorNews:
    """Return what to say of sources of weather now; in quiet hours of their site nothing is decided.

    Parameters
    ----------
    seen
        How they do.
    memory
        All that the store remembers; what is of others is passed by.
    live
        The sites where somebody counts on the weather.
    """
    quiet = habits_of(config).quiet
    awake = [health for health in seen if quiet_until(now, quiet, config.site[health.site].zone) is None]
    notices, after, settled = decide_sources(_read(memory), awake, now, live)
    return SensorNews(
        [_message(config, notice) for notice in notices],
        {SOURCE_MEMORY_KEY + key: remembered.model_dump_json() for key, remembered in after.items()},
        settled,
    )


def _read(memory: Mapping[str, str]) -> dict[str, SourceMemory]:
    read = {}
    for key, text in memory.items():
        if key.startswith(SOURCE_MEMORY_KEY):
            try:
                read[key.removeprefix(SOURCE_MEMORY_KEY)] = SourceMemory.model_validate_json(text)
            except ValidationError:
                log.warning("what was said of %s cannot be read; something may be said twice", key)
    return read


def _message(config: Config, notice: SourceNotice) -> Message:
    site = config.site[notice.health.site]
    pieces = [key for key, piece in config.piece.items() if piece.site == site.key]
    title, body = compose_source(notice, site.name, site.zone, config.weather.stale_after_h)
    return Message(
        id=source_notice_id(notice),
        key=notice.key,
        piece=site.key,
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
        topic=f"{SOURCE_MEMORY_KEY}{notice.health.key}",
    )
