"""Where the charts of a page are found: an address for each way in which one can be looked at."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import urlencode

from dryspell.alerts.picture_look import Theme
from dryspell.outlook.plan_model import Plan
from dryspell.web.charts.drawings import script_name
from dryspell.web.shell import View


@dataclass(frozen=True)
class Picture:
    """A chart on a page.

    Attributes
    ----------
    name
        Which chart it is.
    alt
        What it shows, for who does not see it; the table beside it has the figures.
    query
        What it is a chart of.
    sizes
        About how wide and high it is, wide and narrow: room is kept for it until it is there.
    alive
        Whether the page's script can put the chart in its place that tells figures where it is pointed at.
    """

    view: View
    name: str
    alt: str
    sizes: tuple[tuple[int, int], tuple[int, int]]
    query: Mapping[str, str] = field(default_factory=dict)
    alive: bool = False

    def at(self, theme: Theme, *, wide: bool, kind: str = "svg") -> str:
        """Return its address."""
        known = self.view.known
        asked = {
            **self.query,
            "theme": theme,
            "size": "wide" if wide else "narrow",
            "units": self.view.units,
            "of": f"{known.at.timestamp():.3f}" if known else "",
        }
        return f"{self.view.root}/charts/{self.name}.{kind}?{urlencode(asked)}"

    @property
    def spec(self) -> str:
        """The address of the specification, but for theme and size, which the script knows."""
        known = self.view.known
        asked = {**self.query, "units": self.view.units, "of": f"{known.at.timestamp():.3f}" if known else ""}
        return f"{self.view.root}/charts/{self.name}.json?{urlencode(asked)}"


def plan_picture(view: View) -> Picture | None:
    """Return the chart of the plans, None where there are none or nothing draws it."""
    plans = view.known.plans if view.known else None
    if plans is None or not any(map(_shows, plans.plans)) or not script_name():
        return None
    high = 60 + 52 * len(plans.plans)
    alt = "The coats to come of each piece on a line of days. The list on this page holds the same days and hours."
    return Picture(view, "plan", alt, ((1120, high), (370, high)))


def _shows(plan: Plan) -> bool:
    """Say whether a plan has anything that is drawn."""
    return bool(plan.planned) or plan.built_up_at is not None or plan.beyond is not None


def review_picture(view: View) -> Picture | None:
    """Return the chart of what was said against what came, None where nothing draws it."""
    if view.known is None or not script_name():
        return None
    alt = "What share of starts came true against the odds that were said of them, by how far ahead. Table below."
    return Picture(view, "review", alt, ((1250, 330), (410, 430)))


def hours_picture(view: View, piece: str) -> Picture | None:
    """Return the next 36 hours of a piece as the chart beside a message shows them, None where nothing draws it."""
    if view.known is None or not script_name():
        return None
    alt = f"The next 36 hours of {view.config.piece[piece].name}; its page in the outlook has the same as a table."
    return Picture(view, "hours", alt, ((400, 560), (400, 560)), {"piece": piece})
