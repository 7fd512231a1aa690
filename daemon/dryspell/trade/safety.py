"""The usual cautions of a coating, short, each deferring to the data sheet. They are reminders, not instructions."""

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
