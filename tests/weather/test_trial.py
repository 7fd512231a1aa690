import numpy as np
import pytest

from dryspell.weather.trial import FEWEST_H, score


def test_what_helps_is_on_and_scored_over_thirty_days():
    departure = np.full(24 * 50, 2.0)
    departure[: 24 * 20] = 99.0
    found, off = score(departure, np.full(departure.size, 1.5))
    assert off == ""
    assert (found.raw, found.corrected, found.hours) == (pytest.approx(2.0), pytest.approx(0.5), 720)


def test_too_few_hours_are_no_ground_to_stand_on():
    said = np.full(24 * 10, np.nan)
    said[-FEWEST_H + 1 :] = 1.0
    found, off = score(np.full(said.size, 1.0), said)
    assert found.hours == FEWEST_H - 1
    assert off == "there are 71 hours of readings to try a correction on, 72 are needed"
    assert score(np.full(24, np.nan), np.full(24, np.nan))[0].hours == 0


def test_a_gain_of_next_to_nothing_is_not_worth_a_correction():
    departure = np.full(720, 1.0)
    assert score(departure, np.full(720, 0.021))[1] == ""
    assert (
        "would hardly have helped (off by 0.99 with it and 1.00 without, over 720 hours)"
        in score(departure, np.full(720, 0.01))[1]
    )


def test_harm_in_the_last_five_days_counts_whatever_was_before():
    departure, said = np.full(720, 2.0), np.full(720, 2.0)
    departure[-48:] = -2.0
    found, off = score(departure, said)
    assert found.corrected < found.raw
    assert "in the last 5 days a correction would have made it worse" in off
