"""The coating record as a JSON document for other programs."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from dryspell.answers.document import coat_document, instant
from dryspell.answers.log_record import Record
from dryspell.outlook.coat_log import Row
from dryspell.outlook.coat_words import deviations
from dryspell.store.coats import Version

SCHEMA = "dryspell.log/1"


def log_document(records: Iterable[Record], now: datetime, *, history: bool) -> dict[str, Any]:
    """Return the document of `dryspell log --json`.

    Parameters
    ----------
    history
        With every coat that was ever recorded, and what was done to it.
    """
    return {
        "schema": SCHEMA,
        "generated_at": instant(now),
        "pieces": [_piece(record, history=history) for record in records],
    }


def _piece(record: Record, *, history: bool) -> dict[str, Any]:
    log, (least, most) = record.log, record.log.sanded_um
    return {
        "piece": record.piece.key,
        "name": record.piece.name,
        "site": record.site.key,
        "site_name": record.site.name,
        "timezone": record.zone.key,
        "state": record.state,
        "coats": record.coats,
        "coats_on": log.on,
        "before_record": log.before,
        "full_coats": log.full,
        "untold": log.untold,
        "dry_film_um": round(log.dry_film_um, 1),
        "sanded_least_um": least,
        "sanded_most_um": most,
        "record": [_row(row) for row in log.rows],
        **({"history": [_version(version) for version in record.versions]} if history else {}),
    }


def _row(row: Row) -> dict[str, Any]:
    return {
        "id": row.coat.id,
        **coat_document(row.coat),
        "coating": row.coating.key,
        "full_coat": row.full_number,
        "film_um": round(row.wet_film_um, 1),
        "film_by": row.film_by,
        "dry_film_um": None if row.dry_film_um is None else round(row.dry_film_um, 1),
        "planned": {
            "coating": row.lay.coating.key,
            "thinner_parts": row.lay.thinner_parts,
            "wet_film_um": row.lay.wet_film_um,
            "abrasive": row.lay.abrasive,
        },
        "deviations": list(deviations(row, "metric")),
    }


def _version(version: Version) -> dict[str, Any]:
    return {
        "id": version.coat.id,
        **coat_document(version.coat),
        "stands": version.stands,
        "changes": [
            {
                "what": change.what,
                "at": instant(change.at),
                "detail": change.detail,
                "who": change.who,
                "successor": change.successor,
            }
            for change in version.changes
        ],
    }
