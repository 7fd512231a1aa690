"""How a mix of two parts keeps at the temperature of the air: one that will be made, and the pot that is mixed."""

from datetime import UTC, datetime, timedelta

import numpy as np

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.model import Mix, Pot
from dryspell.science.potlife import BRUSHABLE_SHARE, fit_pot_life, used_up_at
from dryspell.trade.coating import Coating
from dryspell.weather.table import FloatArray, TimeArray


def mix_at(c: Conditions, coating: Coating, index: int) -> Mix | None:
    """Return how a mix made at an index of the grid keeps; None where the coating is none or the weather ends sooner.

    It stands in the shade at the temperature of the air. Of several members the shortest counts.
    """
    keeps = _keeps(coating, c.times[index], c.times, c.air_c)
    if keeps is None:
        return None
    lasts, brushable = (round(hours, 2) for hours in keeps)
    return Mix(pot_life_h=lasts, brushable_h=brushable, induction_min=coating.induction_min)


def pot_of(mixed: datetime, coating: Coating, c: Conditions | None) -> Pot | None:
    """Return how a pot keeps that was mixed; None where the coating is not one of two parts.

    Before the first hour that is known it is taken to have stood in the air of that hour. Where the air is not known it
    keeps for as short as anything that is known of the coating.

    Parameters
    ----------
    c
        The weather from about then on; None where there is none.
    """
    if coating.pot_life is None:
        return None
    known = None if c is None else _keeps(coating, np.datetime64(int(mixed.timestamp()), "s"), c.times, c.air_c)
    shortest = min(hours for _, hours in coating.pot_life)
    lasts, brushable = known or (shortest, BRUSHABLE_SHARE * shortest)
    began = mixed.astimezone(UTC)
    least, most = coating.induction_min or (0.0, 0.0)
    stands = least or most
    return Pot(
        mixed_at=began,
        brush_from=began + timedelta(minutes=stands) if stands else None,
        brush_until=_minute(began + timedelta(hours=brushable)),
        goes_off_at=_minute(began + timedelta(hours=lasts)),
        by_weather=known is not None,
    )


def _keeps(coating: Coating, mixed: np.datetime64, times: TimeArray, air_c: FloatArray) -> tuple[float, float] | None:
    """Return for how many hours a mix keeps, and can be brushed; None where that is not known."""
    if coating.pot_life is None or mixed > times[-1]:
        return None
    if mixed < times[0]:
        times, air_c = np.append(mixed, times), np.concatenate([air_c[:, :1], air_c], axis=1)
    rate = fit_pot_life([t for t, _ in coating.pot_life], [h for _, h in coating.pot_life])
    ends = [used_up_at(np.array([mixed]), times, air_c, rate, share=share) for share in (1.0, BRUSHABLE_SHARE)]
    lasts, brushable = (float(np.min((end - mixed) / np.timedelta64(1, "h"))) for end in ends)
    return (lasts, brushable) if np.isfinite(lasts) and np.isfinite(brushable) else None


def _minute(at: datetime) -> datetime:
    """Return an instant to the nearest minute: what is told is not told finer."""
    return (at + timedelta(seconds=30)).replace(second=0, microsecond=0)
