"""The PIECE that a command is told, looked up in the configuration."""

from dryspell.config import Config
from dryspell.errors import ConfigError
from dryspell.trade.piece import Piece


def piece_of(config: Config, key: str) -> Piece:
    """Return the piece of a key; ConfigError names the ones there are."""
    if key in config.piece:
        return config.piece[key]
    from difflib import get_close_matches  # noqa: PLC0415  (only where something is misspelt)

    near = get_close_matches(key, config.piece, n=1)
    hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(config.piece)}"
    raise ConfigError([f"{config.file} has no piece {key!r}; {hint}"])


def pieces_of(config: Config, key: str | None) -> dict[str, Piece]:
    """Return the piece of a key, or without one all there are, by key; ConfigError as for `piece_of`."""
    return config.piece if key is None else {key: piece_of(config, key)}
