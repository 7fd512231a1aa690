"""What a coat leaves on the surface, and how much has to be in the can for it.

Thinner is counted in parts to a hundred parts of coating by volume: 50 parts to 100 hold a third of thinner, not half.
`share_to_parts` and `parts_to_share` turn the one into the other. Absorbing wood takes more than a film shows.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryspell.science.bounds import FloatArray, within

# What still counts as a full coat of a build-up (common practice, no source).
FULL_COAT_THINNER_PARTS = 10.0
_FULL_COAT_FILM_FIFTHS = 4.0  # four fifths of the film; in fifths, since 0.8 is no binary number


def _film(name: str, values: npt.ArrayLike) -> FloatArray:
    return within(name, values, 0.0, 5000.0, "um")


def _solids(volume_solids_pct: npt.ArrayLike, thinner_pct: npt.ArrayLike) -> FloatArray:
    """Return the solids of the thinned mix as a share of its volume."""
    solids = within("volume_solids_pct", volume_solids_pct, 1.0, 100.0, "%")
    return solids / (100.0 + within("thinner_pct", thinner_pct, 0.0, 1000.0, "parts to 100"))


def dry_film_um(
    wet_um: npt.ArrayLike, volume_solids_pct: npt.ArrayLike, thinner_pct: npt.ArrayLike = 0.0
) -> FloatArray:
    """Return the dry film that a wet film leaves [um].

    Parameters
    ----------
    wet_um
        Wet film, any shape. [um]
    volume_solids_pct
        Solids by volume of the coating as it comes in the can. [%]
    thinner_pct
        Parts of thinner to a hundred parts of coating, by volume.

    Raises
    ------
    ValueError
        For a film outside 0 to 5000 um, solids outside 1 to 100 % or thinner outside 0 to 1000 parts.
    """
    return _film("wet_um", wet_um) * _solids(volume_solids_pct, thinner_pct)


def wet_film_for(
    dry_um: npt.ArrayLike, volume_solids_pct: npt.ArrayLike, thinner_pct: npt.ArrayLike = 0.0
) -> FloatArray:
    """Return the wet film to lay for a dry film [um]. Parameters and errors as for `dry_film_um`."""
    return _film("dry_um", dry_um) / _solids(volume_solids_pct, thinner_pct)


def spreading_rate_m2_per_l(
    dry_um: npt.ArrayLike, volume_solids_pct: npt.ArrayLike, thinner_pct: npt.ArrayLike = 0.0
) -> FloatArray:
    """Return the surface a litre of the mix covers at a dry film, without loss [m2 L-1].

    Parameters and errors as for `dry_film_um`; a film of nothing is refused too.
    """
    dry = within("dry_um", dry_um, 0.1, 5000.0, "um")
    return 1000.0 * _solids(volume_solids_pct, thinner_pct) / dry


def litres(area_m2: npt.ArrayLike, wet_um: npt.ArrayLike, waste_pct: npt.ArrayLike = 0.0) -> FloatArray:
    """Return the mix that a coat takes [L].

    Parameters
    ----------
    area_m2
        Surface to coat. [m2]
    wet_um
        Wet film. [um]
    waste_pct
        What stays in brush, pot and can, on top of what is laid; by brush 10 to 25 (common practice, no source). [%]

    Raises
    ------
    ValueError
        For a negative area, a film outside 0 to 5000 um or a waste outside 0 to 300 %.
    """
    laid = within("area_m2", area_m2, 0.0, 1e6, "m2") * _film("wet_um", wet_um) / 1000.0
    return laid * (1.0 + within("waste_pct", waste_pct, 0.0, 300.0, "%") / 100.0)


def coating_and_thinner(mix: npt.ArrayLike, thinner_parts: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return how much coating and how much thinner make a mix, in the unit of the mix.

    Parameters
    ----------
    mix
        Volume of the thinned mix, any unit.
    thinner_parts
        Parts of thinner to a hundred parts of coating, by volume.

    Raises
    ------
    ValueError
        For a negative mix or thinner outside 0 to 1000 parts.
    """
    whole = within("mix", mix, 0.0, np.inf, "of volume")
    coating = whole / (1.0 + within("thinner_parts", thinner_parts, 0.0, 1000.0, "parts to 100") / 100.0)
    return coating, whole - coating


