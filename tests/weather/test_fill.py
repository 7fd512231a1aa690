"""What one table lacks is taken from another, on its own time axis, and marked; nothing that is there is changed."""

from datetime import UTC, datetime, timedelta

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.weather.fill import dew_point_of, filled_in, lacking, onto
from dryspell.weather.table import WeatherTable

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
START = np.datetime64("2026-06-01T12:00", "s")
AIR, RH, DEW = "air_temperature", "relative_humidity", "dew_point_temperature"
RAIN, WIND, GUST = "precipitation_amount", "wind_speed", "wind_speed_of_gust"
CHANCE, CLOUD = "probability_of_precipitation", "cloud_area_fraction"
SUN = "surface_downwelling_shortwave_flux_in_air"
DIRECT = "surface_direct_downwelling_shortwave_flux_in_air"
DIFFUSE = "surface_diffuse_downwelling_shortwave_flux_in_air"
WHOLE = {AIR: 12.0, RH: 70.0, RAIN: 0.0, WIND: 3.0, CLOUD: 50.0, GUST: 6.0, CHANCE: 10.0, SUN: 200.0}


def table(hours=(0, 1, 2, 3), *, source="first", age_h=0.0, attribution="", coarse=None, **columns):
    times = START + (np.asarray(hours) * 3600).astype("timedelta64[s]")
    rows = {
        name: np.array(np.broadcast_to(np.atleast_2d(np.asarray(values, dtype=float)), _shape(values, times)))
        for name, values in columns.items()
    }
    issued_at = NOW - timedelta(hours=age_h)
    return WeatherTable(times, rows, source, issued_at, attribution, coarse=coarse)


def _shape(values, times):
    return (np.shape(values)[0] if np.ndim(values) == 2 else 1, times.size)


def whole(hours=(0, 1, 2, 3), *, without=(), **how):
    columns = {name: value for name, value in WHOLE.items() if name not in without}
    return table(hours, **{**columns, **how})


# --- what is lacking ---


def test_a_whole_table_lacks_nothing():
    assert lacking(whole(), NOW) == []


@pytest.mark.parametrize("name", [RAIN, WIND, CLOUD, GUST, CHANCE, SUN])
def test_a_variable_that_is_absent_or_unknown_at_an_hour_is_lacking(name):
    assert lacking(whole(without=(name,)), NOW) == [name]
    assert lacking(whole(**{name: [1, 1, np.nan, 1]}), NOW) == [name]


def test_without_a_temperature_a_humidity_tells_no_moisture():
    assert lacking(whole(**{AIR: [12, 12, np.nan, 12]}), NOW) == [AIR, DEW]


def test_either_of_humidity_and_dew_point_is_moisture_enough():
    assert lacking(whole(without=(RH,), **{DEW: 5.0}), NOW) == []
    assert lacking(whole(without=(RH,)), NOW) == [DEW]
    assert lacking(whole(**{RH: [70, np.nan, 70, 70], DEW: [np.nan, 5, np.nan, np.nan]}), NOW) == []


def test_an_hour_that_one_member_does_not_know_is_lacking():
    assert lacking(whole(**{AIR: [[12] * 4] * 2, CLOUD: [[50] * 4, [50, 50, np.nan, 50]]} | _twice()), NOW) == [CLOUD]


def _twice():
    return {name: [[value] * 4] * 2 for name, value in WHOLE.items() if name not in {AIR, CLOUD}}


def test_hours_that_are_past_or_a_week_away_or_behind_the_last_temperature_are_not_lacking():
    hours = np.arange(-24, 24 * 9)
    cloud = np.where((hours < 0) | (hours > 24 * 7), np.nan, 50.0)
    assert lacking(whole(hours, **{CLOUD: cloud}), NOW) == []
    assert lacking(whole(hours, **{CLOUD: np.where(hours == 0, np.nan, cloud)}), NOW) == [CLOUD]
    ends = np.where(hours > 30, np.nan, 12.0)
    assert lacking(whole(hours, **{AIR: ends, CLOUD: np.where(hours > 30, np.nan, 50.0)}), NOW) == []


# --- what is filled in ---


def test_a_variable_that_is_absent_is_taken_whole_and_said():
    filled = filled_in(whole(without=(CLOUD,)), whole(source="second", **{CLOUD: 80.0}), NOW)
    assert filled.column(CLOUD).tolist() == [[80.0] * 4]
    assert filled.filled == {CLOUD: "second"}
    assert filled.notes == ("cloud_area_fraction from second",)
    assert filled.source == "first"


