import json
import os
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.errors import WeatherError
from dryspell.units import registry
from dryspell.weather.checks import as_datetime
from dryspell.weather.sources.table_file import TableFile
from dryspell.weather.table import VARIABLES

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
BERLIN = ZoneInfo("Europe/Berlin")


@pytest.fixture
def file(tmp_path):
    """Write a table file and make a source of it."""

    def write(text, name="weather.csv", **settings):
        path = tmp_path / name
        path.write_text(text, "utf-8")
        return TableFile(path, **settings)

    return write


@pytest.fixture
def message_of(file, tmp_path):
    """The message about a bad file, without the folder."""

    def fetch(text, name="weather.csv"):
        with pytest.raises(WeatherError) as caught:
            file(text, name).fetch(NOW)
        return str(caught.value).replace(f"{tmp_path}/", "")

    return fetch


def csv(header, *rows):
    return "\n".join([header, *rows]) + "\n"


TWO_ROWS = ("2026-06-01T08:00Z,10", "2026-06-01T09:00Z,11")


def test_csv_becomes_a_table(file):
    table = file(
        csv(
            "time,air_temperature [degF],relative_humidity [percent],precipitation_amount [inch],wind_speed [knot]",
            "2026-06-01T08:00+02:00,50,80,0.1,10",
            "2026-06-01T09:30+02:00,59,75.5,0,0",
        )
    ).fetch(NOW)
    assert np.array_equal(table.times, np.array(["2026-06-01T06:00", "2026-06-01T07:30"], "datetime64[s]"))
    assert table.columns["air_temperature"] == pytest.approx(np.array([[10.0, 15.0]]), abs=1e-6)
    assert table.columns["relative_humidity"].tolist() == [[80.0, 75.5]]
    assert table.columns["precipitation_amount"] == pytest.approx(np.array([[2.54, 0.0]]), abs=1e-9)
    assert table.columns["wind_speed"] == pytest.approx(np.array([[5.144444, 0.0]]), abs=1e-6)
    assert table.source == "weather.csv"
    assert table.notes == ()


def test_json_lines_become_the_same_table(file):
    lines = [
        {"units": {"air_temperature": "degF", "relative_humidity": "percent"}, "issued_at": "2026-06-01T06:00Z"},
        {"time": "2026-06-01T08:00+02:00", "air_temperature": 50, "relative_humidity": 80},
        {"time": "2026-06-01T09:00+02:00", "air_temperature": 59.0},
        {"relative_humidity": None, "time": "2026-06-01T10:00+02:00"},
    ]
    table = file("\n".join(json.dumps(line) for line in lines), "weather.jsonl").fetch(NOW)
    assert table.columns["air_temperature"] == pytest.approx(np.array([[10.0, 15.0, np.nan]]), abs=1e-6, nan_ok=True)
    assert np.array_equal(table.columns["relative_humidity"], [[80.0, np.nan, np.nan]], equal_nan=True)
    assert table.issued_at == datetime(2026, 6, 1, 6, 0, tzinfo=UTC)


def test_the_three_ways_of_writing_nothing_are_read_in_both_forms(file):
    rows = [f"2026-06-01T{hour:02}:00Z,{cell}" for hour, cell in enumerate(["", " ", "NaN", "nan", "null", "7"])]
    table = file(csv("time,air_temperature [degC]", *rows)).fetch(NOW)
    assert np.array_equal(table.columns["air_temperature"], [[np.nan] * 5 + [7.0]], equal_nan=True)
    text = (
        '{"units": {"air_temperature": "degC"}}\n'
        '{"time": "2026-06-01T00:00Z", "air_temperature": NaN}\n'
        '{"time": "2026-06-01T01:00Z", "air_temperature": "NaN"}\n\n'
        '{"time": "2026-06-01T02:00Z", "air_temperature": 7}\n'
    )
    table = file(text, "weather.ndjson").fetch(NOW)
    assert np.array_equal(table.columns["air_temperature"], [[np.nan, np.nan, 7.0]], equal_nan=True)


