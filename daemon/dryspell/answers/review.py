"""How right the daemon was, as far as the state knows, and as a document."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from dryspell.answers.document import Document, instant
from dryspell.config import Config
from dryspell.outlook.cloud import every_way
from dryspell.outlook.foretold import nothing_came, what_came
from dryspell.outlook.outlook import met_by
from dryspell.outlook.review import BINS, Reviewed, Score
from dryspell.store import Store
from dryspell.tick.learned import learned
from dryspell.trade.piece import Piece

SCHEMA = "dryspell.review/1"
BEFORE = timedelta(days=2)
"""Weather is wanted so long before the first verdict: dew lies and wood stays wet for a while."""


def reviewed(config: Config, store: Store, piece: Piece, since: datetime, now: datetime) -> Reviewed:
    """Return what was said of a piece beside what came of it, as far as the state knows."""
    said = store.foretold(piece.key, since, now)
    site = config.site_of(piece)
    met = store.past_weather(site.key, min(each.start for each in said) - BEFORE, until=now) if said else None
    if met is None:
        return Reviewed.of(said, nothing_came(said))
    _, conditions = met_by(piece, site, every_way(met, site))
    lays = learned(config, store.progress_seen()).lays_of(piece)
    return Reviewed.of(said, what_came(said, conditions, piece, lays))


def review_document(found: Mapping[str, Reviewed], names: Mapping[str, str], now: datetime, days: int) -> Document:
    """Return the document of `dryspell review --json`."""
    return {
        "schema": SCHEMA,
        "generated_at": instant(now),
        "days_d": days,
        "all": _of(Reviewed.joined(found.values())),
        "pieces": [{"piece": key, "name": names[key], **_of(each)} for key, each in found.items()],
    }


def _of(found: Reviewed) -> Document:
    by_lead = [{"lead_h": lead, **_score(score)} for lead, score in found.by_lead().items()]
    return {"open": found.open_, **_score(found.score), "by_lead": by_lead}


def _score(score: Score) -> Document:
    return {
        "starts": score.count,
        "hits": score.hits,
        "misses": score.misses,
        "false_alarms": score.false_alarms,
        "correct_waits": score.correct_waits,
        "right": _rounded(score.right),
        "brier": _rounded(score.brier),
        "base_rate": _rounded(score.base_rate),
        "skill": _rounded(score.skill),
        "reliability": [
            {
                "from": k / BINS,
                "to": (k + 1) / BINS,
                "starts": of.count if of else 0,
                "said": _rounded(of.said if of else None),
                "came": _rounded(of.came if of else None),
            }
            for k, of in enumerate(score.reliability)
        ],
    }


def _rounded(value: float | None) -> Any:
    return None if value is None else round(value, 4)
