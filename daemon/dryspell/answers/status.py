"""How the daemon and its state are, looked at from outside: nothing is written, nobody asked, no file made.

Each part is looked at by itself, so that one that cannot be read keeps no other from being told.
"""

import os
import shutil
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar
from zoneinfo import ZoneInfo

from dryspell.answers.status_document import (
    BackupPart,
    DaemonPart,
    Judged,
    Level,
    NextPart,
    QueuePart,
    SensorPart,
    SourcePart,
    StatePart,
    StatusDocument,
)
from dryspell.config import Config
from dryspell.errors import StoreError
from dryspell.outlook.figures import duration, when
from dryspell.store.backup import FOLDER
from dryspell.store.last_backup import last_backup
from dryspell.store.lock import holder
from dryspell.store.readonly import ReadOnlyStore, open_store_to_read
from dryspell.store.schema import MIGRATIONS, newer
from dryspell.store.store import FILE_NAME
from dryspell.tick.heartbeat import Heartbeat, read_heartbeat

if TYPE_CHECKING:
    from dryspell.outlook.plan_model import Plan
    from dryspell.store.notices import Failing, Queued

T = TypeVar("T")

# No source for these.
TICKS_LATE = 3
LATE_AT_LEAST = timedelta(minutes=2)
"""A tick is late after three of them, and after two minutes where they are quick."""
BACKUP_AGE = timedelta(days=30)
LITTLE_FREE, HARDLY_FREE = 100_000_000, 5_000_000
WAITS_LONG = timedelta(hours=1)


def status_of(
    config: Config | None, problems: list[str], state_dir: Path, now: datetime, zone: ZoneInfo
) -> StatusDocument:
    """Return how everything is.

    Parameters
    ----------
    config
        None where it cannot be read: `problems` then says why, and what needs it is left out.
    state_dir
        The folder of the state.
    zone
        For times in texts.
    """
    daemon, beat = _daemon(state_dir, now)
    running = bool(daemon.running)
    state, store = _state(state_dir)
    try:
        sources = _sources(config, store, beat if running else None, now) if config else []
        sensors = _sensors(config, store, beat if running else None, now) if config else []
        queue = _queue(config, store, now)
        coming = _coming(store, now, zone)
    finally:
        if store:
            store.close()
    parts = _config(config, problems, beat if running else None), daemon, state, _backup(state_dir, now)
    judged = [*parts, *sources, *sensors, *queue]
    return StatusDocument(
        generated_at=now,
        well=all(part.word != "bad" for part in judged),
        config=parts[0],
        daemon=daemon,
        sources=sources,
        sensors=sensors,
        queue=queue,
        next=coming,
        state=state,
        backup=parts[3],
    )


def _config(config: Config | None, problems: list[str], beat: Heartbeat | None) -> Judged:
    if config is None:
        more = f" (and {len(problems) - 1} more: `dryspell check`)" if len(problems) > 1 else ""
        going_on = "; the daemon goes on with the last good one" if beat else ""
        return Judged(word="bad", said=f"{problems[0]}{more}{going_on}")
    if beat and beat.config_problem:
        return Judged(word="bad", said=f"the daemon has not taken the changed one: {beat.config_problem}")
    return Judged(word="good", said=str(config.file))


def _daemon(state_dir: Path, now: datetime) -> tuple[DaemonPart, Heartbeat | None]:
    beat = read_heartbeat(state_dir)
    try:
        process = holder(state_dir)
        unknown = ""
    except StoreError as error:
        process, unknown = None, str(error)
    if unknown:
        word, said = _said("bad", unknown)
    elif process is None:
        last = f"; its last tick was {_ago(now, beat.at)}" if beat else ""
        word, said = _said("bad", f"does not run{last}")
    elif beat is None or beat.process != process:
        word, said = _said("look", f"process {process} runs, and has not ended a tick yet")
    else:
        word, said = _ticking(beat, now)
    running = None if unknown else process is not None
    return DaemonPart(
        word=word,
        said=said,
        running=running,
        process=process,
        version=beat.version if beat and running else None,
        started_at=beat.started_at if beat and running else None,
        last_tick_at=beat.at if beat else None,
        last_good_tick_at=beat.last_good_at if beat else None,
        tick_s=beat.tick_s if beat else None,
        failed_ticks=beat.failures if beat else 0,
        error=(beat.error or None) if beat else None,
    ), beat


