"""Parts of JSON documents for other programs, wherever they are shown.

Every number carries its unit in its key, every instant is UTC with Z. A figure that is not known is null.
"""

from datetime import UTC, datetime
from math import isfinite
from typing import Any

from dryspell.outlook.model import Reason, Stages

Document = dict[str, Any]

_SUFFIX = {"K": "_k", "degC": "_c", "%": "_pct", "m/s": "_m_s", "mm": "_mm", "h": "_h", "": ""}


def instant(at: datetime | None) -> str | None:
    """Return an instant as ISO 8601 in UTC with Z, to the second."""
    return None if at is None else at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def reason_document(reason: Reason) -> Document:
    """Return a reason; its value and bound are named by their unit, such as value_k and bound_k."""
    document: Document = {"limit": reason.limit.value}
    for name, figure in (("value", reason.value), ("bound", reason.bound)):
        if figure is not None:
            document[name + _SUFFIX[reason.unit]] = number(figure)
    if reason.what:
        document["variable"] = reason.what
    if reason.dry_at is not None:
        document["dry_at"] = instant(reason.dry_at)
    return {**document, "at": instant(reason.at)}


def number(value: float) -> float | None:
    """Return a figure, None where it is not known."""
    return value if isfinite(value) else None


def stages_document(stages: Stages) -> Document:
    """Return when a film reaches its stages."""
    return {name: instant(getattr(stages, name)) for name in Stages.model_fields}
