"""What would be said if a coat were put on as told, the next forecast had showers for it, and the one after it none."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from dryspell.alerts.memory import PieceMemory
from dryspell.cli.rehearse import Said, issued, speak
from dryspell.config import Config
from dryspell.outlook.model import Coat, Outlook
from dryspell.tick.look import look
from dryspell.weather.table import WeatherTable

RAIN_MM, CHANCE_PCT, CLOUD_PCT = 1.5, 80.0, 100.0
"""A shower of an hour, as a forecast would have it."""
AFTER = timedelta(hours=4)
"""So long after the last stroke it comes: before most coatings are rain-safe, and in time to cover."""
_KNOWN, _GONE, _GONE_FOR = timedelta(hours=2, minutes=30), timedelta(hours=1, minutes=30), timedelta(minutes=30)


def showers(
    config: Config,
    coats: Mapping[str, Sequence[Coat]],
    tables: Mapping[str, WeatherTable | None],
    outlooks: Sequence[Outlook],
) -> list[Said]:
    """Return the alerts on the first piece in the open that may be coated soon; none where no piece is.

    Parameters
    ----------
    outlooks
        Made of the same configuration, coats and weather.
    """
    in_open = (outlook for outlook in outlooks if config.piece[outlook.piece].shelter == "open")
    ready = [(begins, outlook) for outlook in in_open if (begins := _begins(outlook))]
    if not ready:
        return []
    begins, outlook = min(ready, key=lambda each: each[0])
    piece = config.piece[outlook.piece]
    finished = begins + timedelta(hours=piece.brushing_h)
    coat = Coat(piece=piece.key, number=outlook.next_coat, finished_at=finished, recorded_at=finished)
    on = {piece.key: [*coats.get(piece.key, ()), coat]}
    comes = (finished + AFTER).replace(minute=0, second=0, microsecond=0)
    dry, wet = tables[piece.site], _with_shower(tables[piece.site], comes)
    alone, memory, said = replace(config, piece={piece.key: piece}), dict[str, PieceMemory](), list[Said]()
    for before, table in ((_KNOWN, wet), (_GONE, dry), (_GONE - _GONE_FOR, dry)):
        at = comes - before
        seen = look(alone, on, issued({piece.site: table}, at), at)
        more, memory = speak(config, seen, memory, at)
        said += more
    return said


def _begins(outlook: Outlook) -> datetime | None:
    """Return when somebody who is told of the first good window begins to brush."""
    return next((window.best_start for window in outlook.windows if window.word == "coat"), None)


def _with_shower(table: WeatherTable | None, comes: datetime) -> WeatherTable | None:
    if table is None:
        return None
    begin = np.datetime64(int(comes.timestamp()), "s")
    # A sum is over the step that ends at its stamp.
    hour = (table.times > begin) & (table.times <= begin + np.timedelta64(1, "h"))
    least = {
        "precipitation_amount": RAIN_MM,
        "probability_of_precipitation": CHANCE_PCT,
        "cloud_area_fraction": CLOUD_PCT,
    }
    columns = {
        name: np.where(hour, np.fmax(column, least[name]), column) if name in least else column
        for name, column in table.columns.items()
    }
    return replace(table, columns=columns)