def parts_to_share(thinner_parts: npt.ArrayLike) -> FloatArray:
    """Return the percentage of thinner in the mix for parts to a hundred parts of coating [%]."""
    parts = within("thinner_parts", thinner_parts, 0.0, 1000.0, "parts to 100")
    return 100.0 * parts / (100.0 + parts)


def share_to_parts(share_pct: npt.ArrayLike) -> FloatArray:
    """Return the parts of thinner to a hundred parts of coating for a percentage of thinner in the mix.

    Raises
    ------
    ValueError
        For a share outside 0 to 90 %.
    """
    share = within("share_pct", share_pct, 0.0, 90.0, "% of the mix")
    return 100.0 * share / (100.0 - share)


def is_full_coat(
    thinner_parts: npt.ArrayLike, wet_um: npt.ArrayLike, default_wet_um: npt.ArrayLike
) -> npt.NDArray[np.bool_]:
    """Say whether a coat counts as a full one of a build-up: at most 10 parts of thinner, and four fifths of the film.

    Parameters
    ----------
    thinner_parts
        Parts of thinner to a hundred parts of coating. An unknown one (NaN) makes no full coat.
    wet_um, default_wet_um
        Wet film as laid, and that of a full coat of this coating. [um]

    Raises
    ------
    ValueError
        For thinner outside 0 to 1000 parts or a film outside 0 to 5000 um.
    """
    parts = within("thinner_parts", thinner_parts, 0.0, 1000.0, "parts to 100")
    enough = _film("wet_um", wet_um) * 5.0 >= _film("default_wet_um", default_wet_um) * _FULL_COAT_FILM_FIFTHS
    return np.asarray((parts <= FULL_COAT_THINNER_PARTS) & enough)


@dataclass(frozen=True)
class BuildUp:
    """What some coats have built up.

    Attributes
    ----------
    full, thinned
        Coats that count as full ones, and those that do not: thinned, thin, or not told.
    dry_um
        Dry film of all of them together, less what sanding took; of the coats whose film is told. [um]
    untold
        Coats of which film or thinner is not known. They add nothing to `dry_um`.
    """

    full: int
    thinned: int
    dry_um: float
    untold: int


def build_up(
    thinner_parts: npt.ArrayLike,
    wet_um: npt.ArrayLike,
    *,
    default_wet_um: float,
    volume_solids_pct: float,
    sanded_um: float = 0.0,
) -> BuildUp:
    """Count the full coats of a build-up apart from the others, and add up its dry film.

    Parameters
    ----------
    thinner_parts, wet_um
        Of each coat, shape (coats,): parts of thinner to a hundred parts of coating, and wet film; NaN is not known.
        [1], [um]
    default_wet_um
        Wet film of a full coat. [um]
    volume_solids_pct
        Solids by volume of the coating. [%]
    sanded_um
        What each sanding between two coats takes off, about 3 to 5 (common practice, no source). [um]

    Raises
    ------
    ValueError
        As `is_full_coat` and `dry_film_um`, and for a sanding of less than nothing.
    """
    parts, wet = np.broadcast_arrays(np.atleast_1d(np.asarray(thinner_parts, np.float64)), np.asarray(wet_um))
    full = int(np.count_nonzero(is_full_coat(parts, wet, default_wet_um)))
    dry = dry_film_um(wet, volume_solids_pct, parts)
    taken = float(within("sanded_um", sanded_um, 0.0, 1000.0, "um")) * max(parts.size - 1, 0)
    return BuildUp(
        full=full,
        thinned=parts.size - full,
        dry_um=max(float(np.nansum(dry)) - taken, 0.0),
        untold=int(np.count_nonzero(np.isnan(dry))),
    )