def test_holes_are_filled_and_the_rest_stays_and_it_is_said_how_many():
    filled = filled_in(whole(**{RAIN: [0, np.nan, 2, np.nan]}), whole(source="second", **{RAIN: 5.0}), NOW)
    assert filled.column(RAIN).tolist() == [[0, 5, 2, 5]]
    assert filled.notes == ("precipitation_amount at 2 of 4 times from second",)


def test_where_nothing_is_lacking_or_nothing_is_known_the_table_stays_itself():
    mine = whole()
    assert filled_in(mine, whole(source="second", **{AIR: 30.0}), NOW) is mine
    bare = whole(without=(CLOUD,))
    assert filled_in(bare, whole(without=(CLOUD,), source="second"), NOW) is bare


def test_a_third_source_fills_what_the_second_left_and_both_are_named():
    mine = whole(**{GUST: [np.nan, np.nan, 6, 6]})
    second = whole(source="second", **{GUST: [7, np.nan, 7, 7]})
    third = whole(source="third", **{GUST: 8.0})
    filled = filled_in(filled_in(mine, second, NOW), third, NOW)
    assert filled.column(GUST).tolist() == [[7, 8, 6, 6]]
    assert filled.filled == {GUST: "second and third"}


def test_credits_of_all_that_is_used_are_joined_and_each_stands_once():
    mine, other = whole(without=(CLOUD,), attribution="A"), whole(source="second", attribution="B")
    assert filled_in(mine, other, NOW).attribution == "A; B"
    assert filled_in(mine, whole(source="second", attribution="A"), NOW).attribution == "A"
    assert filled_in(mine, whole(source="second"), NOW).attribution == "A"


@pytest.mark.parametrize("name", [RAIN, WIND, CLOUD, RH])
def test_an_older_part_that_is_needed_makes_the_table_as_old(name):
    filled = filled_in(whole(without=(name,)), whole(source="second", age_h=3.0), NOW)
    assert filled.issued_at == NOW - timedelta(hours=3)


@pytest.mark.parametrize("name", [GUST, CHANCE, SUN])
def test_an_older_part_that_is_judged_by_only_where_it_is_known_does_not(name):
    filled = filled_in(whole(without=(name,)), whole(source="second", age_h=3.0), NOW)
    assert filled.filled
    assert filled.issued_at == NOW


def test_a_younger_part_does_not_make_the_table_younger():
    filled = filled_in(whole(without=(WIND,), age_h=3.0), whole(source="second"), NOW)
    assert filled.issued_at == NOW - timedelta(hours=3)


def test_what_is_not_known_of_the_past_alone_is_left_and_what_is_lacking_ahead_is_filled_in_there_too():
    hours, late = [-2, -1, 0, 1], NOW - timedelta(minutes=20)
    other = whole([-3, *hours, 2], source="second")
    past = whole(hours, **{RAIN: [np.nan, np.nan, 0, 0], CLOUD: [np.nan, 50, 50, 50]})
    assert filled_in(past, other, late) is past
    filled = filled_in(whole(hours, without=(RAIN, CLOUD)), other, late)
    assert np.isfinite(filled.column(RAIN)).all()
    assert np.isfinite(filled.column(CLOUD)).all()


def test_a_point_just_past_is_needed_for_what_is_ahead_and_a_sum_just_past_is_not():
    # Eleven and twelve o'clock are known, and it is twenty to twelve: a point lies between them.
    hours, late = [-2, -1, 0, 1], NOW - timedelta(minutes=20)
    assert lacking(whole(hours, **{CLOUD: [50, np.nan, 50, 50]}), late) == [CLOUD]
    assert lacking(whole(hours, **{RAIN: [0, np.nan, 0, 0]}), late) == []


def test_behind_the_last_temperature_nothing_is_filled_in():
    mine = whole(**{AIR: [12, 12, np.nan, np.nan], RAIN: [0, np.nan, np.nan, np.nan]})
    filled = filled_in(mine, whole(source="second"), NOW)
    assert np.array_equal(filled.column(RAIN), [[0, 0, np.nan, np.nan]], equal_nan=True)
    assert np.array_equal(filled.column(AIR), [[12, 12, np.nan, np.nan]], equal_nan=True)


def test_a_temperature_missing_between_others_is_filled_in_with_its_moisture():
    mine = whole(**{AIR: [12, np.nan, 12, 12], RH: [70, np.nan, 70, 70]})
    filled = filled_in(mine, whole(source="second", without=(RH,), **{AIR: 10.0, DEW: 4.0}), NOW)
    assert filled.column(AIR).tolist() == [[12, 10, 12, 12]]
    assert filled.column(DEW)[0, 1] == 4.0
    assert lacking(filled, NOW) == []


