"""The feeds as calendar programs read them: by two parsers, each written by somebody else."""

import warnings
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from icalendar import Calendar

from dryspell.store.calendar_entry import Entry, Told
from dryspell.web.calendar import written
from dryspell.web.gate import Gate
from served import PEOPLE, START, served

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # its own
    import vobject

SITE = "calendar/site/harbour.ics"
BERLIN = ZoneInfo("Europe/Berlin")
HAND = {"begins_at": START, "ends_at": START, "title": "Rail", "text": "neat", "place": "Quay"}


@pytest.fixture
def daemon(tmp_path):
    with served(tmp_path, PEOPLE) as daemon:
        yield daemon


def events(text):
    """Return by coat what icalendar reads of a feed."""
    return {str(event["SUMMARY"]): event for event in Calendar.from_ical(text).walk("VEVENT")}


def read(daemon, path=SITE):
    answer = daemon.get(path)
    assert answer.status_code == 200
    return answer.text


def test_a_feed_holds_every_planned_coat_with_its_hours(daemon):
    text = read(daemon)
    planned = [
        coat for plan in daemon.service.board.known.plans.plans if plan.site == "harbour" for coat in plan.planned
    ]
    found = events(text)
    assert len(found) == len(planned) > 1
    spans = [(event["DTSTART"].dt, event["DTEND"].dt) for event in found.values()]
    assert spans == [(coat.prepare_at, coat.last_stroke) for coat in planned]
    first = next(iter(found.values()))
    assert str(first["SUMMARY"]).startswith("Rail: coat 4 of 8 (")
    assert first["STATUS"] == "TENTATIVE"
    assert "first stroke" in first["DESCRIPTION"]


def test_another_parser_reads_the_same(daemon):
    text = read(daemon)
    theirs = vobject.readOne(text)
    ours = events(text)
    assert [str(event.summary.value) for event in theirs.vevent_list] == list(ours)
    for event in theirs.vevent_list:
        mine = ours[event.summary.value]
        assert event.uid.value == mine["UID"]
        assert event.dtstart.value == mine["DTSTART"].dt
        assert event.description.value == mine["DESCRIPTION"]
    assert theirs.validate() is not False


def test_the_answer_says_what_it_is_and_when_to_look_again(daemon):
    answer = daemon.get(SITE)
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"  # RFC 5545, section 8.1
    calendar = Calendar.from_ical(answer.text)
    assert calendar["VERSION"] == "2.0"
    assert calendar["REFRESH-INTERVAL"].dt == timedelta(minutes=30)  # RFC 7986, section 5.7
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT30M\r\n" in answer.text
    assert str(calendar["NAME"]) == "Coats: harbour"
    assert daemon.get(SITE, headers={"If-None-Match": answer.headers["etag"]}).status_code == 304


def test_lines_end_and_fold_as_the_standard_has_it():
    # RFC 5545, section 3.1: CRLF, 75 octets at the most without it, a fold within no character.
    text = "Überlappung am Süllrand: zwei Anstriche Öl, µm für µm, 塗装 " * 12
    entry = Entry(piece="rail", coat=4, **(HAND | {"text": text, "title": "Å" * 200}))
    body = written([Told("uid@dryspell", 0, entry, START)], "Fünf Äste", ["© Wetter, \\ ; und so"])
    lines = body.split(b"\r\n")
    assert lines.pop() == b""
    assert all(b"\r" not in line and b"\n" not in line for line in lines)
    assert max(map(len, lines)) <= 75
    for line in lines:
        line.decode("utf-8")
    (event,) = Calendar.from_ical(body).walk("VEVENT")
    assert (event["DESCRIPTION"], event["SUMMARY"]) == (text, "Å" * 200)
    assert vobject.readOne(body.decode()).vevent.description.value == text


