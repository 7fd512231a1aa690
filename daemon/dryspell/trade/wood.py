"""How dry bare wood has to be before its first coat."""

from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece

_NOT_WOOD = ("steel", "hull")
"""Bodies without wood behind the film: a hull is taken as laminate here, one of planks is heavy timber."""


def is_bare_wood(piece: Piece, next_coat: int) -> bool:
    """Say whether the next coat goes on bare wood."""
    return next_coat == 1 and piece.over == "bare wood" and piece.body not in _NOT_WOOD


def moisture_before_coating_pct(coating: Coating, piece: Piece) -> float:
    """Return the moisture that bare wood should be under before its first coat [% of the dry mass].

    Above it a finisher has second thoughts; a few per cent more and he waits. The figures conflict between sources (12
    to 15 against 15 to 20 % for the same boats): common practice, no source; 14 % for doors and windows is what
    joiners' pages give as 12 give or take 2.
    """
    if coating.cures_by == "reaction":
        return 12.0  # under two-part clear and epoxy
    if coating.family == "penetrating_oil":
        return 18.0
    return 14.0 if piece.body == "door" else 16.0
