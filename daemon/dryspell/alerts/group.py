"""Several pieces at one site in one message: what is of one kind, and as urgent, at one instant."""

from collections.abc import Iterable, Mapping
from hashlib import sha256
from typing import TYPE_CHECKING

from dryspell.alerts.memory import PieceMemory
from dryspell.alerts.model import Notice

if TYPE_CHECKING:
    from dryspell.alerts.kinds import Kind, Level


def grouped(
    said: Iterable[tuple[str, Notice]], memory: Mapping[str, PieceMemory]
) -> tuple[list[Notice], dict[str, PieceMemory]]:
    """Return notices with those of a site put together, and the memory of which message carries what.

    Parameters
    ----------
    said
        The site of each notice, and the notice.
    """
    together: dict[tuple[str, Kind, Level], list[Notice]] = {}
    for site, notice in said:
        together.setdefault((site, notice.kind, notice.level), []).append(notice)
    kept = dict(memory)
    notices = []
    for (site, _, _), parts in together.items():
        if len(parts) == 1:
            notices.append(parts[0])
            continue
        whole = _whole(site, sorted(parts, key=_begins))
        notices.append(whole)
        for part in parts:
            kept[part.piece] = _sent_as(kept[part.piece], part.key, whole.key)
    return notices, kept


def _whole(site: str, parts: list[Notice]) -> Notice:
    first = parts[0]
    which = sha256("\n".join(part.key for part in parts).encode()).hexdigest()[:16]
    return first.model_copy(
        update={
            "key": f"{site}/{first.kind}/{which}",
            # A newer word on one of the pieces leaves what it says of the others: none takes the place of it.
            "topic": f"{site}/{first.kind}/{which}",
            "group": site,
            "parts": tuple(parts),
            "expires_at": max(part.expires_at for part in parts),
        }
    )


def _begins(notice: Notice) -> float:
    at = notice.at or (notice.windows[0].start if notice.windows else notice.created_at)
    return at.timestamp()


def _sent_as(memory: PieceMemory, key: str, by: str) -> PieceMemory:
    standing = tuple(each.put(sent_as=by) if each.key == key else each for each in memory.standing)
    return memory.put(standing=standing)
