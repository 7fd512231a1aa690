"""What `dryspell material` tells of, gathered from the configuration, the record and the weather that was kept."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

import numpy as np

from dryspell.config import Config
from dryspell.outlook.coat_log import CoatLog, Row, coat_log
from dryspell.outlook.daytime import in_hours
from dryspell.outlook.figures import Units
from dryspell.outlook.model import Coat
from dryspell.outlook.plan_model import Plan
from dryspell.science.film import coating_and_thinner
from dryspell.trade.batches import Batch, batch_of
from dryspell.trade.material import CoatNeed, CoatOn, as_recorded, need_of
from dryspell.trade.piece import Piece
from dryspell.trade.safety import cautions_of_all
from dryspell.trade.shopping import PieceNeeds, Shopping, Work, shopping
from dryspell.trade.sizes import METRIC_CANS, US_CANS
from dryspell.trade.stock import AtHand, Use
from dryspell.trade.system import NO_SANDING
from dryspell.weather.table import WeatherTable

AHEAD = np.timedelta64(3, "D")
"""The forecast that a mix is reckoned for: nobody buys for a day, and farther ahead it tells little."""


@dataclass(frozen=True)
class Found:
    """What to tell.

    Attributes
    ----------
    shopping
        What the pieces take.
    at_hand_l
        What was at hand of each coating before any of it was poured. [L]
    at_hand
        What is left of it then, and what has stood open for too long.
    mix_c
        By piece, the temperature of a mix; None where it is not known. [degC]
    told_c
        Whether that was told, and is no forecast.
    planned_on
        The local day for which each coat is planned that has its hours, by piece and number.
    """

    config: Config
    now: datetime
    today: date
    shopping: Shopping
    at_hand_l: Mapping[str, float]
    at_hand: AtHand
    mix_c: Mapping[str, float | None]
    told_c: bool
    planned_on: Mapping[tuple[str, int], date] = field(default_factory=dict)

    def needed_on(self, takes: Callable[[PieceNeeds, CoatNeed], bool]) -> date | None:
        """Return the day of the first coat that takes a thing; None where no coat that does is planned yet."""
        days = (
            self.planned_on.get((piece.work.piece.key, need.lay.number))
            for piece in self.shopping.pieces
            for need in piece.needs
            if takes(piece, need)
        )
        return min((day for day in days if day is not None), default=None)

    @property
    def units(self) -> Units:
        """The units its figures are told in."""
        return self.config.alerting.units

    def batch(self, piece: Piece, need: CoatNeed) -> Batch | None:
        """Return how a coat is mixed; None where it is no two-part mix, or it is not known how warm it is."""
        mix_c = self.mix_c[piece.key]
        return None if mix_c is None else batch_of(need.lay.coating, need.mix_l, piece.brushing_h, mix_c)


def find(
    config: Config,
    keys: Sequence[str],
    laid: Mapping[str, Sequence[Coat]],
    tables: Mapping[str, WeatherTable | None],
    now: datetime,
    mix_c: float | None,
    plans: Mapping[str, Plan] | None = None,
) -> Found:
    """Return what there is to tell of some pieces.

    Parameters
    ----------
    keys
        Of the pieces.
    laid
        What was put on every piece there is, spoilt coats as well: it may have come out of one can.
    tables
        The weather that was kept, by site.
    mix_c
        The temperature of a mix, where it was told. [degC]
    plans
        The plans that were kept, by piece.
    """
    logs = {
        key: coat_log(piece, laid[key], config.lays_of(piece), config.coating) for key, piece in config.piece.items()
    }
    today = now.astimezone(config.site_of(config.piece[keys[0]]).zone).date()
    uses = [use for key, log in logs.items() for use in _uses(config, config.piece[key], log)]
    at_hand = AtHand(config.stock.values(), uses, today)
    before = {key: at_hand.left_l(key) for key in config.coating}
    works = [_work(config, config.piece[key], logs[key]) for key in keys]
    usual = US_CANS if config.alerting.units == "us" else METRIC_CANS
    return Found(
        config=config,
        now=now,
        today=today,
        shopping=shopping(works, at_hand, usual),
        at_hand_l=before,
        at_hand=at_hand,
        mix_c={
            key: _warmest_c(config, config.piece[key], tables[config.piece[key].site], now) if mix_c is None else mix_c
            for key in keys
        },
        told_c=mix_c is not None,
        planned_on={
            (key, coat.number): coat.prepare_at.astimezone(config.site_of(config.piece[key]).zone).date()
            for key in keys
            if plans is not None and key in plans
            for coat in plans[key].planned
            if coat.last_stroke > now  # one that was not put on when it was planned waits for another plan
        },
    )


def _work(config: Config, piece: Piece, log: CoatLog) -> Work:
    return Work(piece, config.lays_of(piece), tuple(map(_on, log.counting)), log.on)


def _on(row: Row) -> CoatOn:
    wet_film_um = None if row.film_by == "plan" else row.wet_film_um
    return CoatOn(row.coat.number, row.coating, row.coat.thinner_parts, wet_film_um)


def _uses(config: Config, piece: Piece, log: CoatLog) -> list[Use]:
    """Return what the coats of a piece took, as it was told or as it is reckoned."""
    uses = []
    for row in log.rows:
        lay = as_recorded(row.lay, _on(row))
        mix_l = need_of(lay, piece).mix_l if row.coat.litres is None else row.coat.litres
        taken = 0.0 if mix_l is None else float(coating_and_thinner(mix_l, lay.thinner_parts)[0])
        uses.append(Use(row.coat.finished_at.astimezone(config.site_of(piece).zone).date(), row.coating.key, taken))
    return uses


def _warmest_c(config: Config, piece: Piece, table: WeatherTable | None, now: datetime) -> float | None:
    """Return the warmest air in the finisher's hours of the next days, for a mix lasts shortest in it; else None."""
    if table is None or "air_temperature" not in table.columns:
        return None
    begin = np.datetime64(int(now.timestamp()), "s")
    times = table.times
    ahead = (times >= begin) & (times <= begin + AHEAD) & in_hours(times, piece.hours, config.site_of(piece).zone)
    air = table.columns["air_temperature"][:, ahead]
    known = air[np.isfinite(air)]
    return float(known.max()) + piece.heat_k if known.size else None


def cautions(found: Found) -> Sequence[str]:
    """Return the cautions for what is bought, each deferring to the data sheet."""
    sanded = [
        (piece.work.piece.over, need.lay.number)
        for piece in found.shopping.pieces
        for need in piece.needs
        if need.lay.abrasive != NO_SANDING
    ]
    return cautions_of_all(found.shopping.coatings, sanding=bool(sanded), old_film=("old film", 1) in sanded)
