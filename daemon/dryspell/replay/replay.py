"""A past period lived through again: by the daemon and who does what it says, and by those it is measured against."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from dryspell.config import Config
from dryspell.replay.account import Account, Finisher, Replayed
from dryspell.replay.issues import Perfect
from dryspell.replay.rerun import Rerun
from dryspell.replay.truth import Truth
from dryspell.replay.yardsticks import by_the_gauge, in_hindsight
from dryspell.weather.sources import Source
from dryspell.weather.table import WeatherTable

EVERY = timedelta(hours=1)
AHEAD = timedelta(hours=96)
"""How far forecasts reach: as far as a coat of these days needs, and the next one."""


def replay(
    config: Config,
    truth: WeatherTable,
    forecasts: Mapping[str, Source],
    begin: datetime,
    end: datetime,
    *,
    every: timedelta = EVERY,
    takes_tight: bool = True,
    read_here: bool = False,
    progress: Callable[[datetime], None] = lambda _: None,
) -> Replayed:
    """Live through a period again.

    Every piece begins bare, whatever the record says of it, and is taken away when it is built up; a fresh one then
    stands in its place. A coat that is spoiled is sanded off when it is hard, and laid again.

    Parameters
    ----------
    truth
        The weather as it was, at the site of all pieces.
    forecasts
        By site, what was forecast when. A forecast that is perfect is judged as it stands, without odds.
    begin, end
        Coats are begun from the one to before the other.
    every
        How often a forecast is issued; a multiple of a quarter of an hour.
    takes_tight
        Whether the finisher begins coats in hours that the alerts call tight.
    read_here
        Whether a sensor at the site reads the weather as it comes, so that the daemon learns how its forecasts differ.
    progress
        Told of every instant that is looked at.
    """
    pieces = {key: piece.model_copy(update={"done": 0}) for key, piece in config.piece.items()}
    config = replace(config, piece=pieces)
    if all(isinstance(source, Perfect) for source in forecasts.values()):
        config = replace(config, weather=config.weather.model_copy(update={"members": 1}))
    truths = {
        key: Truth(piece, config.site_of(piece), config.lays_of(piece), truth, begin, end)
        for key, piece in config.piece.items()
    }
    readings = dict.fromkeys(forecasts, truth) if read_here else {}
    rerun = Rerun(config, truths, forecasts, every=every, takes_tight=takes_tight, readings=readings)
    rerun.run(begin, end, progress)
    return Replayed(
        begin=begin,
        end=end,
        accounts={
            key: {
                Finisher.OBEYS: Account.of(rerun.build_ups[key]),
                Finisher.GAUGE: Account.of(by_the_gauge(of_piece)),
                Finisher.KNEW: Account.of(in_hindsight(of_piece)),
                Finisher.LUCKY: Account.of(in_hindsight(of_piece, keeps_limits=False)),
            }
            for key, of_piece in truths.items()
        },
        said=tuple(rerun.said),
        ticks=rerun.ticks,
    )