# --- moisture ---


def test_moisture_comes_as_the_dew_point_and_where_there_is_humidity_it_is_worked_out():
    # Reference: psychrolib 2.5 (ASHRAE), air of 20 degC at 60 %.
    psychrolib.SetUnitSystem(psychrolib.SI)
    expected = psychrolib.GetTDewPointFromRelHum(20.0, 0.60)
    filled = filled_in(whole(without=(RH,), **{AIR: 15.0}), whole(source="second", **{AIR: 20.0, RH: 60.0}), NOW)
    assert filled.column(DEW)[0] == pytest.approx([expected] * 4, abs=0.05)
    assert RH not in filled.columns


def test_a_dew_point_from_elsewhere_is_never_over_the_temperature_here():
    filled = filled_in(whole(without=(RH,), **{AIR: 8.0}), whole(source="second", **{DEW: 11.0}), NOW)
    assert filled.column(DEW).tolist() == [[8.0] * 4]


def test_where_part_of_the_humidity_is_known_the_dew_point_joins_without_a_seam():
    mine = whole(**{RH: [70, 70, np.nan, 70]})
    filled = filled_in(mine, whole(source="second", **{DEW: 5.0}), NOW)
    own = dew_point_of(whole())[0, 0]
    assert filled.column(DEW)[0] == pytest.approx([own, own, 5.0, own])
    assert filled.notes == ("dew_point_temperature at 1 of 4 times from second",)


def test_a_table_with_humidity_alone_gets_no_dew_point_of_its_own_when_something_else_is_filled():
    filled = filled_in(whole(without=(CLOUD,)), whole(source="second"), NOW)
    assert DEW not in filled.columns


# --- sunshine ---


def test_the_parts_of_sunshine_come_with_the_whole_of_it():
    other = whole(source="second", **{SUN: 300.0, DIRECT: 200.0, DIFFUSE: 100.0})
    filled = filled_in(whole(without=(SUN,)), other, NOW)
    assert [filled.column(name)[0, 0] for name in (SUN, DIRECT, DIFFUSE)] == [300.0, 200.0, 100.0]
    assert filled.filled == dict.fromkeys((SUN, DIRECT, DIFFUSE), "second")
    assert filled.notes == (f"{SUN} from second",)


def test_the_parts_of_sunshine_do_not_come_beside_another_whole():
    mine = whole(without=(CLOUD,))
    filled = filled_in(mine, whole(source="second", **{DIRECT: 200.0, DIFFUSE: 100.0}), NOW)
    assert not {DIRECT, DIFFUSE} & set(filled.columns)


def test_sunshine_that_ends_before_the_forecast_is_left_to_be_worked_out_from_cloud():
    other = whole(source="second", **{SUN: [200, 200, 200, np.nan]})
    mine = whole(without=(SUN,))
    assert filled_in(mine, other, NOW) is mine
    # A hole in sunshine of one's own is another matter.
    assert filled_in(whole(**{SUN: [200, np.nan, 200, 200]}), other, NOW).column(SUN)[0, 1] == 200.0


# --- members ---


def test_a_single_forecast_fills_every_member():
    members = {name: [[value] * 4, [value + 1] * 4] for name, value in WHOLE.items() if name != CLOUD}
    filled = filled_in(table(**members), whole(source="second", **{CLOUD: [10, 20, 30, 40]}), NOW)
    assert filled.members == 2
    assert filled.column(CLOUD).tolist() == [[10, 20, 30, 40]] * 2


def test_a_hole_in_one_member_is_filled_in_that_member():
    members = {name: [[value] * 4] * 2 for name, value in WHOLE.items()}
    members[CLOUD] = [[50] * 4, [50, np.nan, 50, 50]]
    filled = filled_in(table(**members), whole(source="second", **{CLOUD: 90.0}), NOW)
    assert filled.column(CLOUD).tolist() == [[50] * 4, [50, 90, 50, 50]]


def test_of_an_ensemble_the_control_fills_a_single_forecast():
    other = table(source="second", **{name: [[value] * 4, [value + 9] * 4] for name, value in WHOLE.items()})
    filled = filled_in(whole(without=(WIND,)), other, NOW)
    assert filled.column(WIND).tolist() == [[3.0] * 4]


# --- another time axis ---


