"""How a piece stands in the weather, in the words of `dryspell check`: what its configuration says beside the usual."""

from collections.abc import Iterator

from dryspell.outlook.figures import Units, limit_figure
from dryspell.trade.cover import hours_text
from dryspell.trade.piece import Piece
from dryspell.trade.skyline import COMPASS


def standing(piece: Piece, units: Units) -> str:
    """Return how a piece stands, part by part; what is left at its default is not told but for the first part."""
    return "; ".join(_parts(piece, units))


def _parts(piece: Piece, units: Units) -> Iterator[str]:
    wind = f"{piece.wind} to the wind"
    if piece.wind_share_pct is not None:
        wind = f"{piece.wind_share_pct:g} % of the wind at 10 m"
    yield f"{piece.face}, {_shelter(piece, units)}, {wind}, {piece.colour}"
    yield from _air_inside(piece)
    if piece.cover:
        yield f"cover on {hours_text(piece.cover)}"
    if piece.sun:
        yield f"sun {hours_text(piece.sun)}"
    if piece.horizon:
        yield f"skyline {_skyline(piece.horizon)}"
    if piece.sky_pct < 100.0:
        yield f"{piece.sky_pct:g} % of the sky"
    if piece.back_conductance_w_m2_k is not None:
        yield f"{piece.back_conductance_w_m2_k:g} W/m2K through its back"


def _shelter(piece: Piece, units: Units) -> str:
    heated = f" heated by {limit_figure(piece.heat_k, 'K', units)}" if piece.heat_k else ""
    return (
        f"{piece.shelter}{heated}{' and' if heated and piece.shut_by_day else ''}{' shut by day' * piece.shut_by_day}"
    )


def _air_inside(piece: Piece) -> Iterator[str]:
    """Yield what the configuration says of the air in a tent or shed."""
    if piece.lag_h is not None:
        yield f"its air {piece.lag_h:.2g} h behind"
    if piece.air_changes_per_h is not None:
        yield f"its air changed {piece.air_changes_per_h:.2g} times an hour"
    if piece.sun_warmth_k_m2_w is not None:
        yield f"the sun warms it by {1000 * piece.sun_warmth_k_m2_w:.2g} K for each kW/m2"


def _skyline(heights: tuple[tuple[float, float], ...]) -> str:
    """Return the skyline by compass points; of a long one its highest part."""
    if len(heights) > 4:
        direction, height = max(heights, key=lambda pair: pair[1])
        return f"up to {height:g}° ({_point(direction)})"
    return ", ".join(f"{_point(direction)} {height:g}°" for direction, height in heights)


def _point(direction_deg: float) -> str:
    step, rest = divmod(direction_deg, 22.5)
    return COMPASS[int(step)] if rest == 0.0 else f"{direction_deg:g}°"
