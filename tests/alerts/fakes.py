"""Outlooks by hand: a day's windows in local hours, and nothing of the weather behind them."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from dryspell.outlook.model import Block, Coat, FilmState, Limit, Outlook, Provenance, Reason, Stages, Window

ZONE = ZoneInfo("Europe/Berlin")
BRUSHING = timedelta(minutes=45)
DEW = Reason(limit=Limit.MARGIN_HOLD, value=-0.4, bound=1.0, unit="K")


def at(day, clock):
    """Return an instant of June 2026 by its day and its time in Berlin."""
    hour, minute = (int(part) for part in clock.split(":"))
    return datetime(2026, 6, day, hour, minute, tzinfo=ZONE).astimezone(UTC)


def window(day, start, last_start, *, word="coat", **changes):
    first, last = at(day, start), at(day, last_start)
    values = {
        "start": first,
        "last_start": last,
        "good_from": first if word == "coat" else None,
        "brush_down_by": last + BRUSHING,
        "tight_until": last + BRUSHING,
        "word": word,
        "best_start": first,
        "probability": 1.0,
        "binding": Reason(limit=Limit.MARGIN_HOLD, value=1.6, bound=1.0, unit="K", at=at(day, "20:00")),
        "margin_apply_k": 4.1,
        "margin_hold_k": 1.6,
        "surface_c": 16.2,
        "humidity_pct": 64.0,
        "stages": Stages(dew_safe=at(day, "18:20"), rain_safe=at(day, "21:00"), sandable=at(day + 1, "10:00")),
    }
    return Window(**(values | changes))


def outlook(now, windows=(), *, word=None, coat=4, film=None, reason=DEW, **changes):
    """Return an outlook as the outlook package makes it: windows cut at `now`, the rest blocked by `reason`."""
    grid = timedelta(minutes=15)
    first = datetime.fromtimestamp(-(-now.timestamp() // grid.total_seconds()) * grid.total_seconds(), UTC)
    ahead = tuple(
        w.model_copy(update={"start": max(w.start, first), "best_start": max(w.best_start, first)})
        for w in windows
        if w.last_start >= first
    )
    is_open = bool(ahead) and ahead[0].start == first
    edges = [first, *(edge for w in ahead for edge in (w.start, w.last_start + grid)), first + timedelta(days=16)]
    blocks = tuple(
        Block(start=start, end=end, reason=reason)
        for start, end in zip(edges[::2], edges[1::2], strict=True)
        if start < end
    )
    values = {
        "piece": "rail",
        "piece_name": "Toe rail",
        "site": "mooring",
        "timezone": ZONE.key,
        "made_at": now,
        "word": word or (ahead[0].word if is_open else "wait"),
        "reason": reason,
        "next_coat": coat,
        "coats": 8,
        "coating": "oil_varnish_1k",
        "windows": ahead,
        "blocks": blocks,
        "film": film,
        "film_risk": (),
        "weather": Provenance(
            source="open-meteo",
            attribution="Weather data by Open-Meteo.com",
            issued_at=now - timedelta(hours=2),
            age_h=2.0,
            reaches=now + timedelta(days=16),
        ),
    }
    return Outlook(**(values | changes))


def unknown(now, **changes):
    stale = Reason(limit=Limit.KNOWN, value=13.0, bound=12.0, unit="h")
    return outlook(now, (), word="unknown", reason=stale, blocks=(), **({"film_risk": None} | changes))


def film(day, clock, dew_safe, *, number=3, stages=None, **of_coat):
    finished = at(day, clock)
    coat = Coat(piece="rail", number=number, finished_at=finished, recorded_at=finished, **of_coat)
    reached = (stages or Stages()).model_copy(update={"dew_safe": dew_safe})
    return FilmState(coat=coat, stages=reached, sandable_fraction=0.2)
