"""Scores of verdicts, on tables small enough to be worked out by hand."""

import numpy as np
import pytest

from dryspell.outlook.foretold import CAME, CAME_NOT, NOT_KNOWN
from dryspell.outlook.review import Reviewed, brier_score, score
from dryspell.outlook.said import COLUMNS, Said


def yes_no(text):
    return np.array([each == "y" for each in text])


def test_the_brier_score_is_that_of_its_first_worked_example():
    # Brier 1950, table 1, ten forecasts of rain with P = 0.19 over both classes; figures from memory. With two classes
    # his sum counts each error twice.
    said = np.array([0.7, 0.9, 0.8, 0.4, 0.2, 0.0, 0.0, 0.0, 0.0, 0.1])
    rained = np.array([0, 1, 1, 1, 0, 0, 0, 0, 0, 0], dtype=bool)
    assert 2 * brier_score(said, rained) == pytest.approx(0.19)


def test_odds_that_are_always_right_score_0_and_always_wrong_1_and_a_half_a_quarter():
    came = yes_no("yyn")
    assert brier_score(came.astype(float), came) == 0.0
    assert brier_score(1.0 - came, came) == 1.0
    assert brier_score(np.full(3, 0.5), came) == 0.25


def test_hits_misses_false_alarms_and_correct_waits_are_counted():
    found = score(yes_no("yyyyynnn"), np.full(8, 0.5), yes_no("yyynnynn"))
    assert (found.hits, found.false_alarms, found.misses, found.correct_waits) == (3, 2, 1, 2)
    assert found.count == 8
    assert found.right == 5 / 8
    assert found.base_rate == 0.5


def test_skill_is_0_for_the_base_rate_and_1_for_what_came_and_none_where_all_came():
    came = yes_no("yynn")
    assert score(came, np.full(4, 0.5), came).skill == pytest.approx(0.0)
    assert score(came, came.astype(float), came).skill == 1.0
    assert score(came, np.full(4, 0.9), yes_no("yyyy")).skill is None


def test_the_reliability_table_counts_starts_by_tenths_of_their_odds():
    said = np.array([0.0, 0.05, 0.1, 0.3, 0.3, 0.35, 0.95, 1.0])
    table = score(said > 0.5, said, yes_no("nnnynyyy")).reliability
    assert [of.count if of else 0 for of in table] == [2, 1, 0, 3, 0, 0, 0, 0, 0, 2]
    assert (table[3].said, table[3].came) == (pytest.approx(0.95 / 3), pytest.approx(2 / 3))
    assert (table[0].came, table[9].said, table[9].came) == (0.0, pytest.approx(0.975), 1.0)


def test_a_share_on_an_edge_belongs_to_the_tenth_above_it():
    edges = np.arange(10) * 0.1  # 0.3 and 0.7 are a little off in binary
    assert [of.count for of in score(edges > 0.5, edges, edges > 0.5).reliability] == [1] * 10


def test_without_any_verdict_nothing_is_scored():
    nothing = Reviewed.joined([])
    assert nothing.score.count == 0
    assert (nothing.score.brier, nothing.score.right, nothing.score.skill) == (None, None, None)
    assert nothing.by_lead() == {}


def test_verdicts_are_scored_by_how_far_ahead_they_were_given_and_those_not_known_yet_are_kept_apart():
    def said(lead_h, share, *, yes):
        return lead_h, 0, 1, yes, share, False

    every = [said(1, 0.9, yes=True), said(24, 0.7, yes=True), said(24, 0.2, yes=False), said(72, 0.5, yes=False)]
    found = Reviewed.of(Said(np.array(every, COLUMNS)), np.array([CAME, CAME_NOT, CAME_NOT, NOT_KNOWN]))
    assert found.open_ == 1
    scores = found.by_lead()
    assert list(scores) == [1, 24]
    assert (scores[1].hits, scores[24].false_alarms, scores[24].correct_waits) == (1, 1, 1)
    assert scores[24].brier == pytest.approx((0.7**2 + 0.2**2) / 2)
    both = Reviewed.joined([found, found])
    assert (both.score.count, both.open_) == (6, 2)