def test_hours_are_right_on_a_day_on_which_the_clocks_change():
    # 25 October 2026: at 03:00 summer time it is 02:00 again in Berlin (EU directive 2000/84/EC).
    begins = datetime(2026, 10, 25, 1, 30, tzinfo=BERLIN)
    ends = datetime(2026, 10, 25, 9, 0, tzinfo=BERLIN)
    entry = Entry(piece="rail", coat=4, **(HAND | {"begins_at": begins, "ends_at": ends}))
    text = written([Told("uid@dryspell", 0, entry, START)], "Coats", [])
    (event,) = Calendar.from_ical(text).walk("VEVENT")
    assert event["DTEND"].dt - event["DTSTART"].dt == timedelta(hours=8, minutes=30)
    assert event["DTSTART"].dt.astimezone(BERLIN).hour == 1
    assert vobject.readOne(text.decode()).vevent.dtend.value == datetime(2026, 10, 25, 8, 0, tzinfo=UTC)


def test_a_coat_that_moves_keeps_its_uid_and_raises_its_sequence(daemon):
    before = events(read(daemon))
    daemon.clock.at += timedelta(hours=1)
    # Too damp for two days and a half, so that coats have to move.
    daemon.fetch(relative_humidity=[55.0] * 60 + [96.0] * 60 + [55.0] * 24)
    after = events(read(daemon))
    moved = {name: event for name, event in after.items() if event["DTSTART"].dt != before[name]["DTSTART"].dt}
    assert moved
    for name, event in moved.items():
        assert event["UID"] == before[name]["UID"]
        assert event["SEQUENCE"] == before[name]["SEQUENCE"] + 1
        assert event["DTSTAMP"].dt == daemon.clock.at


def test_a_coat_that_is_put_on_stays_and_those_that_find_no_hours_are_cancelled(daemon):
    before = events(read(daemon))
    assert daemon.post("api/v1/record/rail/coats", json={}).status_code == 201
    daemon.clock.at += timedelta(hours=1)
    daemon.fetch(relative_humidity=96.0)
    after = events(read(daemon))
    first, *rest = before
    assert after[first]["STATUS"] == "TENTATIVE"
    for name in rest:
        assert (after[name]["STATUS"], after[name]["UID"]) == ("CANCELLED", before[name]["UID"])
        assert after[name]["SEQUENCE"] == 1


def test_names_stay_when_the_daemon_is_started_again(tmp_path):
    uids = []
    for _ in range(2):
        with served(tmp_path) as daemon:
            uids.append({name: event["UID"] for name, event in events(read(daemon)).items()})
    assert uids[0] == uids[1]


def test_a_feed_of_a_person_holds_what_that_person_does(daemon):
    of = {key: events(read(daemon, f"calendar/person/{key}.ics")) for key in ("kim", "ada")}
    plans = daemon.service.board.known.plans.plans
    for key, found in of.items():
        assert len(found) == sum(coat.who == key for plan in plans for coat in plan.planned)
        assert all(name.endswith(f"({key.capitalize()})") for name in found)
    assert any(of.values())


@pytest.mark.parametrize("path", ["site/rail.ics", "site/harbour", "person/eve.ics", "crew/kim.ics", "site/.ics"])
def test_there_is_no_feed_of_what_is_not_there(daemon, path):
    assert daemon.get(f"calendar/{path}").status_code == 404


def test_with_a_token_a_feed_is_opened_by_its_own_key_and_by_no_other(tmp_path):
    with served(tmp_path, token="a-long-enough-token") as daemon:
        assert daemon.get(SITE).status_code == 401
        config = daemon.service.config
        key = Gate(config.page, daemon.clock, config.state_dir).feed_key(f"/{SITE}")
        assert daemon.get(SITE, params={"key": key}).status_code == 200
        assert daemon.get("calendar/site/orchard.ics", params={"key": key}).status_code == 401
        assert daemon.get("api/v1/windows", params={"key": key}).status_code == 401
        assert daemon.get(SITE, params={"key": "x"}).status_code == 401
