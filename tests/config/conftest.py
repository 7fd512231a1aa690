"""A configuration that is right, to be spoilt one line at a time."""

from pathlib import Path

import pytest

from dryspell.config import parse
from dryspell.errors import ConfigError

SITE = 'site.harbour = { latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }\n'
CONTACT = 'contact = "you@example.org"\n'
PIECE = 'piece.toe_rail = { coating = "oil_varnish_1k" }\n'


@pytest.fixture
def read():
    """Parse a text as a file called yard.toml."""

    def parse_text(text, *, env=None, file=Path("yard.toml"), secrets=True):
        return parse(text, file, env=env or {"HOME": "/home/you"}, secrets=secrets)

    return parse_text


@pytest.fixture
def problems(read):
    """Parse a text and return what is wrong with it, without the name of the file in front."""

    def problems_of(text, *, contact=CONTACT, site=SITE, piece=PIECE, **how):
        with pytest.raises(ConfigError) as caught:
            read(contact + site + piece + text, **how)
        assert str(caught.value) == "\n".join(caught.value.problems)
        assert all(line.startswith("yard.toml: ") for line in caught.value.problems)
        assert not any("\n" in line for line in caught.value.problems)
        return [line.removeprefix("yard.toml: ") for line in caught.value.problems]

    return problems_of
