"""What was said of the weather ahead is kept once an hour, and read back as it was said."""

from datetime import timedelta

from dryspell.outlook.model import Foretold
from store.moment import NOW

HOUR = timedelta(hours=1)
LONG_AGO = NOW - timedelta(days=400)


def said(lead_h, share=0.75, at=NOW):
    return Foretold(
        lead_h=lead_h, start=at + lead_h * HOUR, coat=3, word="tight", share=share, is_odds=True, quick=lead_h > 6
    )


def test_what_was_said_is_read_back_as_it_was(store):
    store.keep_foretold({"rail": [said(0), said(24)]}, NOW, since=LONG_AGO)
    kept = store.foretold("rail", NOW - HOUR, NOW)
    starts = [int((NOW + lead_h * HOUR).timestamp()) for lead_h in (0, 24)]
    assert kept.rows.tolist() == [(0, starts[0], 3, True, 0.75, False), (24, starts[1], 3, True, 0.75, True)]
    assert kept.starts.tolist() == [(NOW + lead_h * HOUR).replace(tzinfo=None) for lead_h in (0, 24)]
    assert len(store.foretold("door", NOW - HOUR, NOW)) == 0


def test_of_one_hour_the_first_counts(store):
    store.keep_foretold({"rail": [said(1, 0.25)]}, NOW, since=LONG_AGO)
    store.keep_foretold({"rail": [said(1, 0.9)]}, NOW + HOUR / 2, since=LONG_AGO)
    store.keep_foretold({"rail": [said(1, 0.5, NOW + HOUR)]}, NOW + HOUR, since=LONG_AGO)
    assert store.foretold("rail", NOW, NOW + HOUR).rows["share"].tolist() == [0.25, 0.5]


def test_what_is_too_old_goes_when_something_new_comes(store):
    for days in range(3):
        at = NOW + timedelta(days=days)
        store.keep_foretold({"rail": [said(0, at=at)]}, at, since=at - timedelta(days=1))
    assert len(store.foretold("rail", LONG_AGO, NOW + timedelta(days=9))) == 2
