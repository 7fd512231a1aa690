"""Paths into payloads: keys with dots, items of lists."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.weather.sensors.path import MISSING, find, parse_path

PAYLOAD = {"climate": {"t": 21.3, "probes": [{"t": 1}, {"t": 2}]}, "temperature:0": {"tC": 20}, "a.b": 5}


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("climate.t", 21.3),
        ("climate.probes[1].t", 2),
        ("climate.probes[-1].t", 2),
        ("temperature:0.tC", 20),
        ("a.b", 5),  # a name with a dot in it goes first
        ("", PAYLOAD),
        ("climate.probes[2].t", MISSING),
        ("climate.probes.t", MISSING),
        ("climate[0]", MISSING),
        ("nowhere", MISSING),
    ],
)
def test_a_path_finds_what_stands_there(path, value):
    assert find(PAYLOAD, path, parse_path(path)) is value or find(PAYLOAD, path, parse_path(path)) == value


def test_a_list_may_be_the_whole_payload():
    assert find([[1, 2], [3]], "[0][1]", parse_path("[0][1]")) == 2


@pytest.mark.parametrize("text", [".a", "a.", "a..b", "a[", "a[x]", "a]b", "[0]b", "a[0", "a.[0]", "[]"])
def test_what_is_no_path_is_refused(text):
    with pytest.raises(ValueError, match="is no path; wanted keys with dots between"):
        parse_path(text)


keys = st.text(st.characters(exclude_characters=".[]", exclude_categories=["Cs"]), min_size=1, max_size=6)


@given(st.lists(keys | st.integers(-3, 3), min_size=1, max_size=5), st.integers())
def test_every_place_in_a_payload_has_a_path(steps, value):
    payload = value
    for step in reversed(steps):
        payload = {step: payload} if isinstance(step, str) else [payload] * 4
    text = "".join(f".{step}" if isinstance(step, str) else f"[{step}]" for step in steps).removeprefix(".")
    assert parse_path(text) == tuple(steps)
    assert find(payload, "?", parse_path(text)) == value


payloads = st.recursive(
    st.none() | st.integers() | st.text(), lambda inner: st.lists(inner) | st.dictionaries(keys, inner)
)


@given(payloads, st.text(".[]01ab", max_size=6))
def test_any_payload_and_any_path_are_borne(payload, text):
    try:
        steps = parse_path(text)
    except ValueError:
        return
    find(payload, text, steps)
