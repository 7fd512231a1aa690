"""An outlook, and what it becomes until the next instant of the grid: a film goes on, the weather grows older.

What was judged stands until then. Whoever looks every minute need not judge anew what was judged a minute ago.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dryspell.outlook.below import stamp
from dryspell.outlook.drying import Going
from dryspell.outlook.model import FilmState, Limit, Outlook, Window
from dryspell.outlook.risk import risks_later
from dryspell.outlook.sight import age_h_of


@dataclass(frozen=True)
class Answer:
    """An outlook that was worked out.

    Attributes
    ----------
    until
        How long nothing of it changes that would have to be judged anew, on the same weather; None where that is not
        known.
    going
        How the film goes on that is on the piece; None for no film, or where that is not known.
    """

    outlook: Outlook
    until: datetime | None = None
    going: Going | None = None

    def at(self, now: datetime) -> Outlook | None:
        """Return the outlook as it is at a later instant; None where it has to be worked out anew."""
        made, film = self.outlook, self.outlook.film
        if self.until is None or made.weather is None or not made.made_at <= now <= self.until:
            return None
        age_h = round(age_h_of(made.weather.issued_at, now), 2)
        then: dict[str, Any] = {"made_at": now, "weather": made.weather.model_copy(update={"age_h": age_h})}
        if film is not None:
            # On an instant of the grid what is yet to come is another.
            if self.going is None or now == self.until:
                return None
            film = _gone_on(film, self.going, now)
            then |= {"film": film, "film_risk": made.film_risk and risks_later(made.film_risk, film.coat, now)}
            if made.reason is None or made.reason.limit is not Limit.BUILT_UP:
                then["sand_first"] = sand_first(film, made.windows, now)
        return made.model_copy(update=then)


def _gone_on(film: FilmState, going: Going, now: datetime) -> FilmState:
    progress = going.progress(max(stamp(now), going.since))
    part = film.sandable_fraction if film.coat.sandable_at is not None else round(min(progress, 1.0), 4)
    return film.model_copy(update={"progress": round(progress, 4), "sandable_fraction": part})


def sand_first(film: FilmState | None, windows: tuple[Window, ...], now: datetime) -> bool:
    """Say whether the overcoat window is past by now, or will be by the next window, or a spoilt coat has to go."""
    if film is None or film.coat.spoilt or film.stages.sand_first_after is None:
        return film is not None and film.coat.spoilt != ""
    by = next((window.best_start for window in windows), now)
    return max(now, by) > film.stages.sand_first_after
