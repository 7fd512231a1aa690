"""The build-up as it was really laid, where a coat was put on with something else than planned."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from dryspell.outlook.model import Coat
from dryspell.trade.coating import Coating
from dryspell.trade.system import Lay, lay_at, ruled


def coating_of(coat: Coat, lays: Sequence[Lay], coatings: Mapping[str, Coating]) -> Coating:
    """Return what a coat was put on with: as was told, else as the build-up has it."""
    return coatings.get(coat.coating) or lay_at(lays, coat.number).coating


def as_laid(lays: Sequence[Lay], coats: Sequence[Coat], coatings: Mapping[str, Coating]) -> tuple[Lay, ...]:
    """Return a build-up with the coatings that its coats were really put on with."""
    found = list(lays)
    for coat in coats:
        if coat.coating and not coat.spoilt and coat.number <= len(found):
            found[coat.number - 1] = replace(found[coat.number - 1], coating=coating_of(coat, lays, coatings))
    return ruled(found)
