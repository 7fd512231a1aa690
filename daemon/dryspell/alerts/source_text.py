"""A notice about a source of weather in words: since when it gives nothing, what is gone by meanwhile, what to do."""

from hashlib import sha256
from zoneinfo import ZoneInfo

from dryspell.alerts.kinds import OutageKind
from dryspell.alerts.sources import SourceNotice
from dryspell.outlook.figures import duration, moment


def compose_source(notice: SourceNotice, place: str, zone: ZoneInfo, stale_after_h: float) -> tuple[str, str]:
    """Return title and body.

    Parameters
    ----------
    place
        What to call the site.
    zone
        That of the site.
    stale_after_h
        How old weather may get before no verdict is given on it.
    """
    source, now = notice.health.source, notice.created_at
    since = moment(notice.since, zone)
    if notice.kind is OutageKind.BACK:
        title = f"Weather source back: {source}"
        lines = [f"It gives weather for {place} again; it gave none since {since}.", "Nothing to do."]
    else:
        title = f"No weather from {source}"
        lines = [
            f"It has given none for {place} since {since}, {duration(now - notice.since)} ago.",
            f"What it said last: {notice.health.error}." if notice.health.error else "",
            *_meanwhile(notice, zone, stale_after_h),
        ]
    return title, "\n".join(line for line in (*lines, f"[{source_notice_id(notice)}]") if line)


def source_notice_id(notice: SourceNotice) -> str:
    """Return the short id that stands in the last line of the body, so that a repeat is known for one."""
    return sha256(notice.key.encode()).hexdigest()[:10]


def _meanwhile(notice: SourceNotice, zone: ZoneInfo, stale_after_h: float) -> list[str]:
    health = notice.health
    if health.instead:
        return [f"The weather of {health.instead} is used meanwhile. Nothing to do."]
    if health.issued_at is None:
        return ["There is no weather from before either: no verdict is given. Look after dew and rain yourself."]
    return [
        f"Its last one, of {moment(health.issued_at, zone)}, is used until it is over {stale_after_h:g} h old.",
        "Then no verdict is given. Treat every go as a maybe till it is back. `dryspell check` asks it at once.",
    ]
