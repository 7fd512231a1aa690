"""The usual cautions of a coating, short, each deferring to the data sheet. They are reminders, not instructions."""

from collections.abc import Iterable

from dryspell.trade.coating import Coating

RAGS = (
    "Rags and brushes wet with oil or varnish can heat up and catch fire by themselves within hours: dry them spread "
    "out outdoors, or keep them under water in a closed can."
)
"""What fire services advise; some say varnish does not do it and only oil does. The careful side is taken."""
SOLVENT = "Solvent vapours: plenty of air, no flame or spark, and the mask the data sheet asks for."
ISOCYANATE = (
    "It may hold isocyanate (two-part mixes: in the hardener), which harms lungs for good: gloves, eyes and skin "
    "covered, never sprayed without the equipment and training the law asks for; with asthma, stay away."
)
EPOXY = "Epoxy makes skin allergic: gloves, and no solvent to wash it off."
DUST = "Dust of wood and of old coatings harms lungs: a vacuum cleaner on the sander, and a mask against dust."
OLD_PAINT = "Old paint may hold lead: have it tested before it is sanded, burnt or blasted."
DATA_SHEET = "The coating's data sheet, its label and local rules decide."


def cautions(coating: Coating) -> tuple[str, ...]:
    """Return the cautions for putting on a coat, by what it cures by and the family it starts from.

    Sources: fire services' advice on oily rags; the British safety executive on isocyanate in two-component paint. The
    rest is common practice, no source.
    """
    texts = []
    if coating.cures_by == "oxidation":
        texts.append(RAGS)
    if coating.cures_by != "coalescence":
        texts.append(SOLVENT)
    if coating.cures_by in ("reaction", "moisture"):
        texts.append(EPOXY if coating.family.startswith("epoxy") and coating.cures_by == "reaction" else ISOCYANATE)
    return (*texts, DATA_SHEET)


def cautions_of_all(coatings: Iterable[Coating], *, sanding: bool, old_film: bool) -> tuple[str, ...]:
    """Return the cautions for working with some coatings, each once, the data sheet last.

    Parameters
    ----------
    sanding
        Whether anything is sanded.
    old_film
        Whether some of that is an old film.
    """
    texts = dict.fromkeys(text for coating in coatings for text in cautions(coating) if text != DATA_SHEET)
    dust = [DUST] * sanding + [OLD_PAINT] * (sanding and old_film)
    return (*texts, *dust, DATA_SHEET)
