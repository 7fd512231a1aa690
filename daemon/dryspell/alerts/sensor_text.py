"""A notice about a sensor in words: what is wrong since when, what that means, and where to look."""

from datetime import timedelta
from hashlib import sha256
from zoneinfo import ZoneInfo

from dryspell.alerts.kinds import SensorKind
from dryspell.alerts.sensors import SensorNotice, Trouble
from dryspell.outlook.figures import duration, moment
from dryspell.weather.flags import WORDS, Flag

_FAILED = {Trouble.SILENT: "Sensor silent", Trouble.STUCK: "Sensor stuck", Trouble.FLAGGED: "Sensor not to be believed"}
_WAS = {Trouble.SILENT: "silent", Trouble.STUCK: "stuck", Trouble.FLAGGED: "not to be believed"}
_CLOCK = {Flag.FUTURE, Flag.PAST}


def compose_sensor(notice: SensorNotice, place: str, zone: ZoneInfo) -> tuple[str, str]:
    """Return title and body.

    Parameters
    ----------
    notice
        What was decided.
    place
        What to call the site, or the piece that the sensor is on or in.
    zone
        That of the site.
    """
    failed = notice.kind is SensorKind.FAILED
    title = f"{_FAILED[notice.trouble] if failed else 'Sensor back'}: {notice.health.name}"
    lines = [*_what(notice, zone), *_means(place), _look(notice)] if failed else _again(notice, place, zone)
    return title, "\n".join((*lines, f"[{sensor_notice_id(notice)}]"))


def sensor_notice_id(notice: SensorNotice) -> str:
    """Return the short id that stands in the last line of the body, so that a repeat is known for one."""
    return sha256(notice.key.encode()).hexdigest()[:10]


def _what(notice: SensorNotice, zone: ZoneInfo) -> list[str]:
    health, now = notice.health, notice.created_at
    since = "" if notice.since is None else moment(notice.since, zone)
    match notice.trouble:
        case Trouble.SILENT:
            expected = duration(timedelta(seconds=health.silent_after_s))
            heard = (
                f"No reading since {since}, {duration(now - notice.since)} ago" if notice.since else "No reading yet"
            )
            return [f"{heard} (one in {expected} is expected)."]
        case Trouble.STUCK:
            what = " and ".join(_plain(name) for name in health.stuck)
            return [f"It reads the same {what} again and again, for longer than the air stays the same."]
        case Trouble.FLAGGED:
            share = (
                f"{100 * health.flagged_share:.0f} % of its last {health.readings} readings of {_plain(health.worst)}"
            )
            good = f"The last good reading is of {since}." if since else "There is no good reading of it."
            return [f"{share} are not used, most of them because: {WORDS[health.main_flag]}.", good]


def _means(place: str) -> list[str]:
    return [f"Until it is back, {place} is judged by the forecast and by other sensors, where there are any."]


def _look(notice: SensorNotice) -> str:
    match notice.trouble:
        case Trouble.SILENT:
            return "Look at its power, its reach, and what passes its readings on."
        case Trouble.STUCK:
            return "Look whether the probe is iced over, covered or broken, and what passes its readings on."
        case Trouble.FLAGGED if notice.health.main_flag in _CLOCK:
            return "Look at its clock and its time zone."
        case Trouble.FLAGGED:
            return "Look at the probe, where it hangs, its wires, and the unit of its readings."


def _again(notice: SensorNotice, place: str, zone: ZoneInfo) -> list[str]:
    since = f" since {moment(notice.since, zone)}" if notice.since else ""
    return [f"It was {_WAS[notice.trouble]}{since}.", f"Its readings are good, and are used again for {place}."]


def _plain(variable: str) -> str:
    return variable.replace("_", " ")
