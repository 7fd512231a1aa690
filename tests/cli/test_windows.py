"""`dryspell windows`: what it prints, the document it writes, and what it says when the weather is bad or gone."""

import json
import re
import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta

import pytest

from dryspell.answers.document import instant, windows_document
from dryspell.bundled import bundled
from dryspell.cli import main
from dryspell.outlook.model import Coat, FilmState, Limit, Outlook, Reason, Stages
from dryspell.store.store import open_store

NOW = "2026-09-03T11:15+02:00"
AT = datetime.fromisoformat(NOW).astimezone(UTC)
# Names of numbers that count something or are a share, and so have no unit.
BARE = {"next_coat", "coats", "coat", "probability", "sandable_fraction", "thinner_parts", "multiplier"}
BARE |= {"count", "full", "untold"}  # of coats
UNITS = ("_k", "_c", "_pct", "_m_s", "_mm", "_h", "_um", "_min", "_d")


@pytest.fixture
def place(tmp_path, monkeypatch):
    """The demo's pieces and weather as somebody's own configuration, with a state folder of its own."""
    monkeypatch.setenv("DRYSPELL_STATE", str(tmp_path / "state"))
    monkeypatch.delenv("NO_COLOR", raising=False)
    for name in ("demo.toml", "demo-weather.csv"):
        shutil.copy(bundled(name), tmp_path / name)
    issue(tmp_path, "2026-09-03T08:00Z")
    return tmp_path


def issue(folder, at):
    weather = folder / "demo-weather.csv"
    rows = [line for line in weather.read_text("utf-8").splitlines() if not line.startswith("#")]
    weather.write_text("\n".join([f"# issued {at}", *rows]) + "\n", "utf-8")


def windows(place, capsys, *more, code=0):
    assert main(["windows", "--config", str(place / "demo.toml"), "--now", NOW, *more]) == code
    return capsys.readouterr().out


def document(place, capsys, *more, code=0):
    return json.loads(windows(place, capsys, "--json", *more, code=code))


def test_the_verdicts_stand_first_one_line_a_piece(place, capsys):
    lines = windows(place, capsys).splitlines()
    assert lines[0] == "Thu 3 Sep 2026 11:15  Europe/Berlin"
    assert lines[2] == "  COAT     Toe rail        coat 4 now, brush down by 14:15"
    assert [line.split()[0] for line in lines[2:5]] == ["COAT", "COAT", "WAIT"]


def test_every_day_is_a_line_with_its_windows_or_the_reason_against_it(place, capsys):
    text = windows(place, capsys)
    rail = text[text.index("Toe rail, Quillhaven") : text.index("Oak front door, Low Mire Orchard")]
    days = re.findall(r"^  (?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) .*", rail, re.MULTILINE)
    assert len(days) == 16
    assert re.fullmatch(r"  Thu 3 Sep +█+▒+d+·+  11:15 to 14:15, tight to 14:45", days[0])
    assert any(re.search(r"wind \d+\.\d m/s \(max 6 m/s\)$", day) for day in days)
    assert any(day.endswith("rain, and not dry before 20:00") for day in days)


def test_a_named_piece_is_shown_alone_with_every_window_and_every_reason_in_words(place, capsys):
    text = windows(place, capsys, "toe_rail")
    piece = document(place, capsys, "toe_rail")["pieces"][0]
    assert "Oak front door" not in text
    assert text.count("nearest limit:") == len(piece["windows"])
    assert "Also " in text
    for wanted in ("brush down by", "over the dew point", "dew-safe", "outside your hours"):
        assert wanted in text
    assert max(map(len, text.splitlines())) <= 80


def test_details_can_be_had_for_all_and_left_out_for_one(place, capsys):
    assert "nearest limit:" in windows(place, capsys, "--details")
    assert "nearest limit:" not in windows(place, capsys, "toe_rail", "--no-details")


def test_a_misspelt_piece_gets_the_nearest_one_and_exit_code_2(place, capsys):
    assert main(["windows", "toe_rial", "--config", str(place / "demo.toml")]) == 2
    assert "has no piece 'toe_rial'; did you mean toe_rail?" in capsys.readouterr().err
    assert main(["windows", "x", "--config", str(place / "demo.toml")]) == 2
    assert "there are toe_rail, front_door, garden_bench" in capsys.readouterr().err


def numbers(value, key=""):
    if isinstance(value, dict):
        for name, part in value.items():
            yield from numbers(part, name)
    elif isinstance(value, list):
        for part in value:
            yield from numbers(part, key)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield key, value


def texts(value):
    if isinstance(value, dict | list):
        for part in value.values() if isinstance(value, dict) else value:
            yield from texts(part)
    elif isinstance(value, str):
        yield value


def test_the_document_names_its_schema_and_every_number_carries_its_unit(place, capsys):
    written = document(place, capsys)
    assert written["schema"] == "dryspell.windows/1"
    assert written["generated_at"] == "2026-09-03T09:15:00Z"
    unnamed = {key for key, _ in numbers(written) if key not in BARE and not key.endswith(UNITS)}
    assert unnamed == set()


