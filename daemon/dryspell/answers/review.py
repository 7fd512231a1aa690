"""How right the daemon was, as far as the state knows, and as a document."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any, Literal

from pydantic import Field

from dryspell.answers.common import Whole, edition
from dryspell.answers.part import Part
from dryspell.config import Config
from dryspell.outlook.cloud import every_way
from dryspell.outlook.foretold import nothing_came, what_came
from dryspell.outlook.review import BINS, Reviewed, Score
from dryspell.outlook.sight import met_by
from dryspell.store import Store
from dryspell.tick.learned import learned
from dryspell.trade.piece import Piece
from dryspell.weather.checks import as_datetime

BEFORE = timedelta(days=2)
"""Weather is wanted so long before the first verdict: dew lies and wood stays wet for a while."""


def reviewed(config: Config, store: Store, piece: Piece, since: datetime, now: datetime) -> Reviewed:
    """Return what was said of a piece beside what came of it, as far as the state knows."""
    said = store.foretold(piece.key, since, now)
    site = config.site_of(piece)
    met = store.past_weather(site.key, as_datetime(said.starts.min()) - BEFORE, until=now) if len(said) else None
    if met is None:
        return Reviewed.of(said, nothing_came(said))
    _, conditions = met_by(piece, site, every_way(met, site))
    lays = learned(config, store.progress_seen()).lays_of(piece)
    return Reviewed.of(said, what_came(said, conditions, piece, lays))


class OddsPart(Part):
    """Starts of odds within a tenth."""

    from_: float = Field(alias="from", description="the odds from here")
    to: float = Field(description="to here")
    starts: int = Field(description="how many starts")
    said: float | None = Field(description="the odds that were said of them, in the mean")
    came: float | None = Field(description="the share of them whose weather came")


class ScorePart(Part):
    """How verdicts and odds did."""

    starts: int = Field(description="how many starts were judged")
    hits: int = Field(description="said to be good, and it was")
    misses: int = Field(description="said to wait, and it was good")
    false_alarms: int = Field(description="said to be good, and it was not")
    correct_waits: int = Field(description="said to wait, and it was not good")
    right: float | None = Field(description="the share of the verdicts that were right")
    brier: float | None = Field(description="mean square error of the odds, 0 at best")
    base_rate: float | None = Field(description="share of the starts whose weather was good")
    skill: float | None = Field(description="how much better the odds are than the base rate: 1 at best, 0 no better")
    reliability: list[OddsPart] = Field(description="by tenths of the odds: whether they held")


class LeadScore(ScorePart):
    """How what was said so far ahead did."""

    lead_h: int = Field(description="how far ahead")


class AllScores(ScorePart):
    """How all that was said did."""

    open: int = Field(description="starts of which it is not known yet what came")
    by_lead: list[LeadScore] = Field(description="by how far ahead it was said")


class PieceScores(AllScores):
    """How what was said of one piece did."""

    piece: str = Field(description="the key of the piece")
    name: str = Field(description="what it is called")


class ReviewDocument(Whole):
    """How often verdicts and odds were right here."""

    schema_: Literal["dryspell.review/1"] = edition("dryspell.review/1")
    days_d: int = Field(description="how far back it goes")
    all: AllScores = Field(description="all pieces together")
    pieces: list[PieceScores] = Field(description="each by itself")


def review_document(
    found: Mapping[str, Reviewed], names: Mapping[str, str], now: datetime, days: int
) -> ReviewDocument:
    """Return the document of `dryspell review --json`."""
    return ReviewDocument(
        generated_at=now,
        days_d=days,
        all=AllScores.model_validate(_of(Reviewed.joined(found.values()))),
        pieces=[
            PieceScores.model_validate({"piece": key, "name": names[key], **_of(each)}) for key, each in found.items()
        ],
    )


def _of(found: Reviewed) -> dict[str, Any]:
    by_lead = [{"lead_h": lead, **_score(score)} for lead, score in found.by_lead().items()]
    return {"open": found.open_, **_score(found.score), "by_lead": by_lead}


def _score(score: Score) -> dict[str, Any]:
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
