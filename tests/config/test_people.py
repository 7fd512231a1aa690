"""The people in a configuration."""

import pytest

from dryspell.config import parse
from dryspell.errors import ConfigError
from yard import TEXT


def read(folder, more):
    return parse(TEXT.format(state=folder / "state", more=more), folder / "yard.toml", env={})


def test_people_have_hours_days_off_and_pieces(tmp_path):
    config = read(
        tmp_path,
        '[person.kim]\nname = "Kim"\nhours = "08:00-16:00"\ndays_off = [2026-09-14, "2026-09-21 to 2026-09-25"]\n'
        '[person.sasha]\npieces = ["rail"]\n',
    )
    assert list(config.person) == ["kim", "sasha"]
    assert (config.person["kim"].name, len(config.person["kim"].days_off)) == ("Kim", 2)
    assert config.person["sasha"].pieces == ("rail",)
    assert config.cautions == ()


def test_without_people_there_is_nobody_to_name(tmp_path):
    assert read(tmp_path, "").person == {}


def test_a_piece_that_nobody_does_is_a_caution(tmp_path):
    (said,) = read(tmp_path, '[person.kim]\npieces = ["rail"]').cautions
    assert said == "bench: none of the people does it, and no plan is made for it"


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ('pieces = ["rial"]', 'person.kim.pieces = "rial" is no piece; did you mean rail?'),
        ('pieces = "rail"', "is no list of keys of pieces; wanted such as"),
        ('hours = "all day"', "person.kim.hours"),
        ('days_off = ["soon"]', "are no days off"),
        ("wage = 12", "is no key of a person"),
    ],
)
def test_what_is_wrong_with_a_person_is_told(tmp_path, written, said):
    with pytest.raises(ConfigError) as told:
        read(tmp_path, f"[person.kim]\n{written}")
    assert said in str(told.value)
