"""What is to be said, to whom, and how far that has come; with the memory of what was said before.

A round's outcome is one transaction: the new memory, the verdicts that changed, and the notices that follow from them.
A kill cannot separate a decision from its notice. Delivery is at least once: a kill between sending and writing
`delivered_at` sends the notice again.

What waits for a target that cannot be reached is thinned out, so that a week's silence is followed by what still
matters and not by a week of messages: of one topic the newest word counts, and what has expired is not sent.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any, get_args

from dryspell.outlook.model import Reason
from dryspell.store.database import Database, instant, seconds

if TYPE_CHECKING:
    from dryspell.store.notices import Failing, Given, Message, Queued, Sending

LONGEST_WAIT = timedelta(minutes=15)
"""No next try is meant to be further ahead: one that is shows that the clock was set back, and it is made now."""
_WAITING = "delivered_at IS NULL AND dropped_at IS NULL"


class Outbox(Database):
    """Reads and writes what was decided and what is to be sent."""

    def memory(self) -> dict[str, str]:
        """Return the memory of the alerts, by piece, as it was saved."""
        return dict(self._rows("SELECT piece, memory FROM alert_memory"))

    def save_round(
        self,
        memory: Mapping[str, str],
        verdicts: "Iterable[Given]",
        messages: "Iterable[Message]",
        settled: Iterable[str],
        now: datetime,
    ) -> "list[Given]":
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
                    f"UPDATE outbox SET dropped_at = ?, dropped = 'overtaken', chart = '' WHERE {_WAITING} "  # noqa: S608  (no outside text)
                    "AND notice IN (SELECT id FROM notices WHERE dedup_key = ?)",
                    (seconds(now), key),
                )
            for message in messages:
                _enqueue(connection, message)
            return news

    def due(self, now: datetime) -> "list[Sending]":
        """Return what is to be sent by now and has not expired: the urgent first, then the oldest."""
        at = seconds(now)
        return self._sendings(
            f"WHERE {_WAITING} AND NOT next_try_at BETWEEN ? AND ? AND expires_at >= ?",
            at + 1, at + int(LONGEST_WAIT.total_seconds()), at, first="urgent DESC,",
        )  # fmt: skip

    def still_due(self, sending: "Sending", now: datetime) -> bool:
        """Say whether something is to be sent still: since it was due, it may have been overtaken or replaced."""
        query = f"SELECT 1 FROM outbox WHERE notice = ? AND target = ? AND {_WAITING}"  # noqa: S608  (no outside text)
        return bool(now <= sending.expires_at and self._rows(query, sending.notice, sending.target))

    def sendings(self) -> "list[Sending]":
        """Return everything that was ever to be sent, oldest first."""
        return self._sendings("")

    def failing(self) -> "dict[str, Failing]":
        """Return the targets that have taken none of the notices tried since the last one they took."""
        from dryspell.store.notices import Failing  # noqa: PLC0415  (commands that only look do without)

        rows = self._rows(
            """
            WITH tried AS (
                SELECT target, created_at, last_error, delivered_at, notices.rowid AS place
                FROM outbox JOIN notices ON notices.id = outbox.notice WHERE attempts > 0
            ), took AS (SELECT target, max(place) AS place FROM tried WHERE delivered_at IS NOT NULL GROUP BY target)
            SELECT tried.target, min(created_at), count(*), last_error, max(tried.place)
            FROM tried LEFT JOIN took ON took.target = tried.target
            WHERE tried.place > coalesce(took.place, 0) GROUP BY tried.target
            """
        )  # SQLite takes last_error from the row that has the greatest place
        return {target: Failing(instant(since), error, count) for target, since, count, error, _ in rows}

    def queued(self) -> "dict[str, Queued]":
        """Return what waits to be sent, by target."""
        from dryspell.store.notices import Queued  # noqa: PLC0415  (commands that only look do without)

        rows = self._rows(
            "SELECT target, count(*), min(created_at), min(next_try_at) FROM outbox JOIN notices "  # noqa: S608  (no outside text)
            f"ON notices.id = outbox.notice WHERE {_WAITING} GROUP BY target ORDER BY target"
        )
        return {target: Queued(count, instant(oldest), instant(next_at)) for target, count, oldest, next_at in rows}

    def late(self, target: str) -> list[str]:
        """Return the notices that were too late for a target, and of which it was not told yet."""
        query = "SELECT notice FROM outbox WHERE target = ? AND dropped = 'late' AND told_at IS NULL"
        return [notice for (notice,) in self._rows(query, target)]

    def late_since(self, since: datetime) -> dict[str, int]:
        """Return how many notices were too late, by target."""
        query = "SELECT target, count(*) FROM outbox WHERE dropped = 'late' AND dropped_at >= ? GROUP BY target"
        return dict(self._rows(query, seconds(since)))

    def mark_delivered(self, sending: "Sending", now: datetime, told_of: Sequence[str] = ()) -> None:
        """Note that a target has taken a notice, and with it was told of others that were too late."""
        with self._transaction() as connection:
            connection.execute(
                "UPDATE outbox SET delivered_at = ?, attempts = attempts + 1, chart = '' "
                "WHERE notice = ? AND target = ?",
                (seconds(now), sending.notice, sending.target),
            )
            connection.executemany(
                "UPDATE outbox SET told_at = ? WHERE notice = ? AND target = ?",
                [(seconds(now), notice, sending.target) for notice in told_of],
            )

    def mark_failed(self, sending: "Sending", error: str, next_try_at: datetime) -> None:
        """Note that a target has not taken a notice, why (no secrets), and when to try again."""
        with self._transaction() as connection:
            connection.execute(
                "UPDATE outbox SET last_error = ?, next_try_at = ?, attempts = attempts + 1 "
                "WHERE notice = ? AND target = ?",
                (error, seconds(next_try_at), sending.notice, sending.target),
            )

    def thin_out(self, now: datetime, targets: Iterable[str]) -> "list[Sending]":
        """Give up what need not be sent any more, in one transaction, and return it.

        That is what is for a target there is no more, what a newer notice of its topic to the same target has replaced,
        and what has expired, in this order: what was replaced was not too late.
        """
        at = seconds(now)
        gone: dict[tuple[str, str], None] = {}
        with self._transaction() as connection:
            for why, which, values in (
                ("no target", "target NOT IN (SELECT value FROM json_each(?))", (json.dumps(list(targets)),)),
                ("replaced", _REPLACED, ()),
                ("late", "(SELECT expires_at FROM notices WHERE id = notice) < ?", (at,)),
            ):
                query = f"UPDATE outbox SET dropped_at = ?, dropped = ?, chart = '' WHERE {_WAITING} AND {which} RETURNING notice, target"  # noqa: E501, S608  (no outside text)
                gone |= dict.fromkeys(connection.execute(query, (at, why, *values)).fetchall())
        if not gone:
            return []
        return [each for each in self._sendings("WHERE dropped_at = ?", at) if (each.notice, each.target) in gone]

    def _sendings(self, where: str, *values: Any, first: str = "") -> "list[Sending]":
        query = f"""
            SELECT notice, target, kind, piece, coalesce(outbox.title, notices.title),
                   coalesce(outbox.body, notices.body), created_at, expires_at, attempts, last_error,
                   delivered_at, dropped_at, dropped, urgent, chart
            FROM outbox JOIN notices ON notices.id = outbox.notice {where}
            ORDER BY {first} created_at, notices.rowid, target
        """  # noqa: S608  (no outside text)
        return [_sending(row) for row in self._rows(query, *values)]


_REPLACED = """
    EXISTS (
        SELECT 1 FROM notices AS this JOIN notices AS newer
        ON newer.topic = this.topic AND newer.created_at > this.created_at
        JOIN outbox AS to_same ON to_same.notice = newer.id AND to_same.target = outbox.target
        WHERE this.id = outbox.notice
    )
