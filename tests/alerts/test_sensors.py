import re
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from alerts.fakes import at
from dryspell.alerts.kinds import SensorKind
from dryspell.alerts.sensor_text import compose_sensor, sensor_notice_id
from dryspell.alerts.sensors import SensorHealth, SensorMemory, Trouble, decide_sensors
from dryspell.weather.flags import Flag

START = at(2, "14:20")
BERLIN = ZoneInfo("Europe/Berlin")


def well(**changes):
    values = {
        "sensor": "mast",
        "name": "Mast",
        "site": "quay",
        "silent_after_s": 1800,
        "silent": False,
        "fresh": True,
        "last_heard_at": START,
        "last_good_at": START,
        "worst": "relative_humidity",
        "readings": 60,
    }
    return SensorHealth(**(values | changes))


SILENT = well(silent=True, fresh=False)
STUCK = well(stuck=("air_temperature",))
FLAGGED = well(flagged_share=0.8, main_flag=Flag.JUMP)
WAVERING = well(flagged_share=0.3, main_flag=Flag.JUMP)


class Course:
    """What is said while the hours go by, ten minutes a step."""

    def __init__(self):
        self.memory, self.now, self.said, self.settled = {}, START, [], set()

    def see(self, health, minutes=0):
        """See a sensor so now, and every ten minutes for so long."""
        before = len(self.said)
        for _ in range(minutes // 10 + 1):
            notices, self.memory, settled = decide_sensors(self.memory, [health], self.now)
            self.settled |= settled
            self.said += notices
            # As the store hands it back.
            self.memory = {
                key: SensorMemory.model_validate_json(kept.model_dump_json()) for key, kept in self.memory.items()
            }
            self.now += timedelta(minutes=10)
        return [notice.kind for notice in self.said[before:]]


@pytest.fixture
def course():
    return Course()


@pytest.mark.parametrize(
    ("health", "trouble"), [(SILENT, Trouble.SILENT), (STUCK, Trouble.STUCK), (FLAGGED, Trouble.FLAGGED)]
)
def test_a_failure_is_said_once_however_long_it_lasts_and_so_is_its_end(course, health, trouble):
    assert course.see(well(), 60) == []
    assert course.see(health, 60 * 24 * 3) == [SensorKind.FAILED]
    assert course.said[0].trouble is trouble
    assert course.see(well(), 60 * 24 * 3) == [SensorKind.BACK]
    assert course.said[1].trouble is trouble
    assert course.settled == {course.said[0].key}


def test_a_sensor_is_back_only_after_half_an_hour_without_a_break(course):
    course.see(SILENT)
    for _ in range(20):
        assert course.see(well(), 20) == []
        assert course.see(SILENT) == []
    assert course.see(well(), 20) == []
    assert course.see(well()) == [SensorKind.BACK]


def test_one_that_fails_again_soon_is_not_spoken_of_before_six_hours_are_over(course):
    course.see(SILENT)
    course.see(well(), 30)
    assert course.see(SILENT, 60 * 5) == []
    assert course.see(SILENT, 60 * 3) == [SensorKind.FAILED]
    course.see(well(), 30)
    assert course.see(well(), 60 * 7) == []
    assert course.see(SILENT) == [SensorKind.FAILED]


def test_a_sensor_is_not_back_before_it_has_read_something_good_though_it_is_given_time_after_a_restart(course):
    course.see(SILENT)
    assert course.see(well(fresh=False), 120) == []


def test_a_share_between_well_and_failed_changes_nothing(course):
    assert course.see(WAVERING, 60) == []
    course.see(FLAGGED)
    assert course.see(WAVERING, 60 * 5) == []
    assert course.see(well(), 30) == [SensorKind.BACK]


def test_a_share_of_few_readings_says_nothing(course):
    assert course.see(well(flagged_share=1.0, readings=5, main_flag=Flag.RANGE), 60) == []


def test_one_failure_that_becomes_another_is_still_one(course):
    course.see(STUCK)
    assert course.see(SILENT, 600) == []
    course.see(well(), 30)
    assert [notice.trouble for notice in course.said] == [Trouble.STUCK, Trouble.STUCK]


def test_sensors_are_judged_one_by_one_and_what_is_remembered_of_others_stays():
    others = {"shed": SensorMemory(failed=Trouble.STUCK, key="k")}
    notices, memory, settled = decide_sensors(others, [SILENT, well(sensor="roof")], START)
    assert [notice.health.sensor for notice in notices] == ["mast"]
    assert memory["shed"] == others["shed"]
    assert settled == set()


def test_the_same_decision_twice_is_the_same():
    assert decide_sensors({}, [SILENT], START) == decide_sensors({}, [SILENT], START)


def words(health, *after, name="Quillhaven", **changes):
    course = Course()
    course.now = START + timedelta(hours=2, minutes=10)
    course.see(health.model_copy(update=changes))
    for later in after:
        course.see(later, 30)
    return compose_sensor(course.said[-1], name, BERLIN)


def test_a_silent_sensor_says_since_when_and_where_to_look():
    title, body = words(SILENT)
    assert title == "Sensor silent: Mast"
    assert body.splitlines()[:-1] == [
        "No reading since Tue 14:20, 2 h 10 min ago (one in 30 min is expected).",
        "Until it is back, Quillhaven is judged by the forecast and by other sensors, where there are any.",
        "Look at its power, its reach, and what passes its readings on.",
    ]
    assert words(SILENT, last_heard_at=None)[1].startswith("No reading yet (one in 30 min is expected).")


def test_a_stuck_sensor_says_which_variable():
    title, body = words(STUCK)
    assert title == "Sensor stuck: Mast"
    assert body.startswith("It reads the same air temperature again and again, for longer than the air stays the same.")
    assert "Look whether the probe is iced over, covered or broken" in body


def test_a_flagged_sensor_says_how_much_and_why():
    title, body = words(FLAGGED)
    assert title == "Sensor not to be believed: Mast"
    first = "80 % of its last 60 readings of relative humidity are not used, most of them because: changed too fast."
    assert body.startswith(f"{first}\nThe last good reading is of Tue 14:20.\n")
    assert "Look at its clock and its time zone." in words(FLAGGED, main_flag=Flag.FUTURE)[1]
    assert "There is no good reading of it." in words(FLAGGED, last_good_at=None)[1]


def test_a_sensor_that_is_back_says_what_it_was():
    title, body = words(SILENT, well())
    assert title == "Sensor back: Mast"
    assert body.splitlines()[:-1] == [
        "It was silent since Tue 14:20.",
        "Its readings are good, and are used again for Quillhaven.",
    ]


@pytest.mark.parametrize("health", [SILENT, STUCK, FLAGGED])
def test_every_text_fits_a_watch_ends_with_its_id_and_promises_nothing(health):
    course = Course()
    course.see(health)
    course.see(well(), 30)
    assert [notice.kind for notice in course.said] == list(SensorKind)
    for notice in course.said:
        title, body = compose_sensor(notice, "Quillhaven", BERLIN)
        assert len(title) <= 45
        assert body.splitlines()[-1] == f"[{sensor_notice_id(notice)}]"
        assert not re.search(r"\bsafe\b|guarantee", f"{title} {body}", re.IGNORECASE)