def _ticking(beat: Heartbeat, now: datetime) -> tuple[Level, str]:
    runs = f"process {beat.process} has run for {_long(now - beat.started_at)}"
    late = max(TICKS_LATE * timedelta(seconds=beat.tick_s), LATE_AT_LEAST)
    if now - beat.at > late:
        return _said("bad", f"{runs}, but has not ended a tick since {_ago(now, beat.at)}: it hangs, or was stopped")
    if beat.failures:
        good = f"the last good one {_ago(now, beat.last_good_at)}" if beat.last_good_at else "none was good"
        return _said("bad", f"{runs}; {beat.failures} ticks failed, {good}: {beat.error}")
    if beat.unjudged:
        piece, why = next(iter(beat.unjudged.items()))
        more = f" (and {len(beat.unjudged) - 1} more)" if len(beat.unjudged) > 1 else ""
        return _said("bad", f"{runs}; {piece} could not be judged: {why}{more}")
    if beat.at - now > late:
        return _said("look", f"{runs}; its last tick is {duration(beat.at - now)} ahead: the clock was set back")
    return _said("good", f"{runs}, version {beat.version}; last tick {_ago(now, beat.at)}")


def _state(state_dir: Path) -> tuple[StatePart, ReadOnlyStore | None]:
    file = state_dir / FILE_NAME
    store: ReadOnlyStore | None = None
    version: int | None = None
    size = sum(_size(file.with_name(file.name + ending)) for ending in ("", "-wal")) if file.exists() else None
    free = _or(lambda: shutil.disk_usage(state_dir).free, None)
    try:
        store = open_store_to_read(state_dir)
        version = store.version
        store.check()
        word, said = _state_text(state_dir, version, size, free)
    except StoreError as error:
        word, said = _said("bad", str(error))
    part = StatePart(
        word=word,
        said=said,
        file=str(file),
        version=version,
        newest_version=len(MIGRATIONS),
        size_bytes=size,
        free_bytes=free,
    )
    if word == "bad" and version is not None and version > len(MIGRATIONS) and store:
        store.close()
        store = None
    return part, store


def _state_text(state_dir: Path, version: int, size: int | None, free: int | None) -> tuple[Level, str]:
    file = state_dir / FILE_NAME
    known = len(MIGRATIONS)
    if version > known:
        raise StoreError(newer(str(file), version, known))
    told = f"{file}: {_megabytes(size or 0)}, version {version}, whole"
    if not all(os.access(path, os.W_OK) for path in (state_dir, file)):
        return _said("bad", f"{told}, but it cannot be written to by who asks here")
    if free is not None and free < HARDLY_FREE:
        return _said("bad", f"{told}; the disk is full: {_megabytes(free)} free")
    if free is not None and free < LITTLE_FREE:
        return _said("look", f"{told}; little is free on the disk: {_megabytes(free)}")
    if version < known:
        return _said("look", f"{told}; it is brought to {known}, and a copy kept, by what opens it next")
    return _said("good", f"{told}; {_megabytes(free)} free" if free is not None else told)


def _sources(config: Config, store: ReadOnlyStore | None, beat: Heartbeat | None, now: datetime) -> list[SourcePart]:
    found = []
    for site in dict.fromkeys(piece.site for piece in config.piece.values()):
        table = _or(lambda site=site: store.last_forecast(site) if store else None, None)  # type: ignore[misc]
        failing = [each for each in (beat.sources if beat else ()) if each.site == site and each.failing_since]
        of_them = "; ".join(f"{each.source} gives nothing: {each.error}" for each in failing)
        if table is None:
            word, said = _said("bad", f"{site}: no weather is kept" + (f"; {of_them}" if of_them else ""))
            found.append(SourcePart(word=word, said=said, site=site, source=None, issued_at=None, age_h=None))
            continue
        age = now - table.issued_at
        limit_h = config.weather.stale_after_h + table.cycle_h
        told = f"{site}: {table.source}, issued {_ago(now, table.issued_at)}"
        if age > timedelta(hours=limit_h):
            word, said = _said("bad", f"{told}, too old to go by" + (f"; {of_them}" if of_them else ""))
        elif failing:
            word, said = _said("look", f"{told}; {of_them}")
        else:
            word, said = _said("good", told)
        age_h = round(age.total_seconds() / 3600, 2)
        found.append(
            SourcePart(word=word, said=said, site=site, source=table.source, issued_at=table.issued_at, age_h=age_h)
        )
    return found


