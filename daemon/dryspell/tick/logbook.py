"""Enters coats into the record: with their number, the weather they were put on in, and the verdict then.

The weather and the verdict are kept with the coat as they are known at that moment, so that nothing that is learned of
the weather later alters the record.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from dryspell.config import Config
from dryspell.errors import CoatError
from dryspell.outlook.conditions import conditions_at
from dryspell.outlook.exposure import enclosure_of
from dryspell.outlook.figures import when
from dryspell.outlook.laid import coating_of
from dryspell.outlook.met import ReadHere, by_hand, course, instants_between
from dryspell.outlook.met_model import NOTHING, Met
from dryspell.outlook.model import Coat
from dryspell.store import Store
from dryspell.store.database import seconds
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece
from dryspell.weather.table import FloatArray, TimeArray, WeatherTable

READ = ("air_temperature", "relative_humidity", "dew_point_temperature", "surface_temperature", "wind_speed")
LONGEST = timedelta(hours=24)
"""No coat takes longer from its first stroke to its last."""

_BY_HAND = ("air_c", "surface_c", "humidity_pct", "wind_m_s")


@dataclass(frozen=True)
class ByHand:
    """What was measured while coating, None where it was not."""

    air_c: float | None = None
    surface_c: float | None = None
    humidity_pct: float | None = None
    wind_m_s: float | None = None


@dataclass(frozen=True)
class Correction:
    """What is to be another way: fields of `Coat`, and figures measured by hand, by their names; None is unknown."""

    coat: Mapping[str, Any] = field(default_factory=dict)
    by_hand: Mapping[str, float | None] = field(default_factory=dict)


class Logbook:
    """Takes coats into the record.

    Raises
    ------
    CoatError
        From each of its methods, for what cannot be; nothing is then recorded.
    StoreError
        When the state cannot be read or written.
    """

    def __init__(self, config: Config, store: Store, now: datetime) -> None:
        self._config = config
        self._store = store
        self._now = now

    def record(self, draft: Coat, table: WeatherTable | None, hand: ByHand, *, request: str = "") -> Coat:
        """Enter a coat after those recorded.

        Parameters
        ----------
        draft
            What was told of it; its number is of no account.
        table
            The weather at its site, from before it where that is known.
        hand
            What was measured.
        request
            By what name it was asked for: what is asked twice by one name is recorded once.
        """
        if request and (asked := self._store.coat_asked_for(request)):
            return asked
        piece = self._config.piece[draft.piece]
        films, coats = self._store.films(piece.key, bare=True), self._store.coats(piece.key, bare=True)
        number = max(piece.done, coats[-1].number if coats else 0) + 1
        coat = draft.model_copy(update={"number": number})
        self._check_order(coat, films[-1] if films else None, None)
        advice = self._store.advice_at(piece.key, began_at(coat, piece))
        met = self._met(coat, piece, table, hand)
        return self._store.add_coat(coat.model_copy(update={"met": met, "advice": advice}), request=request)

    def find(self, piece: Piece, number: int) -> Coat:
        """Return the coat of that number, of several the one that lies on top."""
        films = self._store.films(piece.key)
        found = [coat for coat in films if coat.number == number]
        if not found:
            there = ", ".join(str(coat.number) for coat in films)
            raise CoatError(
                f"no coat {number} of {piece.key} is recorded; " + (f"there are {there}" if films else "there are none")
            )
        return found[-1]

    def correct(self, old: Coat, correction: Correction, table: WeatherTable | None, *, who: str = "") -> Coat:
        """Put a coat in the place of one that was recorded wrongly; what is not told stays as it was.

        The weather is looked up again only if the coat was put on at another time.

        Parameters
        ----------
        old
            As `find` returned it.
        who
            Who corrects it.
        """
        piece = self._config.piece[old.piece]
        coat = old.model_copy(update={**correction.coat, "id": 0, "recorded_at": self._now})
        if _same(coat, old) and not correction.by_hand:
            raise CoatError(f"coat {old.number} of {old.piece} is recorded just so; nothing was changed")
        films = self._store.films(piece.key)
        at = [film.id for film in films].index(old.id)
        self._check_order(coat, films[at - 1] if at else None, films[at + 1] if at + 1 < len(films) else None)
        met, advice = coat.met, coat.advice
        hand = ByHand(**(_hand_of(old) | dict(correction.by_hand)))
        if (coat.began_at, coat.finished_at) != (old.began_at, old.finished_at):
            met = self._met(coat, piece, table, hand)
            # What stood once it was recorded was of the coat after it.
            begun = min(began_at(coat, piece), self._first_recorded_at(old) - timedelta(seconds=1))
            advice = self._store.advice_at(piece.key, begun)
        elif correction.by_hand:
            met = _with_hand(met or Met(began_at=began_at(coat, piece)), hand)
        return self._store.correct_coat(old, coat.model_copy(update={"met": met, "advice": advice}), who=who)

    def coating_of(self, coat: Coat) -> Coating:
        """Return what a coat was put on with."""
        lays = self._config.lays_of(self._config.piece[coat.piece])
        return coating_of(coat, lays, self._config.coating)

    def _first_recorded_at(self, coat: Coat) -> datetime:
        """Return when a coat was recorded before it was ever corrected."""
        versions = {version.coat.id: version for version in self._store.versions(coat.piece)}
        before = {c.successor: v.coat for v in versions.values() for c in v.changes if c.what == "corrected"}
        while coat.id in before:
            coat = before[coat.id]
        return coat.recorded_at

    def _check_order(self, coat: Coat, below: Coat | None, above: Coat | None) -> None:
        """Refuse a coat that was not put on between the ones below and above it."""
        began, zone = coat.began_at, self._config.site_of(self._config.piece[coat.piece]).zone

        def said(other: Coat) -> str:
            return f"coat {other.number} was finished {other.finished_at.astimezone(zone):%Y-%m-%d %H:%M}"

        if coat.finished_at > self._now:
            raise CoatError(f"the last stroke {when(coat.finished_at, zone, self._now)} is yet to come")
        if began is not None and not timedelta(0) <= coat.finished_at - began <= LONGEST:
            raise CoatError(
                f"the first stroke {began.astimezone(zone):%Y-%m-%d %H:%M} is not within the {LONGEST.days * 24} h "
                f"before the last one, {coat.finished_at.astimezone(zone):%Y-%m-%d %H:%M}"
            )
        if below is not None and (began or coat.finished_at) <= below.finished_at:
            raise CoatError(f"{said(below)}, and the next one can only be later")
        if above is not None and coat.finished_at >= (above.began_at or above.finished_at):
            raise CoatError(f"{said(above)}, and the one below it can only be earlier")

    def _met(self, coat: Coat, piece: Piece, table: WeatherTable | None, hand: ByHand) -> Met:
        site = self._config.site_of(piece)
        begun = began_at(coat, piece)
        instants = instants_between(_stamp(begun), _stamp(coat.finished_at))
        try:
            conditions = None if table is None else conditions_at(piece, site, table)
        except ValueError:  # less than half an hour of weather
            conditions = None
        here, by_piece = self._read(site.key, piece.key, instants)
        near, in_open = self._read(site.key, "", instants)
        found = course(instants, conditions, ReadHere(here, near), in_open_air=enclosure_of(piece) is None)
        met = Met(
            began_at=begun,
            start=found.at(0),
            end=found.at(-1),
            least=found.least(),
            most=found.most(),
            sensors=tuple(dict.fromkeys((*by_piece, *in_open))),
        )
        if table is not None and met.is_forecast:
            whose = {"forecast": table.source, "issued_at": table.issued_at, "attribution": table.attribution}
            met = met.model_copy(update=whose)
        return _with_hand(met, hand)

    def _read(self, site: str, piece: str, instants: TimeArray) -> tuple[dict[str, FloatArray], list[str]]:
        """Return what was read at some instants, by variable, and by which sensors."""
        found, by = dict[str, FloatArray](), list[str]()
        for name in READ:
            # The last by itself: close to the one before it, each would take only what was read even closer.
            parts = [
                self._store.read_at(site, name, at, piece=piece) for at in (instants[:-1], instants[-1:]) if at.size
            ]
            if any(sensors for _, sensors in parts):
                found[name] = np.concatenate([values for values, _ in parts])
                by += [sensor for _, sensors in parts for sensor in sensors]
        return found, by


def began_at(coat: Coat, piece: Piece) -> datetime:
    """Return the first stroke of a coat: as told, else as long before the last one as the piece takes to brush."""
    return coat.began_at or coat.finished_at - timedelta(hours=min(piece.brushing_h, LONGEST.days * 24))


def _with_hand(met: Met, hand: ByHand) -> Met:
    measured = {name: getattr(hand, name) for name in _BY_HAND}
    if not any(value is not None for value in measured.values()):
        return met.model_copy(update={"by_hand": NOTHING})
    return met.model_copy(update={"by_hand": by_hand(met.start.over(met.end), **measured)})


def _hand_of(coat: Coat) -> dict[str, float | None]:
    """Return what was measured of a coat by hand, as it was told."""
    told = coat.met.by_hand if coat.met else NOTHING
    figures = {name: getattr(told, name) for name in _BY_HAND}
    return {name: figure.value if figure and figure.known == "hand" else None for name, figure in figures.items()}


def _same(one: Coat, other: Coat) -> bool:
    skipped = {"id", "recorded_at"}
    return one.model_dump(exclude=skipped) == other.model_dump(exclude=skipped)


def _stamp(at: datetime) -> np.datetime64:
    return np.datetime64(seconds(at), "s")
