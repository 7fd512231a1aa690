"""What `dryspell coat` keeps beside the coat: the weather, the verdict, corrections, what spoilt it."""

import json
import os
import signal
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest

from dryspell.cli import main
from dryspell.outlook.model import Limit, Reason
from dryspell.store.notices import Given
from dryspell.store.readings import Checked
from dryspell.store.store import open_store
from dryspell.weather.flags import Flag
from dryspell.weather.sensors.reading import Reading

NOW = "2026-06-03T12:00+02:00"
MORNING = datetime(2026, 6, 3, 6, tzinfo=UTC)


def write_weather(folder, air_c=18, humidity_pct=55):
    hours = [f"2026-06-{d:02}T{h:02}:00Z,{air_c},{humidity_pct},2,0,100" for d in range(1, 15) for h in range(24)]
    names = ["air_temperature [degC]", "relative_humidity [%]", "wind_speed [m/s]", "precipitation_amount [mm]"]
    head = f"# issued 2026-06-03T08:00Z\ntime,{','.join(names)},cloud_area_fraction [%]"
    (folder / "weather.csv").write_text("\n".join([head, *hours]))


@pytest.fixture
def yard(tmp_path):
    write_weather(tmp_path)
    file = tmp_path / "yard.toml"
    file.write_text(
        f"""
        state = "{tmp_path}/state"
        site.harbour = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }}
        piece.rail = {{ coating = "oil_varnish_1k", coats = 8, area = "4.05 m^2", shelter = "roof" }}
        piece.door = {{ coating = "urethane_alkyd_1k", shelter = "roof" }}
        weather = {{ sources = ["table"], file = "weather.csv" }}
        """
    )
    return file


@pytest.fixture
def coat(yard, capsys):
    """Call the command; return exit code, output in one line, and errors."""

    def call(*arguments, now=NOW):
        code = main(["coat", *arguments, "--config", str(yard), "--now", now])
        captured = capsys.readouterr()
        return code, captured.out if "--json" in arguments else " ".join(captured.out.split()), captured.err

    return call


@pytest.fixture
def store(yard):
    opened = open_store(yard.parent / "state")
    yield opened
    opened.close()


def read(store, *variables, piece="", sensor="mast"):
    """Keep readings every ten minutes of the morning."""
    store.keep_readings(
        Checked("harbour", piece, Reading(sensor, name, MORNING + timedelta(minutes=10 * k), value), Flag.GOOD)
        for k in range(30)
        for name, value in variables
    )


def test_the_weather_is_filled_in_from_the_forecast_and_said_to_be_that(coat, store):
    _, out, _ = coat("rail", "--at", "11:00", "--began", "09:50")
    assert "At the first stroke, today 09:50: air 18.0 °C" in out
    assert "(by the forecast)" in out
    (on,) = store.coats("rail")
    assert (on.met.forecast, on.met.sensors) == ("weather.csv", ())
    assert (on.met.start.air_c.value, on.met.start.air_c.known) == (18.0, "forecast")


def test_the_weather_is_filled_in_from_readings_where_there_are_any(coat, store):
    read(store, ("air_temperature", 15.5), ("relative_humidity", 71.0))
    read(store, ("surface_temperature", 13.2), piece="rail", sensor="probe")
    coat("rail", "--at", "11:00", "--began", "09:50")
    (on,) = store.coats("rail")
    start = on.met.start
    assert (start.air_c.value, start.humidity_pct.value, start.surface_c.value) == (15.5, 71.0, 13.2)
    assert {start.air_c.known, start.humidity_pct.known, start.surface_c.known, start.margin_k.known} == {"sensor"}
    assert start.wind_m_s.known == "forecast"
    assert on.met.sensors == ("probe", "mast")


def test_a_reading_that_a_check_has_flagged_is_not_the_weather_a_coat_met(coat, store):
    store.keep_readings(
        Checked(
            "harbour", "", Reading("mast", "air_temperature", MORNING + timedelta(minutes=10 * k), 45.0), Flag.STUCK
        )
        for k in range(30)
    )
    coat("rail", "--at", "11:00")
    assert store.coats("rail")[0].met.start.air_c.value == 18.0


def test_what_was_measured_by_hand_goes_first_and_the_rest_stays_what_it_was(coat, store):
    _, out, _ = coat("rail", "--air", "20 degC", "--humidity", "70 %", "--surface", "68 degF")
    assert "By hand: air 20.0 °C, surface 20.0 °C, humidity 70 %, dew point 14.4 °C, surface over the dew" in out
    met = store.coats("rail")[0].met
    assert (met.told.air_c.value, met.told.margin_k.known) == (20.0, "hand")
    assert met.start.air_c.value == 18.0


