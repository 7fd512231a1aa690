"""What `dryspell coat` answers, in words and as a document."""

import textwrap
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from dryspell.answers.coat_document import PlannedLay
from dryspell.answers.coat_done import CoatDocument, Did
from dryspell.config import Config
from dryspell.outlook.coat_words import differences, met_lines, spoilt_text, thinner_text
from dryspell.outlook.figures import duration, quantity, when
from dryspell.outlook.laid import coating_of
from dryspell.outlook.model import Coat, FilmState
from dryspell.science.film import parts_to_share
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece
from dryspell.trade.safety import cautions

WIDTH = 80
STAGES = {
    "touch_dry": "touch-dry",
    "dew_safe": "dew-safe",
    "rain_safe": "rain-safe",
    "recoat": "ready to coat over",
    "sandable": "sandable",
}
# A stain is not sanded: hard right through is ready to coat over.
_STAGES_OF_STAIN = {key: name for key, name in STAGES.items() if key != "recoat"} | {"sandable": "dry to coat"}


@dataclass(frozen=True)
class Answer:
    """The answer to what was done to a coat.

    `film` is the film that now lies on the piece, where its weather is known; `old` is the coat before a correction.
    """

    config: Config
    piece: Piece
    coat: Coat
    film: FilmState | None
    present: datetime
    old: Coat | None = None

    def text(self, did: Did) -> str:
        """Return it in words."""
        tell = {
            "record": self._recorded,
            "correct": self._corrected,
            "undo": self._taken_back,
            "spoilt": self._spoilt,
            "not spoilt": self._not_spoilt,
        }
        return wrapped(tell[did]())

    def document(self, did: Did) -> CoatDocument:
        """Return it as a JSON document."""
        site = self.config.site_of(self.piece)
        return CoatDocument.model_validate(
            {
                **dict(self.coat),
                "generated_at": self.present,
                "did": did,
                "piece": self.piece.key,
                "name": self.piece.name,
                "site": site.key,
                "timezone": site.zone.key,
                "planned": PlannedLay.of(self.config.lay_of(self.piece, self.coat.number)),
                "coats": self._coats,
                "stages": self.film and self.film.stages,
                "unaccounted_h": self.film and self.film.unaccounted_h,
                "cautions": self._cautions() if did == "record" else (),
            }
        )

    @property
    def _coats(self) -> int:
        return len(self.config.lays_of(self.piece))

    def _recorded(self) -> Iterator[str]:
        yield f"{self.piece.name}: coat {self.coat.number} of {self._coats} recorded, last stroke {self._stroke}."
        if self.coat.number > self._coats:
            yield f"That is more than the {self._coats} coats of the configuration; raise `coats` if more are to come."
        if details := ", ".join(self._details()):
            yield f"{details[:1].upper()}{details[1:]}."
        yield from self._beside_the_plan()
        yield from self._met()
        yield from self._expected()
        yield ""
        yield from self._cautions()

    def _corrected(self) -> Iterator[str]:
        yield f"{self.piece.name}: coat {self.coat.number} is corrected; as it was before, it stays in the history."
        zone, units = self.config.site_of(self.piece).zone, self.config.alerting.units
        changes = list(differences(self.old or self.coat, self.coat, zone, units))
        if changes:
            yield f"Now {'; '.join(changes)}."
        yield from self._beside_the_plan()
        yield from self._met()
        if self.film is not None and self.film.coat.id == self.coat.id:
            yield from self._expected()

    def _taken_back(self) -> Iterator[str]:
        text = f"{self.piece.name}: coat {self.coat.number}, last stroke {self._stroke}, is taken back."
        after = "" if self.coat.spoilt else f"; the next coat is {self.coat.number} again"
        yield f"{text} It stays in the record as that{after}."

    def _spoilt(self) -> Iterator[str]:
        number = self.coat.number
        yield (
            f"{self.piece.name}: coat {number}, last stroke {self._stroke}, is {spoilt_text(self.coat)}. It stays in "
            f"the record and does not count: the next coat is {number} again, when this one is hard and sanded off."
        )
        yield from self._expected()

    def _not_spoilt(self) -> Iterator[str]:
        yield f"{self.piece.name}: coat {self.coat.number}, last stroke {self._stroke}, is not spoilt; it counts again."

    @property
    def _coating(self) -> Coating:
        return coating_of(self.coat, self.config.lays_of(self.piece), self.config.coating)

    @property
    def _stroke(self) -> str:
        return when(self.coat.finished_at, self.config.site_of(self.piece).zone, self.present)

    def _cautions(self) -> tuple[str, ...]:
        return cautions(self._coating)

    def _details(self) -> Iterator[str]:
        coat, units = self.coat, self.config.alerting.units
        if coat.coating:
            yield f"with {self._coating.label}"
        if coat.thinner_parts is not None:
            yield thinner_text(coat.thinner_parts).replace("parts to", "parts of thinner to")
        if coat.wet_film_um is not None:
            yield f"wet film {quantity(coat.wet_film_um, 'um', units)}"
        if coat.litres is not None:
            yield f"{coat.litres:g} L used"
        if coat.abrasive:
            yield "not sanded" if coat.abrasive == "none" else f"sanded with {coat.abrasive}"
        if coat.batch:
            yield f"batch {coat.batch}"
        if coat.who:
            yield f"by {coat.who}"
        if coat.photo:
            yield f"picture {coat.photo}"
        if coat.note:
            yield f"note: {coat.note}"

    def _beside_the_plan(self) -> Iterator[str]:
        """Yield what is planned where it is not told or is another: what was not told is not assumed."""
        lay, parts = self.config.lay_of(self.piece, self.coat.number), self.coat.thinner_parts
        planned = thinner_text(lay.thinner_parts)
        if lay.thinner_parts:
            planned += f" ({float(parts_to_share(lay.thinner_parts)):.0f} % of the mix)"
        if parts is None:
            tell = f'--correct {self.coat.number} --thinner "{lay.thinner_parts:g} parts"'
            if not lay.thinner_parts:
                tell = f"--correct {self.coat.number} --thinner neat"
            yield f"How it was thinned is not told, so it is not counted as a full coat. Planned: {planned}; {tell}"
        elif abs(parts - lay.thinner_parts) > 0.5:
            yield f"Planned: {planned}."

    def _met(self) -> Iterator[str]:
        zone, units = self.config.site_of(self.piece).zone, self.config.alerting.units
        yield from met_lines(self.coat.met, zone, self.present, units, assumed=self.coat.began_at is None)

    def _expected(self) -> Iterator[str]:
        if self.film is None:
            yield "No weather is known here yet, so its drying is not estimated; `dryspell windows` fetches some."
            return
        yield from _stages_text(self.film, self._at)

    def _at(self, at: datetime) -> str:
        return when(at, self.config.site_of(self.piece).zone, self.present)


def _stages_text(film: FilmState, at: Callable[[datetime], str]) -> Iterator[str]:
    named = _STAGES_OF_STAIN if film.stain else STAGES
    known = [f"{name} {at(moment)}" for key, name in named.items() if (moment := getattr(film.stages, key))]
    later = [name for key, name in named.items() if getattr(film.stages, key) is None]
    beyond = [f"{' and '.join(later)} later than the forecast reaches"] if later else []
    check = "Check with a white cloth: it takes no colour." if film.stain else "Check with your thumb."
    yield f"Estimated: {', '.join(known + beyond)}. {check}"
    if film.unaccounted_h > 0:
        yield (
            f"For {duration(timedelta(hours=film.unaccounted_h))} since then no weather is known; "
            "they count as no drying at all."
        )


def wrapped(lines: Iterable[str]) -> str:
    """Return lines broken to the width of a terminal."""
    return "\n".join("\n".join(textwrap.wrap(line, WIDTH, break_on_hyphens=False)) for line in lines)
