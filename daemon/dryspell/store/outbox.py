"""What is to be said, to whom, and how far that has come; with the memory of what was said before.

A round's outcome is one transaction: the new memory, the verdicts that changed, and the notices that follow from them.
A kill cannot separate a decision from its notice. Delivery is at least once: a kill between sending and writing
`delivered_at` sends the notice again.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dryspell.outlook.model import Reason, Word
from dryspell.store.database import Database, instant, seconds

_WAITING = "delivered_at IS NULL AND dropped_at IS NULL"


@dataclass(frozen=True)
class Message:
    """A notice put into words, and the targets it goes to.

    `id` is short and stands in the body, `key` is what makes it the same notice: a second one with that key is not
    taken. Past `expires_at` it is dropped, since late advice does harm.
    """

    id: str
    key: str
    piece: str
    kind: str
    title: str
    body: str
    created_at: datetime
    expires_at: datetime
    targets: tuple[str, ...]


@dataclass(frozen=True)
class Given:
    """A verdict as it is kept."""

    piece: str
    word: Word
    reason: Reason | None


@dataclass(frozen=True)
class Sending:
    """One notice on its way to one target."""

    notice: str
    target: str
    kind: str
    piece: str
    title: str
    body: str
    created_at: datetime
    expires_at: datetime
    attempts: int
    last_error: str
    delivered_at: datetime | None
    dropped_at: datetime | None


class Outbox(Database):
    """Reads and writes what was decided and what is to be sent."""

    def memory(self) -> dict[str, str]:
        """Return the memory of the alerts, by piece, as it was saved."""
        return dict(self._rows("SELECT piece, memory FROM alert_memory"))

    def save_round(
        self,
        memory: Mapping[str, str],
        verdicts: Iterable[Given],
        messages: Iterable[Message],
        settled: Iterable[str],
        now: datetime,
    ) -> list[Given]:
        """Save all that a round has decided, in one transaction, and return the verdicts that are news.

        Parameters
        ----------
        settled
            Keys of notices that do not hold any more: they are not delivered where they have not been.
        """
        with self._transaction() as connection:
            known = dict(connection.execute("SELECT piece, memory FROM alert_memory").fetchall())
            for piece, text in memory.items():
                if known.get(piece) != text:
                    connection.execute(
                        "INSERT INTO alert_memory (piece, memory) VALUES (?, ?) "
                        "ON CONFLICT (piece) DO UPDATE SET memory = excluded.memory",
                        (piece, text),
                    )
            news = [verdict for verdict in verdicts if _differs(connection, verdict)]
            for verdict in news:
                reason = verdict.reason.model_dump_json() if verdict.reason else None
                connection.execute(
                    "INSERT INTO verdicts (piece, at, word, reason) VALUES (?, ?, ?, ?)",
                    (verdict.piece, seconds(now), verdict.word, reason),
                )
            for key in settled:
                connection.execute(
                    f"UPDATE outbox SET dropped_at = ?, last_error = 'overtaken by events' WHERE {_WAITING} "  # noqa: S608  (no outside text)
                    "AND notice IN (SELECT id FROM notices WHERE dedup_key = ?)",
                    (seconds(now), key),
                )
            for message in messages:
                _enqueue(connection, message)
            return news

    def due(self, now: datetime) -> list[Sending]:
        """Return what is to be sent by now and has not expired, oldest first."""
        at = seconds(now)
        return self._sendings(f"WHERE {_WAITING} AND next_try_at <= ? AND expires_at >= ?", at, at)

    def sendings(self) -> list[Sending]:
        """Return everything that was ever to be sent, oldest first."""
        return self._sendings("")

    def mark_delivered(self, sending: Sending, now: datetime) -> None:
        """Note that a target has taken a notice."""
        self._mark(sending, "delivered_at = ?, attempts = attempts + 1", seconds(now))

    def mark_failed(self, sending: Sending, error: str, next_try_at: datetime) -> None:
        """Note that a target has not taken a notice, why (no secrets), and when to try again."""
        self._mark(sending, "last_error = ?, next_try_at = ?, attempts = attempts + 1", error, seconds(next_try_at))

    def drop_expired(self, now: datetime, targets: Iterable[str]) -> list[Sending]:
        """Give up what has expired, and what is for a target there is no more; return it."""
        at, names = seconds(now), set(targets)
        gone = [s for s in self._sendings(f"WHERE {_WAITING}") if s.expires_at < instant(at) or s.target not in names]
        for sending in gone:
            self._mark(sending, "dropped_at = ?", at)
        return gone

    def _mark(self, sending: Sending, change: str, *values: Any) -> None:
        with self._transaction() as connection:
            connection.execute(
                f"UPDATE outbox SET {change} WHERE notice = ? AND target = ?",  # noqa: S608  (no outside text)
                (*values, sending.notice, sending.target),
            )

    def _sendings(self, where: str, *values: Any) -> list[Sending]:
        query = f"""
            SELECT notice, target, kind, piece, title, body, created_at, expires_at, attempts, last_error,
                   delivered_at, dropped_at
            FROM outbox JOIN notices ON notices.id = outbox.notice {where}
            ORDER BY created_at, notices.rowid, target
        """  # noqa: S608  (no outside text)
        return [_sending(row) for row in self._rows(query, *values)]


def _sending(row: tuple[Any, ...]) -> Sending:
    notice, target, kind, piece, title, body, created, expires, attempts, last_error, delivered, dropped = row
    return Sending(
        notice=notice,
        target=target,
        kind=kind,
        piece=piece,
        title=title,
        body=body,
        created_at=instant(created),
        expires_at=instant(expires),
        attempts=attempts,
        last_error=last_error,
        delivered_at=None if delivered is None else instant(delivered),
        dropped_at=None if dropped is None else instant(dropped),
    )


def _differs(connection: Any, verdict: Given) -> bool:
    """Say whether a verdict, or what stands against it, differs from the last one given; numbers alone are no news."""
    row = connection.execute(
        "SELECT word, reason FROM verdicts WHERE piece = ? ORDER BY id DESC LIMIT 1", (verdict.piece,)
    ).fetchone()
    if row is None or row[0] != verdict.word:
        return True
    if verdict.word in ("coat", "tight"):
        return False
    before = Reason.model_validate_json(row[1]).limit if row[1] else None
    return before != (verdict.reason.limit if verdict.reason else None)


def _enqueue(connection: Any, message: Message) -> None:
    at = seconds(message.created_at)
    added = connection.execute(
        "INSERT INTO notices (id, dedup_key, piece, kind, title, body, created_at, expires_at) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
        (
            message.id, message.key, message.piece, message.kind, message.title, message.body, at,
            seconds(message.expires_at),
        ),
    )  # fmt: skip
    if added.rowcount == 0:
        return
    connection.executemany(
        "INSERT INTO outbox (notice, target, next_try_at) VALUES (?, ?, ?)",
        [(message.id, target, at) for target in message.targets],
    )
