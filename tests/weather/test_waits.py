from datetime import UTC, datetime, timedelta

import pytest

from dryspell.weather.waits import fresh_for_s, length_text, retry_after_s

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)  # a Monday


def test_retry_after_is_read_as_seconds():
    assert retry_after_s("120", None, NOW) == 120.0


def test_retry_after_is_read_as_an_http_date():
    assert retry_after_s("Mon, 01 Jun 2026 12:02:00 GMT", None, NOW) == 120.0


def test_a_retry_after_date_counts_from_the_servers_own_clock():
    assert retry_after_s("Mon, 01 Jun 2026 09:02:00 GMT", "Mon, 01 Jun 2026 09:00:00 GMT", NOW) == 120.0


def test_a_retry_after_in_the_past_asks_for_no_wait():
    assert retry_after_s("Mon, 01 Jun 2026 11:00:00 GMT", None, NOW) == 0.0


@pytest.mark.parametrize("text", [None, "", "soon", "-5", "1.5", "Mon, 99 Jun 2026 12:00:00 GMT", "inf"])
def test_a_retry_after_that_makes_no_sense_is_ignored(text):
    assert retry_after_s(text, None, NOW) is None


def test_an_endless_retry_after_is_read_without_breaking():
    assert retry_after_s("9" * 6000, None, NOW) > 1e9


def test_expires_counts_from_the_servers_own_clock():
    # RFC 9111, 4.2.1: freshness lifetime is Expires minus Date.
    assert fresh_for_s("Mon, 01 Jun 2026 09:30:00 GMT", "Mon, 01 Jun 2026 09:00:00 GMT", NOW) == 1800.0


@pytest.mark.parametrize(
    ("expires", "fresh_s"),
    [
        (None, 0.0),
        ("0", 60.0),  # RFC 9111, 5.3: "0" means expired
        ("Mon, 01 Jun 2026 11:00:00 GMT", 60.0),
        ("Wed, 03 Jun 2026 12:00:00 GMT", 6 * 3600.0),
        ("Mon, 01 Jun 2026 13:00:00 -0000", 3600.0),
    ],
)
def test_expires_is_kept_within_reason(expires, fresh_s):
    assert fresh_for_s(expires, None, NOW) == fresh_s


@pytest.mark.parametrize(
    ("length", "text"),
    [
        (timedelta(seconds=12), "12 s"),
        (timedelta(seconds=59.9), "60 s"),
        (timedelta(minutes=7, seconds=59), "7 min"),
        (timedelta(hours=2), "2 h"),
        (timedelta(hours=3, minutes=10), "3 h 10 min"),
        (timedelta(days=1, hours=4, minutes=50), "1 day 4 h"),
        (timedelta(days=2), "2 days"),
    ],
)
def test_a_length_of_time_reads_as_a_person_says_it(length, text):
    assert length_text(length.total_seconds()) == text
