"""Weeks of measured weather to replay (see `season`), and pieces in it."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from dryspell.config import parse
from dryspell.replay.truth import Truth
from dryspell.weather.checks import as_instant
from season import CONFIG, season

JUNE = datetime(2013, 6, 1, 4, tzinfo=UTC)
"""Midnight of the site."""


def weeks_of(origin, begin, days, *, around=timedelta(days=6)):
    """Some days of an airport's weather, and some before and after."""
    table = season(origin)
    within = (table.times >= as_instant(begin - around)) & (table.times <= as_instant(begin + timedelta(days) + around))
    columns = {name: column[:, within] for name, column in table.columns.items()}
    return replace(table, times=table.times[within], columns=columns)


def config_of(folder, *pieces):
    whole = parse(CONFIG, folder / "season.toml", env={})
    return replace(whole, piece={key: whole.piece[key] for key in pieces or whole.piece})


@pytest.fixture(scope="session")
def june(tmp_path_factory):
    """Four weeks of June at the rail and the door."""
    config = config_of(tmp_path_factory.mktemp("june"))
    end = JUNE + timedelta(days=28)
    table = weeks_of("JFK", JUNE, 28)
    return {
        key: Truth(piece, config.site_of(piece), config.lays_of(piece), table, JUNE, end)
        for key, piece in config.piece.items()
    }