def test_what_was_kept_with_a_coat_stays_when_the_weather_is_told_another_way_later(coat, store, yard):
    coat("rail", "--at", "11:00")
    before = store.coats("rail")
    write_weather(yard.parent, air_c=3, humidity_pct=99)
    coat("door", "--at", "11:00")
    assert store.coats("rail") == before
    assert store.coats("door")[0].met.start.air_c.value != 18.0


def test_without_weather_that_is_said_and_nothing_made_up(coat, store, yard):
    yard.write_text(yard.read_text().replace("weather =", 'contact = "you@example.org"\n#'))
    _, out, _ = coat("rail")
    assert "The weather it was put on in is not known here." in out
    assert not store.coats("rail")[0].met.is_known


def test_the_first_stroke_that_was_not_told_is_said_to_be_worked_out(coat, store):
    _, out, _ = coat("rail", "--at", "11:00")
    assert "At the first stroke, about today 10:19:" in out  # 4.05 m2 at 6 m2 an hour
    assert store.coats("rail")[0].began_at is None


def test_the_planned_figure_stands_beside_what_was_told_and_what_was_not_told_is_not_assumed(coat, store):
    _, out, _ = coat("rail", "--at", "09:00")
    assert "How it was thinned is not told" in out
    assert 'Planned: 50 parts to 100 (33 % of the mix); --correct 1 --thinner "50 parts"' in out
    assert store.coats("rail")[0].thinner_parts is None
    assert "Planned: 25 parts to 100 (20 % of the mix)." in coat("rail", "--thinner", "10 parts")[1]
    document = json.loads(coat("rail", "--json", now="2026-06-05T12:00+02:00")[1])
    assert document["thinner_parts"] is None
    assert document["planned"]["thinner_parts"] == 10.0


def test_all_that_may_be_told_is_kept(coat, store, tmp_path):
    picture = tmp_path / "rail.jpg"
    picture.write_bytes(b"")
    code, out, _ = coat(
        "rail", "--used", "380 mL", "--abrasive", "p400", "--coating", "fast_build_1k", "--photo", str(picture),
        "--note", "a run\x1b[31m, brushed out",
    )  # fmt: skip
    assert code == 0
    assert "0.38 L used, sanded with P400" in out
    (on,) = store.coats("rail")
    assert (on.litres, on.abrasive, on.coating) == (pytest.approx(0.38), "P400", "fast_build_1k")
    assert (on.photo, on.note) == (str(picture), "a run [31m, brushed out")


def test_a_coat_of_another_coating_dries_as_that_one_does(coat):
    sandable = {}
    for piece, more in (("rail", []), ("door", ["--coating", "oil_varnish_1k"])):
        document = json.loads(
            coat(piece, "--json", "--at", "11:00", "--thinner", "neat", "--wet-film", "80 um", *more)[1]
        )
        sandable[piece] = document["stages"]["sandable"]
    assert sandable["rail"] == sandable["door"]


def test_the_verdict_it_was_begun_under_is_kept_with_it(coat, store):
    dew = Reason(limit=Limit.MARGIN_HOLD, value=0.3, bound=1.0, unit="K")
    store.save_round({}, [Given("rail", "wait", dew)], [], [], datetime(2026, 6, 3, 6, tzinfo=UTC))
    store.save_round({}, [Given("rail", "coat", None)], [], [], datetime(2026, 6, 3, 9, 30, tzinfo=UTC))
    document = json.loads(coat("rail", "--json", "--at", "11:00", "--began", "10:00")[1])
    assert document["advice"]["verdict"] == "wait"
    assert document["advice"]["reason"]["limit"] == "margin_hold"
    assert document["advice"]["against"] is True
    # Begun after the verdict had turned.
    document = json.loads(coat("rail", "--json", "--correct", "1", "--at", "11:50", "--began", "11:40")[1])
    assert document["advice"]["verdict"] == "coat"


def test_a_verdict_given_of_the_next_coat_is_not_the_one_that_a_corrected_coat_was_begun_under(coat, store):
    coat("rail", "--at", "11:00", now="2026-06-03T11:05+02:00")
    below = Reason(limit=Limit.COAT_BELOW)
    store.save_round({}, [Given("rail", "wait", below)], [], [], datetime(2026, 6, 3, 9, 6, tzinfo=UTC))
    coat("rail", "--correct", "1", "--at", "11:40", "--began", "11:20")
    assert store.coats("rail")[0].advice is None