"""
"""Of a notice that waits: there is a newer one of its topic to the same target, whatever became of that."""


def _sending(row: tuple[Any, ...]) -> "Sending":
    from dryspell.store.notices import Dropped, Sending  # noqa: PLC0415  (commands that only look do without)

    notice, target, kind, piece, title, body, created, expires, attempts, last_error, delivered, *rest = row
    dropped_at, dropped, urgent, chart = rest
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
        dropped_at=None if dropped_at is None else instant(dropped_at),
        dropped=dropped if dropped in get_args(Dropped) else None,
        urgent=bool(urgent),
        chart=chart,
    )


def _differs(connection: Any, verdict: "Given") -> bool:
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


def _enqueue(connection: Any, message: "Message") -> None:
    at = seconds(message.created_at)
    added = connection.execute(
        "INSERT INTO notices (id, dedup_key, piece, kind, title, body, created_at, expires_at, topic, urgent) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
        (
            message.id, message.key, message.piece, message.kind, message.title, message.body, at,
            seconds(message.expires_at), message.topic or f"{message.piece}/{message.kind}", message.urgent,
        ),
    )  # fmt: skip
    if added.rowcount == 0:
        return
    own = {target: message.wordings.get(target) for target in message.targets}
    connection.executemany(
        "INSERT INTO outbox (notice, target, next_try_at, title, body, chart) VALUES (?, ?, ?, ?, ?, ?)",
        [
            (message.id, target, at, how and how.title, how and how.body, how.chart if how else "")
            for target in message.targets
            for how in [own[target]]
        ],
    )