def test_every_instant_of_the_document_is_utc_with_z_and_the_zone_is_named(place, capsys):
    written = document(place, capsys)
    stamps = [text for text in texts(written) if re.match(r"\d{4}-\d\d-\d\dT", text)]
    assert len(stamps) > 100
    assert all(re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", stamp) for stamp in stamps)
    assert {piece["timezone"] for piece in written["pieces"]} == {"Europe/Berlin"}


def test_windows_and_blocks_of_the_document_tile_the_time_ahead(place, capsys):
    for piece in document(place, capsys)["pieces"]:
        quarter = timedelta(minutes=15)
        spans = [(b["start"], datetime.fromisoformat(b["end"])) for b in piece["blocks"]]
        spans += [(w["start"], datetime.fromisoformat(w["last_start"]) + quarter) for w in piece["windows"]]
        spans.sort()
        ends = [end for _, end in spans]
        assert [datetime.fromisoformat(start) for start, _ in spans[1:]] == ends[:-1]


def test_a_reason_of_the_document_names_value_and_bound_by_their_unit(place, capsys):
    blocks = [block for piece in document(place, capsys)["pieces"] for block in piece["blocks"]]
    wind = next(block["reason"] for block in blocks if block["reason"]["limit"] == "wind")
    assert wind["bound_m_s"] == 6.0
    assert wind["value_m_s"] > 6.0
    dew = next(block["reason"] for block in blocks if block["reason"]["limit"] == "margin_hold")
    assert dew["value_k"] < dew["bound_k"]


def test_a_coat_that_was_recorded_moves_the_next_window_and_its_film_is_shown(place, capsys):
    before = document(place, capsys, "toe_rail")["pieces"][0]
    store = open_store(place / "state")
    finished = AT - timedelta(hours=2)
    store.add_coat(Coat(piece="toe_rail", number=4, finished_at=finished, recorded_at=AT))
    store.close()
    after = document(place, capsys, "toe_rail")["pieces"][0]
    assert (before["next_coat"], after["next_coat"]) == (4, 5)
    assert after["verdict"] == "wait"
    assert after["windows"][0]["start"] > before["windows"][0]["start"]
    assert after["film"]["coat"] == 4
    assert 0 < after["film"]["sandable_fraction"] < 1
    assert "On it: coat 4, last stroke today 09:15" in windows(place, capsys, "toe_rail")


def test_the_exit_code_is_1_only_where_asked_and_where_nothing_can_be_coated(place, capsys):
    windows(place, capsys, "toe_rail", "--exit-code", code=0)
    windows(place, capsys, "garden_bench", code=0)
    windows(place, capsys, "garden_bench", "--exit-code", code=1)
    windows(place, capsys, "--exit-code", code=0)
    shutil.rmtree(place / "state")
    issue(place, "2026-09-01T00:00Z")
    windows(place, capsys, "--exit-code", code=1)


def test_a_stale_forecast_gives_unknown_with_its_age_and_never_a_go(place, capsys):
    issue(place, "2026-09-02T21:15Z")
    text = windows(place, capsys)
    assert "UNKNOWN  Toe rail" in text
    assert "the forecast is 12.0 h old (6 h at most)" in text.lower().replace("\n", " ").replace("  ", "")
    assert "COAT" not in text
    assert {piece["verdict"] for piece in document(place, capsys)["pieces"]} == {"unknown"}


def test_weather_without_wind_gives_unknown_and_names_what_is_missing(place, capsys):
    weather = place / "demo-weather.csv"
    weather.write_text(weather.read_text("utf-8").replace("wind_speed [m/s]", "surface_temperature [degC]"), "utf-8")
    text = windows(place, capsys, "toe_rail")
    assert "unknown" in text.lower()
    assert "The weather says nothing of wind speed" in text


def test_without_weather_the_answer_is_unknown_and_standard_error_says_why(place, capsys):
    (place / "demo-weather.csv").unlink()
    (piece, *_) = document(place, capsys)["pieces"]
    assert (piece["verdict"], piece["weather"], piece["windows"]) == ("unknown", None, [])
    result = subprocess.run(
        [sys.executable, "-m", "dryspell", "windows", "--config", str(place / "demo.toml")],
        capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    assert "There is no weather to go by" in result.stdout
    assert "demo-weather.csv cannot be read" in result.stderr
    assert "Traceback" not in result.stderr


def test_no_color_and_pipes_leave_the_text_plain_and_the_option_goes_before_them(place, capsys, monkeypatch):
    assert "\x1b[" not in windows(place, capsys)
    assert "\x1b[32m" in windows(place, capsys, "--colour")
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("NO_COLOR", "1")
    assert "\x1b[" not in windows(place, capsys)


def test_a_piece_that_is_built_up_is_done_and_a_long_name_breaks_no_line(place, capsys):
    file = place / "demo.toml"
    text = file.read_text("utf-8").replace("done = 4", "done = 7")
    file.write_text(text.replace('"Toe rail"', '"Toe rail, cap rail and both coamings of the old yawl"'), "utf-8")
    text = windows(place, capsys, "--details")
    assert "DONE     Oak front door" in text
    assert "built up: 7 of 7 coats are on" in text
    assert "Toe rail, cap rail and…" in text
    assert max(map(len, text.splitlines())) <= 80


def with_keys(place, **keys):
    """Give the toe rail of the demo some more keys, written as TOML."""
    file = place / "demo.toml"
    more = "".join(f"{key} = {value}\n" for key, value in keys.items())
    file.write_text(file.read_text("utf-8").replace('wind = "exposed"\n', f'wind = "exposed"\n{more}'), "utf-8")


def test_a_cover_from_five_on_is_told_where_it_makes_a_coat_work(place, capsys):
    bare = document(place, capsys, "toe_rail")["pieces"][0]["windows"][0]
    with_keys(place, cover='"17:00-09:00"')
    covered = document(place, capsys, "toe_rail")["pieces"][0]["windows"][0]
    assert covered["brush_down_by"] > bare["brush_down_by"]
    assert (bare["cover_on_by"], bare["without_cover"], bare["bare_until"]) == (None, None, None)
    assert covered["cover_on_by"] == "2026-09-03T15:00:00Z"
    assert covered["without_cover"]["limit"] == "margin_hold"
    assert covered["without_cover"]["value_k"] < covered["without_cover"]["bound_k"] == 1.0
    text = windows(place, capsys, "toe_rail")
    assert re.search(r"cover on by 17:00 for a coat begun after \d\d:\d\d; without\s+it ", text)
    assert "u under cover" in text
    assert "The cover is on, or goes on before the last stroke; room" in text
    assert max(map(len, text.splitlines())) <= 80


def test_bare_wood_is_told_what_it_settles_at_and_how_dry_it_has_to_be(place, capsys):
    file = place / "demo.toml"
    file.write_text(file.read_text("utf-8").replace("done = 3\n", ""), "utf-8")
    wood = document(place, capsys, "toe_rail")["pieces"][0]["wood"]
    assert 8 < wood["settles_at_pct"] < 22
    assert (wood["below_pct"], wood["read_pct"], wood["least_days_d"], wood["most_days_d"]) == (16, None, None, None)
    assert "bare wood settles at about" in windows(place, capsys, "toe_rail")
    with_keys(place, wood_moisture='"22 %"')
    wood = document(place, capsys, "toe_rail")["pieces"][0]["wood"]
    assert wood["read_pct"] == 22
    assert 6 < wood["least_days_d"] <= wood["most_days_d"]
    text = windows(place, capsys, "toe_rail")
    assert "The wood reads 22 %: bring it under 16 % before coat 1" in text
    assert max(map(len, text.splitlines())) <= 80
    assert document(place, capsys, "front_door")["pieces"][0]["wood"] is None


def test_full_coats_are_counted_apart_from_thinned_ones(place, capsys):
    assert document(place, capsys, "toe_rail")["pieces"][0]["coats_on"] is None
    store = open_store(place / "state")
    for number, parts in ((4, 10.0), (5, 0.0)):
        finished = AT - timedelta(days=12 - 2 * number)
        store.add_coat(Coat(piece="toe_rail", number=number, finished_at=finished, recorded_at=AT, thinner_parts=parts))
    store.close()
    written = document(place, capsys, "toe_rail")["pieces"][0]["coats_on"]
    assert written == {"count": 5, "full": 2, "untold": 3}
    assert "  5 coats on, 2 of them full; of 3 it is not told how they were thinned\n" in windows(
        place, capsys, "toe_rail"
    )


def test_us_units_are_those_of_the_configuration(place, capsys):
    file = place / "demo.toml"
    file.write_text(file.read_text("utf-8") + '\n[alerts]\nunits = "us"\n', "utf-8")
    text = windows(place, capsys, "toe_rail")
    assert re.search(r"surface \d\d °F", text)
    assert "mph" in text
    assert "°C" not in text


def test_an_unknown_figure_is_null_and_not_a_word_that_is_no_json():
    reason = Reason(limit=Limit.MARGIN_HOLD, value=float("nan"), bound=1.0, unit="K", at=AT)
    film = FilmState(
        coat=Coat(piece="rail", number=1, finished_at=AT, recorded_at=AT), stages=Stages(), sandable_fraction=0.5
    )
    outlook = Outlook(
        piece="rail", piece_name="Rail", site="yard", timezone="UTC", made_at=AT, word="unknown", reason=reason,
        next_coat=2, coats=7, coating="primer_1k", film=film,
    )  # fmt: skip
    (piece,) = json.loads(json.dumps(windows_document([outlook], AT).as_json(), allow_nan=False))["pieces"]
    assert piece["reason"] == {"limit": "margin_hold", "value_k": None, "bound_k": 1.0, "at": "2026-09-03T09:15:00Z"}
    assert piece["film"]["stages"]["sandable"] is None
    assert piece["site_name"] == "yard"


def test_instants_are_written_in_utc_whatever_offset_they_come_with():
    assert instant(datetime.fromisoformat(NOW)) == "2026-09-03T09:15:00Z"
    assert instant(None) is None
