"""What a cover is needed for: each window judged once more as if there were none."""

from collections.abc import Sequence
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from dryspell.outlook.model import Limit, Window
from dryspell.outlook.spans import BoolArray
from dryspell.outlook.windows import Judged, nearest_limit, why_not
from dryspell.trade.hours import Span


def told_of_cover(
    windows: Sequence[Window], judged: Judged, uncovered: Judged, cover: tuple[Span, ...], zone: ZoneInfo
) -> tuple[Window, ...]:
    """Return windows with what would be the matter without the cover, where something would.

    Parameters
    ----------
    judged, uncovered
        The starts the windows are of, and the same judged without the cover.
    """
    needed = (judged.passes & ~uncovered.passes) | (judged.robust & ~uncovered.robust)
    return tuple(_told(window, needed, uncovered, cover, zone) for window in windows)


def _told(window: Window, needed: BoolArray, uncovered: Judged, cover: tuple[Span, ...], zone: ZoneInfo) -> Window:
    times = uncovered.conditions.times[uncovered.starts]
    first, best, last = (
        int(np.searchsorted(times, np.datetime64(at.replace(tzinfo=None), "s")))
        for at in (window.start, window.best_start, window.last_start)
    )
    of_window = np.flatnonzero(needed[first : last + 1]) + first
    if not of_window.size:
        return window
    # What would spoil a coat is told before what would only make it tight; of the best start, where it is one of those.
    spoilt = of_window[~uncovered.passes[of_window]]
    which = spoilt if spoilt.size else of_window
    k = best if best in which else int(which[-1])
    reason = nearest_limit(uncovered, k) if uncovered.passes[k] else why_not(uncovered, k)
    step = timedelta(seconds=uncovered.conditions.step_s)
    return window.model_copy(
        update={
            "without_cover": reason,
            # Against dew or rain that would lie on it still the cover has to be on before.
            "cover_on_by": None
            if reason.limit is Limit.DRY
            else _goes_on(cover, zone, window.start + (k - first) * step),
            "bare_until": window.start + (int(of_window[0]) - 1 - first) * step if of_window[0] > first else None,
        }
    )


def _goes_on(cover: tuple[Span, ...], zone: ZoneInfo, after: datetime) -> datetime:
    """Return when the cover next goes on."""
    over_midnight = any(end == time.max for _, _, end in cover)
    starts = [start for _, start, _ in cover if not (start == time.min and over_midnight)]
    day = after.astimezone(zone).date()
    instants = (
        datetime.combine(day + timedelta(days=ahead), start, tzinfo=zone).astimezone(UTC)
        for ahead in range(3)
        for start in starts
    )
    return min(instant for instant in instants if instant >= after)