def test_spaces_blank_lines_quotes_comments_and_a_byte_order_mark_do_no_harm(file):
    text = (
        "\ufeff# an invented day\n\n#issued 2026-06-01T06:00Z\ntime , air_temperature[degC]\r\n"
        '\n"2026-06-01T08:00Z", 10 \n,\n2026-06-01T09:00Z,"11"\n'
    )
    table = file(text).fetch(NOW)
    assert table.columns["air_temperature"].tolist() == [[10.0, 11.0]]
    assert table.issued_at == datetime(2026, 6, 1, 6, 0, tzinfo=UTC)


def test_a_file_that_does_not_say_when_it_was_issued_counts_from_its_last_change(file):
    source = file(csv("time,air_temperature [degC]", *TWO_ROWS))
    os.utime(source.path, (1_780_000_000, 1_780_000_000))
    assert source.fetch(NOW).issued_at == datetime.fromtimestamp(1_780_000_000, UTC)


def test_unordered_and_duplicated_rows_and_gaps_are_put_right_and_noted(file):
    hours = [9, 8, 10, 10, 14]
    rows = [f"2026-06-01T{hour:02}:00Z,{row}" for row, hour in enumerate(hours)]
    table = file(csv("time,air_temperature [degC]", *rows)).fetch(NOW)
    assert table.columns["air_temperature"].tolist() == [[1.0, 0.0, 3.0, 4.0]]
    assert table.notes == (
        "the times were not in order and have been sorted",
        "1 row shared a time with a later one, which is used",
        "1 gap in the times: 3 steps of 1 h missing, the first between 2026-06-01T10:00Z and 2026-06-01T14:00Z",
    )


def test_what_is_physically_impossible_is_left_out_with_a_note(file):
    table = file(csv("time,air_temperature [degC]", "2026-06-01T08:00Z,-999", "2026-06-01T09:00Z,11")).fetch(NOW)
    assert np.array_equal(table.columns["air_temperature"], [[np.nan, 11.0]], equal_nan=True)
    assert table.notes == ("1 value of air_temperature left out: not within -90 to 60 degC",)


