"""How the daemon and its state are, as a JSON document; `dryspell.answers.part` has the rules."""

from typing import Literal

from pydantic import Field

from dryspell.answers.part import Instant, Part

STATUS_SCHEMA: Literal["dryspell.status/1"] = "dryspell.status/1"

Level = Literal["good", "look", "bad"]
"""As it should be; worth a look; not as it should be."""


class Judged(Part):
    """A thing that was looked at: how it is, and what there is to say of it."""

    word: Level
    said: str = Field(description="what there is to say of it, for people")


class DaemonPart(Judged):
    """Whether a daemon runs on the state folder, and how its last tick went."""

    running: bool | None = Field(description="null where that cannot be told")
    process: int | None
    version: str | None
    started_at: Instant | None
    last_tick_at: Instant | None
    last_good_tick_at: Instant | None
    tick_s: float | None
    failed_ticks: int
    error: str | None = Field(description="why the last tick failed")


class SourcePart(Judged):
    """The weather of a site."""

    site: str
    source: str | None = Field(description="whose weather is gone by")
    issued_at: Instant | None
    age_h: float | None


class SensorPart(Judged):
    """A sensor."""

    sensor: str
    last_at: Instant | None = Field(description="the stamp of its last reading")
    age_s: float | None


class QueuePart(Judged):
    """What waits to be sent to one target."""

    target: str
    waiting: int
    oldest_at: Instant | None
    next_try_at: Instant | None
    failing_since: Instant | None
    error: str | None


class NextPart(Part):
    """The next thing that is planned, or that is to be sent."""

    at: Instant
    piece: str | None
    coat: int | None
    said: str = Field(description="the same, for people")


class StatePart(Judged):
    """The state file."""

    file: str
    version: int | None
    newest_version: int = Field(description="the version this program makes")
    size_bytes: int | None
    free_bytes: int | None = Field(description="on the disk that holds it")


class BackupPart(Judged):
    """The last copy of the state."""

    at: Instant | None
    file: str | None


class StatusDocument(Part):
    """How the daemon and its state are."""

    schema_: Literal["dryspell.status/1"] = Field(default=STATUS_SCHEMA, alias="schema")
    generated_at: Instant
    well: bool = Field(description="nothing is bad")
    config: Judged
    daemon: DaemonPart
    sources: list[SourcePart]
    sensors: list[SensorPart]
    queue: list[QueuePart]
    next: NextPart | None
    state: StatePart
    backup: BackupPart
