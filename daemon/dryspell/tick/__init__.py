"""One look at everything: weather in, every piece judged, what is worth saying decided, saved and sent."""

from dryspell.tick.gather import Gatherer
from dryspell.tick.hub import Hub
from dryspell.tick.look import look
from dryspell.tick.plans import Planner
from dryspell.tick.round import Round, Seen, since_of
from dryspell.tick.sources import sources_of

__all__ = ["Gatherer", "Hub", "Planner", "Round", "Seen", "look", "since_of", "sources_of"]