HEAD = "time,air_temperature [degC]"
A_TIME = "write one such as 2026-06-01T08:00Z or 2026-06-01T08:00+02:00"
A_NUMBER = "is not a number; write one such as 12.5, or leave it empty where it is not known"
A_UNIT = "or in any unit that converts to it"
A_HEADER = "the columns of a header stand between commas"


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (
            ["time,air_temprature [degC]"],
            ", line 1: no such weather variable: 'air_temprature'; did you mean air_temperature?",
        ),
        (
            ["time,wind_speed"],
            f", line 1, column wind_speed: 'wind_speed' has no unit; write it as wind_speed [m/s], {A_UNIT}",
        ),
        (
            ["time,wind_speed []"],
            f", line 1, column wind_speed: 'wind_speed []' has no unit; write it as wind_speed [m/s], {A_UNIT}",
        ),
        (
            ["time,wind_speed [m/s],wind_speed [knot]"],
            ", line 1, column wind_speed: it stands there twice; leave one of the two out",
        ),
        (["time"], ', line 1: no column but "time"; write one such as air_temperature [degC]'),
        (
            ["air_temperature [degC],time"],
            f", line 1: the first column has to be \"time\", found 'air_temperature [degC]'; {A_HEADER}",
        ),
        (
            ["time;air_temperature [degC]"],
            f", line 1: the first column has to be \"time\", found 'time;air_temperature [degC]'; {A_HEADER}",
        ),
        ([], f', line 1: the first column has to be "time", found nothing; {A_HEADER}'),
        (
            ["# made by hand", HEAD, "2026-06-01T08:00,10"],
            f", line 3: the time 2026-06-01T08:00 has no offset from UTC; {A_TIME}",
        ),
        ([HEAD, TWO_ROWS[0], "1.6.2026 9:00,11"], f", line 3: '1.6.2026 9:00' is not a time; {A_TIME}"),
        ([HEAD, TWO_ROWS[0], ",11"], f", line 3: the time is missing; {A_TIME}"),
        ([HEAD, "0001-01-01T00:00+02:00,11"], f", line 2: '0001-01-01T00:00+02:00' is not a time; {A_TIME}"),
        ([HEAD, TWO_ROWS[0], "2026-06-01T09:00Z,warm"], f", line 3, column air_temperature: 'warm' {A_NUMBER}"),
        ([HEAD, TWO_ROWS[0], '2026-06-01T09:00Z,"12,5"'], f", line 3, column air_temperature: '12,5' {A_NUMBER}"),
        ([HEAD, TWO_ROWS[0], "2026-06-01T09:00Z,inf"], f", line 3, column air_temperature: 'inf' {A_NUMBER}"),
        ([HEAD, TWO_ROWS[0], "2026-06-01T09:00Z,12,5"], ", line 3: 3 cells where the header has 2"),
        ([HEAD], ": weather at 0 time(s); two at the least are needed"),
        ([HEAD, TWO_ROWS[0], TWO_ROWS[0]], ": weather at 1 time(s); two at the least are needed"),
        (["# issued yesterday", HEAD, *TWO_ROWS], f", line 1, issued: 'yesterday' is not a time; {A_TIME}"),
        ([HEAD, TWO_ROWS[0], '2026-06-01T09:00Z,"11'], ", line 3: not CSV: unexpected end of data"),
    ],
)
def test_an_error_in_csv_names_file_line_column_value_and_what_would_be_right(message_of, lines, message):
    assert message_of("\n".join(lines)) == f"weather.csv{message}"


JSON_HEAD = '{"units": {"air_temperature": "degC"}}'
JSON_ROW = '{"time": "2026-06-01T08:00Z", "air_temperature": 10}'
LATE = "2026-06-01T09:00Z"
FIRST_LINE = (
    ', line 1: the first line has to hold "units", and "issued_at" where it is known, and nothing else:'
    ' {"units": {"air_temperature": "degC"}, "issued_at": "2026-06-01T06:00Z"}'
)
NO_OBJECT = ", line 3: not a JSON object; every line has to be one, such as {...}"


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ([JSON_ROW, JSON_ROW], FIRST_LINE),
        ([], FIRST_LINE),
        (['{"units": ["degC"]}', JSON_ROW], FIRST_LINE),
        (['{"units": {"air_temperature": "degC"}, "isued_at": "2026-06-01T06:00Z"}', JSON_ROW], FIRST_LINE),
        (
            ['{"units": {"air_temprature": "degC"}}', JSON_ROW],
            ", line 1: no such weather variable: 'air_temprature'; did you mean air_temperature?",
        ),
        (
            ['{"units": {"air_temperature": 5}}', JSON_ROW],
            f", line 1, column air_temperature: 5 is no unit; write it as air_temperature [degC], {A_UNIT}",
        ),
        (
            [JSON_HEAD, JSON_ROW, f'{{"time": "{LATE}", "wind_speed": 3}}'],
            ', line 3: wind_speed has no unit; name it under "units" in line 1',
        ),
        (
            [JSON_HEAD, JSON_ROW, f'{{"time": "{LATE}", "windspeed": 3}}'],
            ", line 3: no such weather variable: 'windspeed'; did you mean wind_speed?",
        ),
        (
            [JSON_HEAD, JSON_ROW, f'{{"time": "{LATE}", "air_temperature": true}}'],
            f", line 3, column air_temperature: True {A_NUMBER}",
        ),
        (
            [JSON_HEAD, JSON_ROW, f'{{"time": "{LATE}", "air_temperature": Infinity}}'],
            f", line 3, column air_temperature: 'Infinity' {A_NUMBER}",
        ),
        (
            [JSON_HEAD, JSON_ROW, '{"time": 1780272000, "air_temperature": 10}'],
            f", line 3: 1780272000 is not a time; {A_TIME}",
        ),
        ([JSON_HEAD, JSON_ROW, '{"air_temperature": 10}'], f", line 3: the time is missing; {A_TIME}"),
        ([JSON_HEAD, JSON_ROW, '{"time": '], NO_OBJECT),
        ([JSON_HEAD, JSON_ROW, "[" * 100_000], NO_OBJECT),
        ([JSON_HEAD, JSON_ROW], ": weather at 1 time(s); two at the least are needed"),
        (
            [
                '{"units": {"air_temperature": "degC"}, "issued_at": "2026-06-01T06:00"}',
                JSON_ROW,
                JSON_ROW.replace("08", "09"),
            ],
            f", line 1, issued: the time 2026-06-01T06:00 has no offset from UTC; {A_TIME}",
        ),
    ],
)
def test_an_error_in_json_lines_names_file_line_column_value_and_what_would_be_right(message_of, lines, message):
    assert message_of("\n".join(lines), "weather.jsonl") == f"weather.jsonl{message}"


