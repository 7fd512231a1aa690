"""The pot that is mixed, as a timeline: ready once, running out once, and nothing after it."""

import pytest

from alerts.fakes import at, outlook, unknown, window
from alerts.test_text import about
from alerts.timeline import Timeline
from dryspell.alerts.decide import settled
from dryspell.alerts.kinds import Kind, Level
from dryspell.alerts.model import Why
from dryspell.alerts.text import compose
from dryspell.outlook.model import Pot
from dryspell.trade.safety import ISOCYANATE

W = [window(3, "09:00", "14:00")]
TOLD = {Kind.POT_READY, Kind.POT_ENDING}


def pot(mixed="10:00", stands="10:15", until="12:40", off="14:00", **changes):
    return Pot(
        mixed_at=at(3, mixed), brush_from=stands and at(3, stands), brush_until=at(3, until), goes_off_at=at(3, off),
        **changes,
    )  # fmt: skip


POT = pot()


def play(*steps, timeline=None):
    """Play (clock, pot); return what was said of the pot."""
    timeline = timeline or Timeline()
    said = []
    for clock, mixed in steps:
        notices = timeline.tick(outlook(at(3, clock), W, pot=mixed))
        said += [(clock, n.kind, n.why) for n in notices if n.kind in TOLD]
    return said


def test_it_is_said_when_it_has_stood_and_twenty_minutes_before_it_flows_badly_each_once():
    clocks = ["10:00", "10:14", "10:15", "10:16", "12:19", "12:20", "12:40", "13:59"]
    assert play(*((clock, POT) for clock in clocks)) == [
        ("10:15", Kind.POT_READY, Why.REACHED),
        ("12:20", Kind.POT_ENDING, Why.NEAR),
    ]


def test_of_a_short_pot_a_quarter_of_its_time_is_left_when_it_is_said():
    short = pot(stands=None, until="10:24", off="10:36")
    said = [("10:18", Kind.POT_ENDING, Why.NEAR)]
    assert play(*((clock, short) for clock in ("10:00", "10:17", "10:18", "10:30"))) == said


def test_one_told_of_too_late_to_be_ready_is_only_told_to_end():
    assert play(("12:25", POT), ("12:30", POT)) == [("12:25", Kind.POT_ENDING, Why.NEAR)]


def test_a_recorded_coat_ends_it_in_silence_and_what_waits_is_not_sent():
    timeline = Timeline()
    play(("10:15", POT), timeline=timeline)
    before = timeline.memory
    timeline.tick(outlook(at(3, "10:20"), W, coat=5))
    assert {"rail/pot/2026-06-03T08:00:00Z/pot_ready"} <= settled(before, timeline.memory)
    assert timeline.memory["rail"].pot is None


def test_another_pot_is_told_of_anew():
    second = pot("12:30", "12:45", "15:10", "16:30")
    assert play(("10:15", POT), ("12:20", POT), ("12:30", second), ("12:45", second)) == [
        ("10:15", Kind.POT_READY, Why.REACHED),
        ("12:20", Kind.POT_ENDING, Why.NEAR),
        ("12:45", Kind.POT_READY, Why.REACHED),
    ]


def test_it_is_said_without_weather_too_and_not_past_the_end_of_the_pot():
    notices = Timeline().tick(unknown(at(3, "12:30"), pot=pot(by_weather=False)))
    (ending,) = (n for n in notices if n.kind is Kind.POT_ENDING)
    assert (ending.level, ending.expires_at) == (Level.NOW, at(3, "14:00"))
    _, body = compose(ending, about(unknown(at(3, "12:30"), pot=pot(by_weather=False))))
    assert "The air is not known: this is the shortest that is known of the coating." in body


def test_in_quiet_hours_nothing_is_said_of_it():
    late = pot("21:40", "21:55", "23:30", "23:59")
    assert play(("21:55", late), ("23:20", late)) == []


@pytest.mark.parametrize(
    ("windows", "clocks", "cautioned"),
    [
        ((), ("10:15", "12:20"), [True, False]),
        ((), ("12:20", "12:30"), [True]),
        (W, ("10:15", "12:20"), [True, False, False]),  # "coat now" has it
    ],
)
def test_the_caution_on_isocyanate_comes_once(windows, clocks, cautioned):
    timeline, seen = Timeline(), []
    for clock in clocks:
        now = outlook(at(3, clock), windows, pot=POT)
        seen += [ISOCYANATE in compose(n, about(now, "pu_clear_2k"))[1] for n in timeline.tick(now)]
    assert seen == cautioned


def test_a_window_that_opens_again_brings_no_caution_again():
    quick, timeline = [window(3, "09:00", "17:00")], Timeline()
    bodies = []
    for clock, windows in (("09:00", quick), ("09:15", ()), ("15:20", quick), ("15:50", quick)):
        now = outlook(at(3, clock), windows)
        bodies += [compose(n, about(now, "pu_clear_2k"))[1] for n in timeline.tick(now) if n.kind is Kind.COAT_NOW]
    assert [ISOCYANATE in body for body in bodies] == [True, False]


def test_the_words_say_until_when_and_what_becomes_of_the_rest():
    timeline = Timeline()
    timeline.tick(outlook(at(3, "10:15"), W, pot=POT))
    now = outlook(at(3, "12:20"), W, pot=POT)
    (notice,) = timeline.tick(now)
    title, body = compose(notice, about(now, "pu_clear_2k"), link="http://shed.local")
    assert title == "Mix ends, brush by 12:40: Toe rail"
    assert body.splitlines()[:3] == [
        "The pot for coat 4, mixed 10:00, flows well until 12:40 and goes off 14:00.",
        "Estimated by the air; a full cup warms itself and is sooner there.",
        "Still to coat? Finish at a wet edge and mix anew; thinner does not bring it back.",
    ]
    assert "never back into the can" in body
    assert "http://shed.local/record/rail?coat=4" in body
