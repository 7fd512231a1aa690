"""A past period lived through again: by the daemon and who does what it says, and by those it is measured against."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta

from dryspell.config import Config
from dryspell.replay.account import Account, Finisher, Replayed
from dryspell.replay.issues import Perfect
from dryspell.replay.rerun import Rerun
from dryspell.replay.truth import BuildUp, Laid, Truth
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
    plans: bool = False,
    enters: Finisher | None = Finisher.OBEYS,
    fresh: bool = True,
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
        Whether the finisher begins coats in hours that the alerts call tight, where they named no better ones.
    read_here
        Whether a sensor at the site reads the weather as it comes, so that the daemon learns how its forecasts differ.
    plans
        Whether plans are made on the way and followed up, which takes a good while longer. Nobody goes by them.
    enters
        Whose coats the daemon is told of; None where nobody coats.
    fresh
        Whether a fresh piece takes the place of one that is built up.
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
    others = {
        key: {
            Finisher.GAUGE: by_the_gauge(of_piece),
            Finisher.KNEW: in_hindsight(of_piece),
            Finisher.LUCKY: in_hindsight(of_piece, keeps_limits=False),
        }
        for key, of_piece in truths.items()
    }
    theirs = None
    if enters is not Finisher.OBEYS:
        theirs = {key: _coats(by[enters], fresh=fresh) if enters else [] for key, by in others.items()}
    rerun = Rerun(
        config,
        truths,
        forecasts,
        every=every,
        takes_tight=takes_tight,
        readings=readings,
        plans=plans,
        theirs=theirs,
        fresh=fresh,
    )
    rerun.run(begin, end, progress)
    return Replayed(
        begin=begin,
        end=end,
        accounts={
            key: {
                Finisher.OBEYS: Account.of(rerun.build_ups[key]),
                **{finisher: Account.of(build_up) for finisher, build_up in by.items()},
            }
            for key, by in others.items()
        },
        said=tuple(rerun.said),
        ticks=rerun.ticks,
        plans=rerun.planned,
        enters=enters,
    )


def _coats(build_up: BuildUp, *, fresh: bool) -> list[Laid]:
    """Return a finisher's coats, without a fresh piece those until it is built up."""
    if fresh or not build_up.built_up:
        return build_up.coats
    return [coat for coat in build_up.coats if coat.stroke <= build_up.built_up[0]]
