"""An address is put together as the HTTP library would, without loading it for the plain ones."""

import pytest
import requests
from hypothesis import given
from hypothesis import strategies as st

from dryspell.weather.address import _PLAIN, _put_together

HOSTS = st.from_regex(r"[a-z0-9]([a-z0-9-]{0,6}[a-z0-9])?(\.[a-z0-9]{1,4}){0,3}(:[1-9][0-9]{0,3})?", fullmatch=True)
STEPS = st.lists(st.text("aZ9._~-", max_size=4), max_size=3)


def by_the_library(url, params):
    return requests.Request("GET", url, params=params).prepare().url


@given(
    scheme=st.sampled_from(["http", "https"]),
    host=HOSTS,
    steps=STEPS,
    params=st.dictionaries(st.text(min_size=1, max_size=4), st.text(max_size=6), max_size=3),
)
def test_a_plain_address_is_what_the_library_makes_of_it(scheme, host, steps, params):
    url = f"{scheme}://{host}" + "".join(f"/{step}" for step in steps)
    assert _put_together(url, params) == by_the_library(url, params)


@pytest.mark.parametrize(
    "url", ["https://host", "https://host/", "https://api.host.org/v1/forecast", "http://127.0.0.1:34567/a.json"]
)
def test_the_addresses_of_services_are_plain(url):
    params = {"latitude": "54.3", "hourly": "temperature_2m,rain", "q": "a b&c=d/é%2C~"}
    assert _PLAIN.fullmatch(url)
    assert _put_together(url, params) == by_the_library(url, params)
    assert _put_together(url, {}) == by_the_library(url, {})


@pytest.mark.parametrize("url", ["https://Host/", "https://h/../a", "https://ü.org", "https://h/a b", "https://h?a=1"])
def test_what_has_to_be_quoted_folded_or_put_in_order_is_left_to_the_library(url):
    assert not _PLAIN.fullmatch(url)
    assert _put_together(url, {"a": "b"}) == by_the_library(url, {"a": "b"})