# What is wrong with a unit is said by the reader of units, and is tested there.
@pytest.mark.parametrize("unit", ["metre", "F", "beaufort", "degC]; ["])
def test_a_unit_that_does_not_fit_is_named_with_its_column(message_of, unit):
    message = message_of(csv(f"time,air_temperature [{unit}]", *TWO_ROWS))
    assert message.startswith("weather.csv, line 1, column air_temperature: ")
    assert unit in message
    message = message_of("\n".join([json.dumps({"units": {"air_temperature": unit}}), JSON_ROW]), "weather.jsonl")
    assert message.startswith(f"weather.jsonl, line 1, column air_temperature: [{unit}] ")


def test_a_name_of_another_kind_is_said(message_of):
    assert (
        message_of("", "weather.xlsx")
        == "weather.xlsx: the name of a weather table has to end in .csv, .jsonl, .ndjson"
    )


def test_a_file_that_is_not_there_is_said(tmp_path):
    with pytest.raises(WeatherError, match="cannot be read: No such file or directory"):
        TableFile(tmp_path / "weather.csv").fetch(NOW)
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(WeatherError, match="cannot be read: Is a directory"):
        TableFile(tmp_path / "folder.csv").fetch(NOW)


def test_a_file_in_another_encoding_is_said(tmp_path):
    (tmp_path / "weather.csv").write_bytes("# Grüße".encode("latin-1"))
    with pytest.raises(WeatherError, match="is not UTF-8 text; save it in that encoding"):
        TableFile(tmp_path / "weather.csv").fetch(NOW)


def days(first, count, zone):
    """Hourly rows over whole local days."""
    start = datetime.fromisoformat(first).replace(tzinfo=zone).astimezone(UTC)
    hours = (start + timedelta(hours=hour) for hour in range(24 * count))
    return csv(HEAD, *(f"{hour.isoformat()},{row}" for row, hour in enumerate(hours)))


def test_a_shifted_table_begins_on_the_local_day_asked_for_and_is_as_old_as_the_fetch(file):
    text = days("2026-06-10T00:00", 2, BERLIN)  # begins at 22:00 UTC of the day before
    plain = file(text).fetch(NOW)
    table = file(text, shift_to=date(2027, 7, 4), zone=BERLIN).fetch(NOW)
    assert table.times[0] == np.datetime64("2027-07-03T22:00", "s")
    assert set(np.unique(table.times - plain.times).tolist()) == {timedelta(days=389)}
    assert np.array_equal(table.columns["air_temperature"], plain.columns["air_temperature"])
    assert table.issued_at == NOW


def test_a_table_can_be_shifted_back(file):
    text = days("2026-06-10T00:00", 2, UTC)
    assert file(text, shift_to=date(2026, 6, 1)).fetch(NOW).times[0] == np.datetime64("2026-06-01T00:00", "s")


