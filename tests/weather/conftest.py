"""What the weather tests share."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from dryspell.weather.http import HttpCache

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)


@pytest.fixture
def now():
    return NOW


@pytest.fixture
def slept():
    """How long was slept, instead of sleeping."""
    return []


@pytest.fixture
def make_cache(tmp_path, slept):
    """Make a cache that never really sleeps and always draws the longest wait."""

    def make(**settings):
        return HttpCache(
            settings.pop("folder", tmp_path / "answers"),
            **{
                "sleep": slept.append,
                "jitter": lambda ceiling: ceiling,
                "contact": "https://example.org/us",
                **settings,
            },
        )

    return make


@pytest.fixture
def samples():
    """The recorded answers, where they are at hand."""
    folder = Path(__file__).resolve().parents[2].parent / "shared" / "weather-samples"
    if not folder.is_dir():
        pytest.skip("the recorded answers are not here")
    return folder
