"""What the configuration says of speaking, as far as a decision what to say wants to know it."""

from dataclasses import replace
from datetime import timedelta

import pytest

from dryspell.config.target import AlertTarget
from dryspell.tick.saying import habits_of
from yard import config


def target(key, **ways):
    return {key: AlertTarget.model_validate({"key": key, "url": "json://shed.example"} | ways)}


def habits(folder, targets):
    return habits_of(replace(config(folder), alerts=targets))


@pytest.mark.parametrize(
    ("ways", "all_told"),
    [
        ({}, True),
        ({"kinds": ["coat_now", "hot_coat", "film_risk", "tomorrow"]}, True),
        ({"kinds": ["wait"]}, True),  # hears of neither
        ({"kinds": ["film_risk"]}, False),
        ({"kinds": ["tomorrow", "wait"]}, False),
        ({"kinds": ["film_risk", "coat_now"]}, False),  # the soft coat's word to coat is another
        ({"level": "wake", "kinds": ["film_risk"]}, True),  # rings at night alone, when no sun comes
    ],
)
def test_whether_all_who_hear_of_a_film_or_of_tomorrow_hear_when_to_coat_as_well(tmp_path, ways, all_told):
    assert habits(tmp_path, target("boss")).all_told_to_coat
    assert habits(tmp_path, target("boss") | target("mate", **ways)).all_told_to_coat is all_told


def test_how_long_a_coat_takes_is_that_of_the_piece(tmp_path):
    settings = config(tmp_path)
    for key, of_piece in habits_of(settings).piece.items():
        piece = settings.piece[key]
        assert of_piece.prepares == timedelta(hours=piece.preparing_h)
        assert of_piece.brushes == timedelta(hours=piece.brushing_h)