def test_points_are_interpolated_sums_shared_out_and_means_kept():
    other = table([0, 2, 4], **{AIR: [10, 14, 20], RAIN: [6, 4, 1], SUN: [60, 100, 300], GUST: [7, 9, 5]})
    times = START + np.arange(0, 5) * np.timedelta64(1, "h")
    assert onto(other, AIR, times)[0].tolist() == [10, 12, 14, 17, 20]
    # The step that ends at the first stamp is taken to be two hours long, as the next.
    assert onto(other, RAIN, times)[0].tolist() == [3, 2, 2, 0.5, 0.5]
    assert onto(other, SUN, times)[0].tolist() == [60, 100, 100, 300, 300]
    assert onto(other, GUST, times)[0].tolist() == [7, 9, 9, 5, 5]


def test_finer_steps_are_put_together():
    other = table(
        np.arange(-4, 9) / 4, **{RAIN: 0.5, SUN: np.arange(13.0), GUST: np.arange(13.0), AIR: np.arange(13.0)}
    )
    times = START + np.arange(0, 3) * np.timedelta64(1, "h")
    assert onto(other, RAIN, times)[0] == pytest.approx([2.0, 2.0, 2.0])
    assert onto(other, SUN, times)[0] == pytest.approx([2.5, 6.5, 10.5])
    assert onto(other, GUST, times)[0] == pytest.approx([4.0, 8.0, 12.0])
    assert onto(other, AIR, times)[0] == pytest.approx([4.0, 8.0, 12.0])


def test_uneven_steps_keep_their_totals():
    other = table(np.arange(-1, 14), **{RAIN: np.arange(15.0), GUST: np.arange(15.0), SUN: np.arange(15.0)})
    times = START + np.array([0, 1, 2, 6, 12]) * np.timedelta64(1, "h")
    assert onto(other, RAIN, times)[0].tolist() == [1, 2, 3, 4 + 5 + 6 + 7, 8 + 9 + 10 + 11 + 12 + 13]
    assert onto(other, GUST, times)[0].tolist() == [1, 2, 3, 7, 13]
    assert onto(other, SUN, times)[0].tolist() == [1, 2, 3, 5.5, 10.5]


@pytest.mark.parametrize("name", [AIR, RAIN, SUN, GUST])
def test_nothing_is_known_outside_the_other_axis(name):
    times = START + np.arange(-3, 8) * np.timedelta64(1, "h")
    known = np.isfinite(onto(table([0, 1, 2, 3], **{name: 1.0}), name, times)[0])
    assert np.flatnonzero(known).tolist() == [3, 4, 5, 6]


@pytest.mark.parametrize("name", [AIR, RAIN, SUN])
def test_nothing_is_known_between_stamps_that_a_night_could_hide_between(name):
    times = START + np.arange(0, 7) * np.timedelta64(1, "h")
    assert np.isnan(onto(table([0, 6], **{name: 1.0}), name, times)[0, 1:-1]).all()


def test_what_is_coarse_there_is_coarse_here_where_it_was_taken():
    coarse = np.array([False, False, True, True])
    other = whole(source="second", coarse=coarse)
    mine = whole(np.arange(0, 7) / 2, **{CLOUD: [50, 50, np.nan, np.nan, 50, 50, np.nan]})
    filled = filled_in(mine, other, NOW)
    # 1:00 is fine there; 1:30 lies between a fine and a coarse one; 3:00 is coarse.
    assert filled.coarse.tolist() == [False, False, False, True, False, False, True]
    assert filled_in(whole(without=(CLOUD,)), whole(source="second"), NOW).coarse is None


def test_marks_of_coarse_hours_that_were_there_stay():
    mine = whole(without=(CLOUD,), coarse=np.array([True, False, False, False]))
    assert filled_in(mine, whole(source="second"), NOW).coarse.tolist() == [True, False, False, False]


@given(st.data())
def test_what_is_known_is_never_changed_and_what_neither_knows_stays_unknown(data):
    def some(source):
        holes = st.lists(st.booleans(), min_size=4, max_size=4)
        columns = {
            name: np.where(data.draw(holes), np.nan, value + (source == "second"))
            for name, value in WHOLE.items()
            if data.draw(st.booleans())
        }
        return table(source=source, **(columns or {AIR: 12.0}))

    mine, other = some("first"), some("second")
    filled = filled_in(mine, other, NOW)
    for name, column in mine.columns.items():
        known = np.isfinite(column)
        assert np.array_equal(filled.column(name)[known], column[known])
        neither = ~known & ~np.isfinite(other.column(name))
        assert np.isnan(filled.column(name)[neither]).all()
    assert filled.issued_at <= mine.issued_at
    assert set(filled.columns) - set(mine.columns) <= set(filled.filled)
