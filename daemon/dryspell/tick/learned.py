"""A configuration with the drying times as the coats so far have taught them."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from dryspell.config import Config
from dryspell.trade.coating import FACTORS, YOURS, Coating
from dryspell.trade.families import Over

if TYPE_CHECKING:
    from dryspell.science.pace import Pace

PACE = FACTORS + "pace"


def learned(config: Config, progress_seen: Mapping[str, Sequence[float]]) -> Config:
    """Return the configuration with the pace of each coating as its coats taught it.

    A pace that the configuration gives itself stays, and so does one that nothing could be learned of.

    Parameters
    ----------
    progress_seen
        By coating: how far its coats had come by the sum when they were seen to be sandable.
    """
    taught = {
        key: _paced(config.coating[key], pace)
        for key, seen in progress_seen.items()
        if key in config.coating and (pace := pace_of(config.coating[key], seen)).factor != 1.0
    }
    return replace(config, coating=Over(taught, config.coating)) if taught else config


def pace_of(coating: Coating, seen: Sequence[float]) -> "Pace":
    """Return what was learned of a coating: nothing where its own configuration says how it dries."""
    from dryspell.science.pace import learn_pace  # noqa: PLC0415  (most coats were not seen to be sandable)

    return learn_pace(() if coating.mark_of(PACE) == YOURS else seen)


def as_expected(config: Config, key: str) -> Config:
    """Return the configuration with a coating at the pace it was expected to have before anything was learned."""
    return replace(config, coating=Over({key: _at_pace(config.coating[key], 1.0, {})}, config.coating))


def _paced(coating: Coating, pace: "Pace") -> Coating:
    coats = "one coat" if pace.coats == 1 else f"{pace.coats} coats"
    return _at_pace(coating, round(pace.factor, 4), {PACE: f"learned from {coats} of yours"})


def _at_pace(coating: Coating, factor: float, marks: Mapping[str, str]) -> Coating:
    factors = coating.factors.model_copy(update={"pace": factor})
    return coating.model_copy(update={"factors": factors, "marks": {**coating.marks, **marks}})
