"""A notice on its way out: worded for each target in its own units, with a chart where one goes with it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from dryspell.alerts.kinds import Level
from dryspell.alerts.model import Notice
from dryspell.outlook.figures import Units
from dryspell.store.notices import Message, Wording


@dataclass(frozen=True)
class Reader:
    """Somebody a notice goes to: what they are told of it, in which units, and whether a chart goes with it."""

    notice: Notice
    units: Units
    pictures: bool


Compose = Callable[[Notice, Units], tuple[str, str]]
"""Gives the title and the body of a notice."""
Chart = Callable[[str, Units], str]
"""Gives the text of a chart for a piece, empty for none."""


def outgoing(
    notice: Notice, notice_id: str, readers: Mapping[str, Reader], compose: Compose, units: Units, chart: Chart | None
) -> Message:
    """Return a notice as a message, each thing worded and each chart made once for all who get the same.

    Parameters
    ----------
    readers
        By target.
    units
        Of the message as it is kept, whoever gets it.
    chart
        None where no charts are made.
    """
    title, body = compose(notice, units)
    wordings: dict[str, Wording] = {}
    done: dict[tuple[tuple[str, ...], Units, bool], Wording] = {}
    for target, reader in readers.items():
        same = (reader.notice.pieces, reader.units, reader.pictures)
        if same not in done:
            drawn = chart(reader.notice.piece, reader.units) if chart and reader.pictures else ""
            done[same] = Wording(*compose(reader.notice, reader.units), drawn)
        wordings[target] = done[same]
    return Message(
        id=notice_id,
        key=notice.key,
        piece=notice.piece,
        kind=notice.kind,
        title=title,
        body=body,
        created_at=notice.created_at,
        expires_at=notice.expires_at,
        targets=tuple(readers),
        topic=notice.topic,
        urgent=notice.level is Level.WAKE,
        wordings=wordings,
    )