def test_a_correction_changes_what_is_told_and_nothing_else(coat, store):
    coat("rail", "--at", "09:00", "--who", "Ada", "--thinner", "10 parts", "--air", "19 degC", now=NOW)
    before = store.coats("rail")[0]
    _, out, _ = coat("rail", "--correct", "1", "--thinner", "50 parts", "--by", "Ben")
    assert "coat 1 is corrected" in out
    assert "Now thinner 50 parts to 100, was 10 parts to 100." in out
    after = store.coats("rail")[0]
    assert after.model_copy(update={"id": before.id, "thinner_parts": 10.0}) == before
    (old, new) = store.versions("rail")
    assert (old.coat, new.coat) == (before, after)
    assert old.changes[0].who == "Ben"


def test_a_coat_corrected_to_another_time_has_the_weather_of_that_time(coat, store):
    read(store, ("air_temperature", 15.5))
    coat("rail", "--at", "11:00", "--began", "10:00", "--surface", "17 degC")
    coat("rail", "--correct", "1", "--at", "2026-06-02T11:00", "--began", "10:00", now="2026-06-04T12:00+02:00")
    (on,) = store.coats("rail")
    # A time of day is one of the day of the last stroke.
    assert on.began_at == datetime(2026, 6, 2, 8, tzinfo=UTC)
    assert (on.met.start.air_c.value, on.met.start.air_c.known) == (18.0, "forecast")
    # What was measured by hand was measured.
    assert (on.met.by_hand.surface_c.value, on.met.by_hand.surface_c.known) == (17.0, "hand")


def test_a_figure_can_be_taken_back(coat, store):
    coat("rail", "--wet-film", "80 um", "--thinner", "neat", "--began", "11:00", "--air", "19 degC")
    taken = ["--wet-film", "unknown", "--thinner", "unknown", "--began", "unknown", "--air", "Unknown"]
    assert coat("rail", "--correct", "1", *taken)[0] == 0
    (on,) = store.coats("rail")
    assert (on.wet_film_um, on.thinner_parts, on.began_at, on.met.by_hand.air_c) == (None, None, None, None)
    code, _, err = coat("rail", "--wet-film", "unknown", now="2026-06-05T12:00+02:00")
    assert code == 2
    assert "'unknown' is not a number with a unit" in err


def test_a_coat_in_the_middle_is_corrected_within_its_neighbours(coat, store):
    for clock in ("08:00", "09:00", "10:00"):
        coat("rail", "--at", clock)
    assert coat("rail", "--correct", "2", "--at", "09:30")[0] == 0
    assert (
        "coat 3 was finished 2026-06-03 10:00, and the one below" in coat("rail", "--correct", "2", "--at", "10:00")[2]
    )
    assert "coat 1 was finished 2026-06-03 08:00, and the next" in coat("rail", "--correct", "2", "--at", "08:00")[2]
    assert [c.number for c in store.coats("rail")] == [1, 2, 3]
    assert store.coats("rail")[1].finished_at == datetime(2026, 6, 3, 7, 30, tzinfo=UTC)


def test_a_spoilt_coat_does_not_count_and_has_to_dry_before_it_is_sanded_off(coat, store, yard, capsys):
    coat("rail", "--at", "09:00")
    coat("rail", "--at", "11:00")
    _, out, _ = coat("rail", "--spoilt", "dew", "--note", "matt all over", "--by", "Ada")
    assert "coat 2, last stroke today 11:00, is spoilt by dew" in out
    assert "the next coat is 2 again, when this one is hard and sanded off" in out
    assert [c.number for c in store.coats("rail")] == [1]
    main(["windows", "rail", "--json", "--config", str(yard), "--now", NOW])
    (piece,) = json.loads(capsys.readouterr().out)["pieces"]
    assert (piece["next_coat"], piece["state"], piece["sand_first"]) == (2, "spoilt", True)
    assert (piece["film"]["coat"], piece["film"]["spoilt"]) == (2, "dew")
    assert piece["reason"]["limit"] == "coat_below"
    assert piece["reason"]["at"] >= piece["film"]["stages"]["sandable"] > "2026-06-04"
    main(["windows", "rail", "--config", str(yard), "--now", NOW])
    assert "Spoilt by dew: sand it off first." in capsys.readouterr().out
    assert "coat 2 of 8 recorded" in coat("rail", now="2026-06-06T12:00+02:00")[1]
    assert [c.number for c in store.coats("rail")] == [1, 2]


