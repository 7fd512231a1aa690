"""A notice in words: a title that fits a watch, verdict first; a body with why, the numbers, until when, and what next.

A message may be read later than it was written, so days stand by their weekday.
"""

from datetime import datetime
from hashlib import sha256
from zoneinfo import ZoneInfo

from dryspell.alerts.model import Kind, Notice, Why
from dryspell.alerts.spans import GRID, stretches
from dryspell.outlook.figures import Units, duration, moment, quantity
from dryspell.outlook.model import Outlook, Stages, Window
from dryspell.outlook.words import capital, caution_text, cover_text, reason_text, why, wood_text
from dryspell.trade.safety import cautions
from dryspell.trade.system import Lay


def notice_id(notice: Notice) -> str:
    """Return the short id that stands in the last line of the body, so that a repeat is known for one."""
    return sha256(notice.key.encode()).hexdigest()[:10]


def compose(notice: Notice, outlook: Outlook, lay: Lay, units: Units = "metric") -> tuple[str, str]:
    """Return title and body.

    Parameters
    ----------
    notice, outlook
        What was decided, and the outlook it was decided on.
    lay
        The next coat as it is to be laid.
    """
    writer = _Writer(notice, outlook, lay, units)
    return writer.title(), "\n".join(line for line in (*writer.body(), f"[{notice_id(notice)}]") if line)


