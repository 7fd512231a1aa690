"""Trouble is said when it begins and when it is over, and not in between."""

import pytest

from dryspell.weather.sensors.notices import SAY_AGAIN_S, Notices


@pytest.fixture
def watch():
    return [0.0]


@pytest.fixture
def notices(watch):
    return Notices(lambda: watch[0])


def said(logged):
    return [record.getMessage() for record in logged.records]


def test_a_trouble_is_said_once_and_its_end_once(notices, logged):
    for _ in range(3):
        notices.trouble("mast", "it is broken")
    assert notices.current() == {"mast": "it is broken"}
    for _ in range(3):
        notices.over("mast", "it works again")
    assert said(logged) == ["it is broken", "it works again"]
    assert notices.current() == {}


def test_another_trouble_is_said_and_one_of_the_same_kind_is_not(notices, logged):
    notices.trouble("mast", "value 1 is odd", "odd")
    notices.trouble("mast", "value 2 is odd", "odd")
    notices.trouble("mast", "it is gone", "gone")
    assert said(logged) == ["value 1 is odd", "it is gone"]


def test_what_comes_and_goes_all_the_time_is_said_once_an_hour(notices, watch, logged):
    for _ in range(100):
        watch[0] += SAY_AGAIN_S / 50
        notices.trouble("mast", "off")
        notices.over("mast", "on")
    assert said(logged) == ["off", "on", "off", "on"]


def test_an_end_without_a_beginning_is_not_said(notices, logged):
    notices.over("mast", "it works again")
    assert said(logged) == []