def test_a_coat_that_was_not_spoilt_after_all_counts_again(coat, store):
    coat("rail", "--at", "09:00")
    coat("rail", "--spoilt", "other")
    assert store.coats("rail") == []
    assert "is not spoilt; it counts again" in coat("rail", "--spoilt", "none")[1]
    assert [c.number for c in store.coats("rail")] == [1]


def test_undo_takes_a_spoilt_coat_back_as_well(coat, store):
    coat("rail", "--at", "09:00")
    coat("rail", "--at", "11:00")
    coat("rail", "--spoilt", "rain")
    assert "coat 2, last stroke today 11:00, is taken back" in coat("rail", "--undo", "--by", "Ada")[1]
    assert [c.number for c in store.films("rail")] == [1]
    assert store.versions("rail")[1].changes[-1].who == "Ada"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--began", "12:01"], "is yet to come"),
        (["--began", "10:00", "--at", "09:00"], "is not within the 24 h before the last one"),
        (["--used", "0.4 kg"], "is a mass, not a volume"),
        (["--used", "0 L"], "is no volume of a mix"),
        (["--coating", "oil_varnish"], "is the key of no coating; did you mean oil_varnish_1k?"),
        (["--abrasive", "fine"], "is no abrasive"),
        (["--photo", "/nowhere/rail.jpg"], "is no file that is there"),
        (["--photo", "9" * 400], "is no file that is there"),
        (["--photo", "~nobody-of-that-name/rail.jpg"], "is no file that is there"),
        (["--began", "0001-01-01"], "is too long ago"),
        (["--air", "180 degC"], "is not within -60 to 100 degC"),
        (["--air", "18"], "has no unit"),
        (["--humidity", "0 %"], "is not within 1 to 100 percent"),
        (["--wind", "2 m"], "is a length, not a speed"),
        (["--correct", "1", "--who", "Ada"], "no coat 1 of rail is recorded; there are none"),
        (["--correct", "1"], "--correct needs what is to be another way"),
        (["--correct", "1", "--undo"], "--undo takes a coat back; it goes with no detail"),
        (["--correct", "1", "--spoilt", "dew"], "are two things; wanted one of them"),
        (["--spoilt", "dew"], "no coat of rail is recorded, so none can be spoilt"),
        (["--spoilt", "dew", "--who", "Ada"], "--spoilt goes with --note, and with no other detail"),
        (["--spoilt", "moth"], "'moth' is not one of"),
        (["--by", "Ada"], "who put a coat on is --who"),
    ],
)
def test_bad_input_is_refused_with_what_would_be_right_and_nothing_is_recorded(coat, store, arguments, said):
    code, out, err = coat("rail", *arguments)
    assert (code, out) == (2, "")
    assert said in err
    assert store.versions("rail") == []


def test_what_is_recorded_just_so_is_not_recorded_again(coat, store):
    coat("rail", "--who", "Ada")
    assert "coat 1 of rail is recorded just so" in coat("rail", "--correct", "1", "--who", "Ada")[2]
    assert "coat 1 of rail is recorded just so" in coat("rail", "--spoilt", "none")[2]
    assert len(store.versions("rail")) == 1


def test_a_coat_and_its_correction_survive_a_kill_as_soon_as_they_are_answered(yard, store):
    def killed(*arguments):
        process = subprocess.Popen(
            [sys.executable, "-m", "dryspell", "coat", "rail", *arguments, "--config", str(yard), "--now", NOW],
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONUNBUFFERED": "1"},
        )
        first = process.stdout.readline()
        process.send_signal(signal.SIGKILL)
        process.stdout.close()
        process.wait(60)
        return first

    assert "coat 1 of 8 recorded" in killed("--at", "09:00", "--thinner", "10 parts")
    assert "coat 1 is corrected" in killed("--correct", "1", "--thinner", "neat")
    assert "is spoilt by dew" in killed("--spoilt", "dew")
    (old, new) = store.versions("rail")
    assert (old.coat.thinner_parts, old.stands) == (10.0, False)
    assert (new.coat.thinner_parts, new.coat.spoilt, new.stands) == (0.0, "dew", True)
    assert store._rows("PRAGMA integrity_check") == [("ok",)]