class _Writer:
    def __init__(self, notice: Notice, outlook: Outlook, lay: Lay, units: Units) -> None:
        self.notice = notice
        self.outlook = outlook
        self.lay = lay
        self.units = units
        self.zone = ZoneInfo(outlook.timezone)
        self.window = notice.windows[0] if notice.windows else None

    def title(self) -> str:
        name, window, told = self.outlook.piece_name, self.window, self.notice.told
        said = "Wait"
        match self.notice.kind:
            case Kind.TOMORROW if window:
                said = f"{_verb(window)} tomorrow {self._span(window)}"
            case Kind.COAT_NOW if window and self.outlook.word == "tight" and window.good_from:
                said = f"Tight now, better from {self._at(window.good_from)}"
            case Kind.COAT_NOW if window:
                again = " again" if self.notice.why is Why.OPEN_AGAIN else ""
                said = f"{_verb(window)} now{again}, brush down by {self._at(_last_stroke(window))}"
            case Kind.WAIT if self.notice.why is Why.SHORTER and window and not self._shut(window):
                said = f"Brush down sooner, by {self._at(_last_stroke(window))}"
            case Kind.WAIT if window:
                said = f"Wait until {self._at(window.start)}"
            case Kind.WAIT if told and told.start <= self.notice.created_at:
                said = "Wait, not now after all"
            case Kind.WAIT if told:
                said = f"Wait, no coat {self._at(told.start)}"
            case Kind.WEATHER_LOST:
                said = "Wait, no weather to go by"
        return f"{said}: {name}"

    def _shut(self, window: Window) -> bool:
        """Say whether a window that was open by what was told is not open now."""
        told, now = self.notice.told, self.notice.created_at
        return told is not None and told.start <= now and window.start > now + GRID

    def body(self) -> list[str]:
        match self.notice.kind:
            case Kind.TOMORROW:
                return [*self._plan(), self._after(), self._credit()]
            case Kind.COAT_NOW:
                return [*self._plan(), self._after(), self._credit(), *cautions(self.lay.coating)]
            case Kind.WAIT:
                return [self._told(), *self._broken(), self._after(), self._credit()]
            case Kind.WEATHER_LOST:
                return [self._told(), *self._lost(), self._credit()]

    def _at(self, instant: datetime) -> str:
        return moment(instant, self.zone, None, self.notice.created_at)

    def _span(self, window: Window) -> str:
        end = _last_stroke(window)
        return f"{self._at(window.start)} to {moment(end, self.zone, None, window.start)}"

    def _figure(self, value: float, unit: str) -> str:
        return quantity(value, unit, self.units)

    def _coat(self) -> str:
        """Name the coat, and how it is thinned."""
        number, outlook = self.notice.coat, self.outlook
        parts = self.lay.thinner_parts
        thinner = f"{parts:g} parts of thinner to 100" if parts else "neat"
        sand = ", sanded first (the time to coat without sanding is over)" if outlook.sand_first else ""
        return f"Coat {number} of {outlook.coats}, {thinner}{sand}."

    def _plan(self) -> list[str]:
        """Say what to do and on which numbers that stands."""
        window = self.window
        if window is None:
            return []
        lines = [self._coat(), self._begin(window), *(f"Then again: {self._begin(w)}" for w in self.notice.windows[1:])]
        if window.hang_shade_by:
            lines.append(f"Hang the shade by {self._at(window.hang_shade_by)}.")
        if self.outlook.wood:
            lines.append(wood_text(self.outlook.wood))
        if window.without_cover:
            lines.append(f"{capital(cover_text(window, self.zone, self.units, on=self.notice.created_at))}.")
        lines += [
            f"Surface {self._figure(window.surface_c, 'degC')}, humidity {self._figure(window.humidity_pct, '%')}.",
            self._margins(window),
            f"Nearest limit: {self._reason_of(window)}.",
            self._stages(window.stages),
            *(f"{capital(caution_text(reason, self.units))}." for reason in window.cautions),
        ]
        return lines

    def _margins(self, window: Window) -> str:
        apply, hold = (self._figure(margin, "K") for margin in (window.margin_apply_k, window.margin_hold_k))
        return f"Surface over dew point: {apply} at the least while brushing, then {hold} until dew-safe."

    def _reason_of(self, window: Window) -> str:
        return reason_text(window.binding, self.zone, self.units, on=self.notice.created_at)

    def _begin(self, window: Window) -> str:
        starts = f"{self._at(window.start)} to {moment(window.begin_by, self.zone, None, window.start)}"
        by = moment(_last_stroke(window), self.zone, None, window.start)
        text = f"Begin {starts}, brush down by {by}."
        if window.word == "tight":
            return f"{text} Tight: it works only if the forecast is right to the last degree."
        edges = []
        if window.good_from and window.good_from > window.start:
            edges.append(f"before {moment(window.good_from, self.zone, None, window.start)}")
        if window.tight_until > window.brush_down_by:
            until = moment(window.tight_until, self.zone, None, window.start)
            edges.append(f"with the last stroke after that, to {until} at the latest")
        return f"{text} Tight {', or '.join(edges)}." if edges else text

    def _stages(self, stages: Stages) -> str:
        named = (("dew-safe", stages.dew_safe), ("rain-safe", stages.rain_safe), ("sandable", stages.sandable))
        known = [f"{name} {self._at(at)}" for name, at in named if at]
        return f"Estimated, begun at the best time: {', '.join(known)}." if known else ""

    def _told(self) -> str:
        told = self.notice.told
        if told is None:
            return ""
        by = moment(told.brush_down_by, self.zone, None, told.start)
        return f"You were told {moment(told.start, self.zone)} to {by} for coat {self.notice.coat}."

    def _broken(self) -> list[str]:
        reason = self.notice.reason
        lines = []
        if reason:
            text = reason_text(reason, self.zone, self.units, on=self.notice.created_at, below=self.notice.coat - 1)
            lines.append(f"{capital(text)}.")
        if self.window:
            lines.append(f"Now: {self._begin(self.window)}")
        return lines

    def _lost(self) -> list[str]:
        lines = [
            f"{capital(why(self.outlook, self.units))}." if why(self.outlook) else "",
            "No verdict is given on that.",
        ]
        if self.notice.why is Why.LOST_WET:
            lines.append(f"Coat {self.notice.coat - 1} may not be dew-safe: look after dew and rain yourself.")
        else:
            lines.append("Judge dew, rain and cold yourself before you coat.")
        return lines

    def _after(self) -> str:
        """Name the next window after those the notice is about."""
        last = self.notice.windows[-1].last_start if self.notice.windows else None
        if last is None and self.notice.told:
            last = self.notice.told.last_start if self.notice.told.start <= self.notice.created_at else None
        later = next((s for s in stretches(self.outlook.windows) if last is None or s.start > last), None)
        other = " other" if self.notice.windows else ""
        if later is None:
            return f"No{other} window within the forecast."
        window = later.windows[0]
        tight = ", tight" if window.word == "tight" else ""
        return f"Next{other} window: {self._span(window)}{tight}."

    def _credit(self) -> str:
        weather = self.outlook.weather
        if weather is None:
            return ""
        age = duration(self.notice.created_at - weather.issued_at)
        return f"Weather: {weather.source}, {age} old. {weather.attribution}".strip()


def _verb(window: Window) -> str:
    return "Coat" if window.word == "coat" else "Tight"


def _last_stroke(window: Window) -> datetime:
    return window.brush_down_by if window.word == "coat" else window.tight_until
