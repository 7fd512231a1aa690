"""One look at everything: weather in, every piece judged, what is worth saying decided, saved and sent."""

from dryspell.tick.gather import Gatherer, sources_of
from dryspell.tick.look import look
from dryspell.tick.round import Round, Seen, since_of

__all__ = ["Gatherer", "Round", "Seen", "look", "since_of", "sources_of"]
