"""What calendars were told of the coats to come, so that a program that holds them sees which one has moved."""

from typing import TYPE_CHECKING

from pydantic import ValidationError

from dryspell.store.database import Database, instant, seconds

if TYPE_CHECKING:
    from collections.abc import Iterable

    from dryspell.store.calendar_entry import Told


class CalendarShelf(Database):
    """Reads and writes what calendars were told."""

    def calendar(self, feed: str) -> "list[Told]":
        """Return what a feed told last, by piece and coat; what this version cannot read is left out."""
        from dryspell.store.calendar_entry import Entry, Told  # noqa: PLC0415  (commands that only look do without)

        found = []
        for uid, sequence, entry, changed_at, gone_at in self._rows(
            "SELECT uid, sequence, entry, changed_at, gone_at FROM calendar WHERE feed = ? ORDER BY piece, coat", feed
        ):
            try:
                read = Entry.model_validate_json(entry)
            except ValidationError:
                continue
            gone = None if gone_at is None else instant(gone_at)
            found.append(Told(uid, sequence, read, instant(changed_at), gone))
        return found

    def keep_calendar(self, feed: str, told: "Iterable[Told]") -> None:
        """Keep what a feed tells in the place of all that it told before."""
        rows = [
            (
                feed, each.entry.piece, each.entry.coat, each.uid, each.sequence, each.entry.model_dump_json(),
                seconds(each.changed_at), None if each.gone_at is None else seconds(each.gone_at),
            )
            for each in told
        ]  # fmt: skip
        with self._transaction() as connection:
            connection.execute("DELETE FROM calendar WHERE feed = ?", (feed,))
            connection.executemany(
                "INSERT INTO calendar (feed, piece, coat, uid, sequence, entry, changed_at, gone_at) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                rows,
            )