def test_a_shift_over_a_change_of_the_clocks_keeps_the_hours_under_the_sun(file):
    text = days("2026-06-10T00:00", 2, BERLIN)
    table = file(text, shift_to=date(2026, 12, 10), zone=BERLIN).fetch(NOW)
    assert table.times[0] == np.datetime64("2026-12-09T22:00", "s")


def test_a_shift_may_be_given_as_an_instant(file):
    text = days("2026-06-10T00:00", 2, BERLIN)
    late = datetime(2026, 7, 3, 23, 0, tzinfo=UTC)  # the fourth in Berlin
    assert file(text, shift_to=late, zone=BERLIN).fetch(NOW).times[0] == np.datetime64("2026-07-03T22:00", "s")


# Units to write each column in; pint itself converts, so that the check does not lean on the reader.
OTHER_UNITS = {"degC": "degF", "percent": "dimensionless", "m/s": "knot", "mm": "inch", "W/m^2": "kW/m^2", "hPa": "kPa"}


@st.composite
def written_tables(draw):
    names = draw(st.lists(st.sampled_from(sorted(VARIABLES)), min_size=1, unique=True))
    seconds = st.integers(631_152_000, 3_786_912_000)  # 1990 to 2090
    instants = seconds.map(lambda second: datetime.fromtimestamp(second, UTC))
    times = sorted(draw(st.lists(instants, min_size=2, max_size=12, unique=True)))
    offset = draw(st.sampled_from(["+00:00", "+05:30", "-09:30", "+14:00"]))
    columns = {
        name: draw(
            st.lists(
                st.one_of(st.none(), st.floats(VARIABLES[name].low, VARIABLES[name].high)),
                min_size=len(times),
                max_size=len(times),
            )
        )
        for name in names
    }
    units = {name: draw(st.sampled_from([VARIABLES[name].unit, OTHER_UNITS[VARIABLES[name].unit]])) for name in names}
    return times, offset, columns, units


@given(written_tables())
def test_a_table_written_in_any_units_and_any_offset_reads_back_as_it_was(tmp_path_factory, written):
    times, offset, columns, units = written
    zone = datetime.fromisoformat(f"2026-01-01T00:00{offset}").tzinfo
    stamps = [time.astimezone(zone).isoformat() for time in times]

    def in_unit(name, value):
        quantity = registry().Quantity(value, VARIABLES[name].unit).to(units[name])
        return float(quantity.magnitude)

    cells = {
        name: [None if value is None else in_unit(name, value) for value in values] for name, values in columns.items()
    }
    rows = [
        ",".join([stamp, *("" if cells[name][row] is None else repr(cells[name][row]) for name in columns)])
        for row, stamp in enumerate(stamps)
    ]
    lines = [
        json.dumps({"time": stamp, **{name: cells[name][row] for name in columns}}) for row, stamp in enumerate(stamps)
    ]
    folder = tmp_path_factory.getbasetemp()
    (folder / "round.csv").write_text(csv(",".join(["time", *(f"{name} [{units[name]}]" for name in columns)]), *rows))
    (folder / "round.jsonl").write_text("\n".join([json.dumps({"units": units}), *lines]))
    for name in ("round.csv", "round.jsonl"):
        table = TableFile(folder / name).fetch(NOW)
        assert [as_datetime(time) for time in table.times] == times
        assert set(table.columns) == set(columns)
        for column, values in columns.items():
            expected = np.array([[np.nan if value is None else value for value in values]])
            # Values at the very bounds may fall outside by the rounding of a conversion.
            inside = np.isnan(expected) | (np.abs(expected - VARIABLES[column].low) > 1e-6)
            inside &= np.isnan(expected) | (np.abs(expected - VARIABLES[column].high) > 1e-6)
            assert np.allclose(table.columns[column][inside], expected[inside], rtol=0, atol=2e-6, equal_nan=True)
