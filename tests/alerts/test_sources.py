"""When a source of weather has failed and when it is back: timelines, and what is said then."""

from datetime import timedelta
from zoneinfo import ZoneInfo

from alerts.fakes import at
from dryspell.alerts.kinds import Level, OutageKind
from dryspell.alerts.source_text import compose_source
from dryspell.alerts.sources import SourceHealth, SourceMemory, decide_sources

ZONE = ZoneInfo("Europe/Berlin")
SINCE = at(3, "10:00")


def health(failing=True, **more):
    since = {"failing_since": SINCE, "error": "the service answers 503"} if failing else {}
    return SourceHealth(site="harbour", source="open-meteo", issued_at=at(3, "09:00"), **since, **more)


class Play:
    def __init__(self):
        self.memory = {}

    def __call__(self, clock, seen, live=()):
        said, memory, settled = decide_sources(self.memory, [seen], at(3, clock), live)
        self.memory = {key: SourceMemory.model_validate_json(m.model_dump_json()) for key, m in memory.items()}
        assert decide_sources(self.memory, [seen], at(3, clock), live) == ([], self.memory, set())
        return [(n.kind, n.level) for n in said], settled, said


def test_a_source_has_failed_after_three_hours_and_that_is_said_once():
    play = Play()
    assert play("12:59", health())[0] == []
    assert play("13:00", health())[0] == [(OutageKind.FAILED, Level.PLAN)]
    assert play("14:00", health())[0] == []


def test_it_is_urgent_where_somebody_counts_on_it_and_for_the_page_where_another_source_serves():
    assert Play()("13:00", health(), {"harbour"})[0] == [(OutageKind.FAILED, Level.NOW)]
    assert Play()("13:00", health(), {"orchard"})[0] == [(OutageKind.FAILED, Level.PLAN)]
    assert Play()("13:00", health(instead="met-norway"), {"harbour"})[0] == [(OutageKind.FAILED, Level.LOG)]


def test_it_is_back_after_half_an_hour_to_whoever_was_told_and_rests_for_six_hours():
    play = Play()
    failed = play("13:00", health(), {"harbour"})[2][0]
    assert play("13:10", health(failing=False))[0] == []
    assert play("13:20", health())[0] == []
    assert play("13:30", health(failing=False))[0] == []
    said, settled, _ = play("14:00", health(failing=False))
    assert (said, settled) == ([(OutageKind.BACK, Level.NOW)], {failed.key})
    assert play("19:59", health())[0] == []
    assert play("20:00", health())[0] == [(OutageKind.FAILED, Level.PLAN)]


def test_of_a_source_that_is_well_nothing_is_remembered():
    play = Play()
    assert play("13:00", health(failing=False)) == ([], set(), [])
    assert play.memory == {}


def words(seen, clock="13:00"):
    (notice,) = Play()(clock, seen)[2]
    return compose_source(notice, "Quillhaven", ZONE, 6.0)


def test_the_message_says_since_when_what_is_gone_by_meanwhile_and_what_to_do():
    title, body = words(health())
    assert title == "No weather from open-meteo"
    assert body.splitlines()[:-1] == [
        "It has given none for Quillhaven since Wed 10:00, 3 h ago.",
        "What it said last: the service answers 503.",
        "Its last one, of Wed 09:00, is used until it is over 6 h old.",
        "Then no verdict is given. Treat every go as a maybe till it is back. `dryspell check` asks it at once.",
    ]
    _, body = words(health(instead="met-norway"))
    assert "The weather of met-norway is used meanwhile. Nothing to do." in body
    _, body = words(health().model_copy(update={"issued_at": None}))
    assert "no verdict is given. Look after dew and rain yourself." in body


def test_that_it_is_back_is_short():
    play = Play()
    play("13:00", health())
    play("13:30", health(failing=False))
    (notice,) = play("14:00", health(failing=False))[2]
    title, body = compose_source(notice, "Quillhaven", ZONE, 6.0)
    assert title == "Weather source back: open-meteo"
    assert "It gives weather for Quillhaven again; it gave none since Wed 10:00." in body
    assert notice.expires_at - notice.created_at == timedelta(hours=12)
