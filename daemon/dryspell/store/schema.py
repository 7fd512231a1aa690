"""The tables, and how an older file becomes a newer one.

Every instant is an integer of UTC seconds. Coats, verdicts and notices are not deleted: a coat taken back and a notice
dropped carry the instant at which that happened, and what was done to a coat is told in full beside it. Readings and
forecasts as issued go when their time is over.
"""

import sqlite3
from collections.abc import Callable, Sequence
from pathlib import Path

from dryspell.errors import StoreError

APPLICATION_ID = 0x44525953
"""Marks the file as ours ("DRYS"), so that a database of something else is not written to."""

Migration = Sequence[str]

_FIRST: Migration = (
    """
    CREATE TABLE coats (
        id INTEGER PRIMARY KEY,
        piece TEXT NOT NULL,
        number INTEGER NOT NULL CHECK (number >= 1),
        finished_at INTEGER NOT NULL,
        who TEXT NOT NULL,
        batch TEXT NOT NULL,
        thinner_parts REAL,
        wet_film_um REAL,
        note TEXT NOT NULL,
        recorded_at INTEGER NOT NULL,
        undone_at INTEGER
    ) STRICT
    """,
    "CREATE UNIQUE INDEX coat_that_counts ON coats (piece, number) WHERE undone_at IS NULL",
    """
    CREATE TABLE weather_met (
        site TEXT NOT NULL,
        time INTEGER NOT NULL,
        variable TEXT NOT NULL,
        value REAL NOT NULL,
        issued_at INTEGER NOT NULL,
        PRIMARY KEY (site, time, variable)
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE forecasts (
        site TEXT PRIMARY KEY,
        issued_at INTEGER NOT NULL,
        kept_at INTEGER NOT NULL,
        body BLOB NOT NULL
    ) STRICT
    """,
    """
    CREATE TABLE verdicts (
        id INTEGER PRIMARY KEY,
        piece TEXT NOT NULL,
        at INTEGER NOT NULL,
        word TEXT NOT NULL,
        reason TEXT
    ) STRICT
    """,
    "CREATE INDEX verdicts_of_piece ON verdicts (piece, id)",
    "CREATE TABLE alert_memory (piece TEXT PRIMARY KEY, memory TEXT NOT NULL) STRICT",
    """
    CREATE TABLE notices (
        id TEXT PRIMARY KEY,
        dedup_key TEXT NOT NULL UNIQUE,
        piece TEXT NOT NULL,
        kind TEXT NOT NULL,
        title TEXT NOT NULL,
        body TEXT NOT NULL,
        created_at INTEGER NOT NULL,
        expires_at INTEGER NOT NULL
    ) STRICT
    """,
    "CREATE INDEX notices_of_piece ON notices (piece, created_at)",
    """
    CREATE TABLE outbox (
        notice TEXT NOT NULL REFERENCES notices (id),
        target TEXT NOT NULL,
        attempts INTEGER NOT NULL DEFAULT 0,
        next_try_at INTEGER NOT NULL,
        last_error TEXT NOT NULL DEFAULT '',
        delivered_at INTEGER,
        dropped_at INTEGER,
        PRIMARY KEY (notice, target)
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX outbox_waiting ON outbox (next_try_at) WHERE delivered_at IS NULL AND dropped_at IS NULL",
)

_SEEN_SANDABLE: Migration = (
    """
    CREATE TABLE seen_sandable (
        id INTEGER PRIMARY KEY,
        coat INTEGER NOT NULL REFERENCES coats (id),
        at INTEGER NOT NULL,
        coating TEXT NOT NULL,
        progress REAL,
        recorded_at INTEGER NOT NULL
    ) STRICT
    """,
    "CREATE INDEX seen_sandable_of_coat ON seen_sandable (coat, id)",
)

_RECORD: Migration = (
    # What one sensor reads of one variable at one place: a sensor that is moved begins another series.
    """
    CREATE TABLE series (
        id INTEGER PRIMARY KEY,
        site TEXT NOT NULL,
        piece TEXT NOT NULL,
        sensor TEXT NOT NULL,
        variable TEXT NOT NULL,
        UNIQUE (site, piece, sensor, variable)
    ) STRICT
    """,
    """
    CREATE TABLE readings (
        series INTEGER NOT NULL REFERENCES series (id),
        time INTEGER NOT NULL,
        value REAL NOT NULL,
        flag INTEGER NOT NULL,
        PRIMARY KEY (series, time)
    ) STRICT, WITHOUT ROWID
    """,
    # Days that have been over for a while, packed; `day` counts from 1970-01-01.
    """
    CREATE TABLE reading_days (
        id INTEGER PRIMARY KEY,
        series INTEGER NOT NULL REFERENCES series (id),
        day INTEGER NOT NULL,
        body BLOB NOT NULL,
        UNIQUE (series, day)
    ) STRICT
    """,
    # Forecasts as issued. Each is packed as what differs from the one before it in its chain; the first of a chain
    # stands alone, and its own id names the chain.
    """
    CREATE TABLE issues (
        id INTEGER PRIMARY KEY,
        site TEXT NOT NULL,
        source TEXT NOT NULL,
        issued_at INTEGER NOT NULL,
        kept_at INTEGER NOT NULL,
        chain INTEGER NOT NULL,
        body BLOB NOT NULL,
        UNIQUE (site, source, issued_at)
    ) STRICT
    """,
    "CREATE INDEX issues_of_chain ON issues (chain, id)",
)

_COAT_RECORD: Migration = (
    "ALTER TABLE coats ADD COLUMN began_at INTEGER",
    "ALTER TABLE coats ADD COLUMN coating TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE coats ADD COLUMN abrasive TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE coats ADD COLUMN litres REAL",
    "ALTER TABLE coats ADD COLUMN photo TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE coats ADD COLUMN spoilt TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE coats ADD COLUMN met TEXT",
    "ALTER TABLE coats ADD COLUMN advice TEXT",
    "DROP INDEX coat_that_counts",
    "CREATE UNIQUE INDEX coat_that_counts ON coats (piece, number) WHERE undone_at IS NULL AND spoilt = ''",
    # What was done to a coat after it was recorded: 'undone', 'corrected', 'spoilt' or 'not spoilt'. A correction is
    # another coat, its successor. Rows are only ever added.
    """
    CREATE TABLE coat_changes (
        id INTEGER PRIMARY KEY,
        coat INTEGER NOT NULL REFERENCES coats (id),
        at INTEGER NOT NULL,
        what TEXT NOT NULL,
        detail TEXT NOT NULL,
        who TEXT NOT NULL,
        successor INTEGER REFERENCES coats (id)
    ) STRICT
    """,
    "CREATE INDEX coat_changes_of_coat ON coat_changes (coat, id)",
    """
    INSERT INTO coat_changes (coat, at, what, detail, who)
    SELECT id, undone_at, 'undone', '', '' FROM coats WHERE undone_at IS NOT NULL
    """,
)

_FORETOLD: Migration = (
    # What was said of the weather of a start so far ahead; `hour` counts from 1970-01-01, one row an hour and lead.
    """
    CREATE TABLE foretold (
        piece TEXT NOT NULL,
        hour INTEGER NOT NULL,
        lead_h INTEGER NOT NULL,
        start INTEGER NOT NULL,
        coat INTEGER NOT NULL,
        word TEXT NOT NULL,
        share REAL NOT NULL,
        is_odds INTEGER NOT NULL,
        quick INTEGER NOT NULL,
        PRIMARY KEY (piece, hour, lead_h)
    ) STRICT, WITHOUT ROWID
    """,
)

_OUTBOX_THINNED: Migration = (
    # A word on what, which goes first, how it reads for one target, and why one was not delivered: 'no target',
    # 'replaced' by a newer one of its topic, 'late' (and when the target was told so), or 'overtaken' by events.
    "ALTER TABLE notices ADD COLUMN topic TEXT NOT NULL DEFAULT ''",
    "UPDATE notices SET topic = piece || '/' || kind",
    "ALTER TABLE notices ADD COLUMN urgent INTEGER NOT NULL DEFAULT 0",
    "CREATE INDEX notices_of_topic ON notices (topic, created_at)",
    "ALTER TABLE outbox ADD COLUMN title TEXT",
    "ALTER TABLE outbox ADD COLUMN body TEXT",
    "ALTER TABLE outbox ADD COLUMN chart TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE outbox ADD COLUMN dropped TEXT NOT NULL DEFAULT ''",
    "ALTER TABLE outbox ADD COLUMN told_at INTEGER",
    """
    UPDATE outbox SET dropped = CASE last_error WHEN 'overtaken by events' THEN 'overtaken' ELSE 'late' END,
        told_at = dropped_at, last_error = CASE last_error WHEN 'overtaken by events' THEN '' ELSE last_error END
    WHERE dropped_at IS NOT NULL
    """,
    "CREATE INDEX outbox_late ON outbox (target, dropped_at) WHERE dropped = 'late'",
)

_PLANS: Migration = (
    # The last plan of each piece: what the next one holds to, and is held against.
    "CREATE TABLE plans (piece TEXT PRIMARY KEY, made_at INTEGER NOT NULL, plan TEXT NOT NULL) STRICT",
)

_POTS: Migration = (
    # When a pot was mixed for which coat. Nothing is deleted: a pot that was poured away carries the instant.
    """
    CREATE TABLE pots (
        id INTEGER PRIMARY KEY,
        piece TEXT NOT NULL,
        coat INTEGER NOT NULL,
        mixed_at INTEGER NOT NULL,
        recorded_at INTEGER NOT NULL,
        away_at INTEGER
    ) STRICT
    """,
    "CREATE INDEX pots_of_piece ON pots (piece, id)",
)

_PAGE: Migration = (
    # By what name a program or a form asked for a coat to be recorded: asked again by that name, it is the same coat.
    """
    CREATE TABLE coat_requests (
        id TEXT PRIMARY KEY,
        coat INTEGER NOT NULL REFERENCES coats (id),
        at INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
    # What a calendar was told of a coat last. `gone_at` is since when it is told to be cancelled.
    """
    CREATE TABLE calendar (
        feed TEXT NOT NULL,
        piece TEXT NOT NULL,
        coat INTEGER NOT NULL,
        uid TEXT NOT NULL UNIQUE,
        sequence INTEGER NOT NULL,
        entry TEXT NOT NULL,
        changed_at INTEGER NOT NULL,
        gone_at INTEGER,
        PRIMARY KEY (feed, piece, coat)
    ) STRICT, WITHOUT ROWID
    """,
)

MIGRATIONS: Sequence[Migration] = (
    _FIRST, _SEEN_SANDABLE, _RECORD, _COAT_RECORD, _FORETOLD, _OUTBOX_THINNED, _PLANS, _POTS, _PAGE,
)  # fmt: skip
"""The n-th entry brings a file of version n to version n + 1."""


def migrate(
    connection: sqlite3.Connection,
    name: str,
    migrations: Sequence[Migration] = MIGRATIONS,
    *,
    keep: Callable[[int], Path] | None = None,
) -> None:
    """Bring a file to the newest version, each step in a transaction of its own.

    Parameters
    ----------
    name
        The file's name, for messages.
    keep
        Makes a copy of the file, and returns where it is; called with the version of a file that holds something, once
        before its first step and while nobody else can write. The copy goes again where that step fails.

    Raises
    ------
    StoreError
        When the file was written by a newer version, belongs to another program, or cannot be kept.
    """
    version = _version(connection, name, len(migrations))
    first = keep if version else None
    while version < len(migrations):
        _step(connection, migrations[version], version, first)
        first = None
        version = _version(connection, name, len(migrations))


def _step(
    connection: sqlite3.Connection, migration: Migration, version: int, keep: Callable[[int], Path] | None
) -> None:
    copy: Path | None = None
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Another process may have been here between the question and the lock.
        if _pragma(connection, "user_version") == version:
            copy = keep(version) if keep else None
            for statement in migration:
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            connection.execute(f"PRAGMA user_version = {version + 1}")
        connection.execute("COMMIT")
    except BaseException:
        # A full disk has rolled back by itself.
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        if copy:
            copy.unlink(missing_ok=True)
        raise


def _version(connection: sqlite3.Connection, name: str, known: int) -> int:
    version = _pragma(connection, "user_version")
    if version > known:
        raise StoreError(newer(name, version, known))
    if version == 0 and _pragma(connection, "application_id") != APPLICATION_ID and _has_tables(connection):
        raise StoreError(f"{name} is a database of another program; name another state folder")
    return version


def newer(name: str, version: int, known: int) -> str:
    """Return what to say of a file that a newer version has written."""
    return (
        f"the state file {name} was written by a newer dryspell (its version is {version}, this one knows {known}); "
        "install the newer one again, or name another state folder"
    )


def _pragma(connection: sqlite3.Connection, name: str) -> int:
    return int(connection.execute(f"PRAGMA {name}").fetchone()[0])


def _has_tables(connection: sqlite3.Connection) -> bool:
    return bool(connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0])