def _sensors(config: Config, store: ReadOnlyStore | None, beat: Heartbeat | None, now: datetime) -> list[SensorPart]:
    nothing: Mapping[str, datetime] = {}
    last = _or(store.last_arrivals, nothing) if store else nothing
    health = {each.sensor: each for each in (beat.sensors if beat else ())}
    found = []
    for key, sensor in config.sensor.items():
        at = last.get(key)
        trouble = health[key].trouble if key in health else None
        if at is None:
            word, said = _said("bad", f"{key}: never heard")
        elif now - at > timedelta(seconds=sensor.silent_after_s):
            word, said = _said("bad", f"{key}: silent, last read {_ago(now, at)}")
        elif trouble:
            word, said = _said("bad", f"{key}: {trouble}; last read {_ago(now, at)}")
        else:
            word, said = _said("good", f"{key}: last read {_ago(now, at)}")
        age_s = None if at is None else round((now - at).total_seconds(), 1)
        found.append(SensorPart(word=word, said=said, sensor=key, last_at=at, age_s=age_s))
    return found


def _queue(config: Config | None, store: ReadOnlyStore | None, now: datetime) -> list[QueuePart]:
    if store is None:
        return []
    waiting: dict[str, Queued] = _or(store.queued, {})
    failing: dict[str, Failing] = _or(store.failing, {})
    # A target that was taken out of the configuration is nobody's trouble.
    targets = list(config.alerts) if config else list(waiting)
    found = []
    for target in targets:
        queued, fails = waiting.get(target), failing.get(target)
        count = queued.count if queued else 0
        waits = f"{count} waiting, the oldest from {_ago(now, queued.oldest_at)}" if queued else "nothing waits"
        told = f"{target}: {waits}"
        if fails and queued:
            word, said = _said("bad", f"{told}; it takes nothing since {_ago(now, fails.since)}: {fails.error}")
        elif fails:
            word, said = _said("look", f"{told}; it took nothing of the last {fails.notices}: {fails.error}")
        elif queued and now - queued.oldest_at > WAITS_LONG:
            word, said = _said("look", told)
        else:
            word, said = _said("good", told)
        found.append(
            QueuePart(
                word=word,
                said=said,
                target=target,
                waiting=count,
                oldest_at=queued.oldest_at if queued else None,
                next_try_at=queued.next_try_at if queued else None,
                failing_since=fails.since if fails else None,
                error=(fails.error or None) if fails else None,
            )
        )
    return found


def _coming(store: ReadOnlyStore | None, now: datetime, zone: ZoneInfo) -> NextPart | None:
    if store is None:
        return None
    plans: dict[str, Plan] = _or(store.plans, {})
    coming = [
        NextPart(
            at=coat.start,
            piece=plan.piece,
            coat=coat.number,
            said=f"{plan.piece_name}, coat {coat.number}: {when(coat.start, ZoneInfo(plan.timezone), now)}",
        )
        for plan in plans.values()
        for coat in plan.planned
        if coat.start >= now
    ]
    queued: dict[str, Queued] = _or(store.queued, {})
    coming += [
        NextPart(
            at=each.next_try_at,
            piece=None,
            coat=None,
            said=f"{target}: tried again {when(each.next_try_at, zone, now)}",
        )
        for target, each in queued.items()
        if each.next_try_at >= now
    ]
    return min(coming, key=lambda each: each.at, default=None)


def _backup(state_dir: Path, now: datetime) -> BackupPart:
    asked = last_backup(state_dir)
    copies = [(_time_of(path), str(path)) for path in (state_dir / FOLDER).glob("dryspell-v*")]
    copies += [(asked.at, asked.file)] if asked else []
    if not copies:
        return BackupPart(
            word="look", said="no copy was ever made: `dryspell backup FOLDER` makes one", at=None, file=None
        )
    at, file = max(copies)
    word, said = _said("look" if now - at > BACKUP_AGE else "good", f"the last one {_ago(now, at)}: {file}")
    return BackupPart(word=word, said=said, at=at, file=file)


def _said(word: Level, text: str) -> tuple[Level, str]:
    return word, " ".join(text.split())


def _or(ask: Callable[[], T], otherwise: T) -> T:
    """Return what is there, or something else where it cannot be read: that it cannot is told once, of the state."""
    try:
        return ask()
    except (StoreError, OSError):
        return otherwise


def _ago(now: datetime, at: datetime) -> str:
    return f"{_long(now - at)} ago"


def _long(length: timedelta) -> str:
    if length < timedelta(minutes=1):
        return f"{max(0, round(length.total_seconds()))} s"
    return duration(length)


def _megabytes(size: int) -> str:
    return f"{size / 1e6:.1f} MB" if size < 1e10 else f"{size / 1e9:.0f} GB"


def _size(path: Path) -> int:
    return _or(lambda: path.stat().st_size, 0)


def _time_of(path: Path) -> datetime:
    return datetime.fromtimestamp(_or(lambda: path.stat().st_mtime, 0.0), UTC)
