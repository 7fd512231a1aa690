import pickle
from datetime import UTC, datetime

import numpy as np
import pytest

from dryspell.weather.join import join
from dryspell.weather.table import WeatherTable

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)


def table(first_hour, source="forecast", attribution="credit", **columns):
    values = {name: np.atleast_2d(np.array(column, dtype=float)) for name, column in columns.items()}
    hours = next(iter(values.values())).shape[1]
    times = np.datetime64("2026-06-01T00:00", "s") + np.arange(first_hour, first_hour + hours) * np.timedelta64(1, "h")
    return WeatherTable(times, values, source, NOW, attribution, ("a note of its own",))


def test_without_a_past_the_forecast_stays_as_it_is():
    forecast = table(5, air_temperature=[10, 11])
    assert join(None, forecast) is forecast


def test_a_past_that_begins_with_the_forecast_adds_nothing():
    forecast = table(5, air_temperature=[10, 11])
    assert join(table(5, "sensor", air_temperature=[7, 8, 9]), forecast) is forecast


def test_only_the_rows_before_the_forecast_are_taken_from_the_past():
    joined = join(table(3, "sensor", air_temperature=[1, 2, 3, 4]), table(5, air_temperature=[10, 11]))
    assert joined.columns["air_temperature"].tolist() == [[1.0, 2.0, 10.0, 11.0]]
    assert [str(time)[11:13] for time in joined.times] == ["03", "04", "05", "06"]


def test_the_columns_are_united_and_unknown_where_one_side_lacks_them():
    past = table(3, "sensor", air_temperature=[1, 2], surface_temperature=[5, 6])
    joined = join(past, table(5, air_temperature=[10, 11], wind_speed=[3, 4]))
    assert np.array_equal(joined.columns["surface_temperature"], [[5, 6, np.nan, np.nan]], equal_nan=True)
    assert np.array_equal(joined.columns["wind_speed"], [[np.nan, np.nan, 3, 4]], equal_nan=True)


def test_the_one_past_holds_for_every_member_of_the_forecast():
    past = table(3, "sensor", air_temperature=[1, 2], surface_temperature=[5, 6])
    joined = join(past, table(5, air_temperature=[[10, 11], [20, 21]]))
    assert joined.members == 2
    assert joined.columns["air_temperature"].tolist() == [[1.0, 2.0, 10.0, 11.0], [1.0, 2.0, 20.0, 21.0]]
    assert joined.columns["surface_temperature"][1, :2].tolist() == [5.0, 6.0]


def test_the_past_is_held_once_and_not_for_every_member():
    weeks, ahead = np.arange(1000.0), np.arange(20 * 50.0).reshape(20, 50)
    joined = join(table(0, "sensor", air_temperature=weeks), table(1000, air_temperature=ahead))
    held = sum(part["air_temperature"].nbytes for part in joined.columns.parts)
    assert held == 8 * (weeks.size + ahead.size)
    whole = joined.columns["air_temperature"]
    assert whole.shape == (20, 1050)
    assert (whole[:, :1000] == weeks).all()
    assert (whole[:, 1000:] == ahead).all()


def test_what_was_joined_can_go_to_another_process():
    joined = join(table(3, "sensor", air_temperature=[1, 2]), table(5, air_temperature=[[10, 11], [20, 21]]))
    there = pickle.loads(pickle.dumps(joined))
    assert list(there.columns) == ["air_temperature"]
    assert there.columns["air_temperature"].tolist() == [[1.0, 2.0, 10.0, 11.0], [1.0, 2.0, 20.0, 21.0]]
    assert "wind_speed" not in there.columns
    with pytest.raises(KeyError):
        there.columns["wind_speed"]


def test_members_that_do_not_match_are_refused():
    with pytest.raises(ValueError, match="a past of 2 members cannot go before a forecast of 1"):
        join(table(3, air_temperature=[[1, 2], [3, 4]]), table(5, air_temperature=[10, 11]))


def test_age_and_credit_are_the_forecasts_and_a_note_names_the_past():
    past = table(3, "sensor", "another credit", air_temperature=[1, 2])
    joined = join(past, table(5, air_temperature=[10, 11]))
    assert (joined.source, joined.attribution, joined.issued_at) == ("forecast", "credit", NOW)
    assert joined.notes == (
        "a note of its own",
        "before 2026-06-01T05:00Z the rows are from sensor (another credit)",
    )


def test_a_past_under_the_same_credit_is_not_credited_twice():
    joined = join(table(3, "earlier", air_temperature=[1, 2]), table(5, air_temperature=[10, 11]))
    assert joined.notes[-1] == "before 2026-06-01T05:00Z the rows are from earlier"


def test_the_tables_put_in_are_not_changed():
    past, forecast = table(3, "sensor", air_temperature=[1, 2]), table(5, air_temperature=[10, 11])
    join(past, forecast).columns["air_temperature"][:] = 0
    assert past.columns["air_temperature"].tolist() == [[1.0, 2.0]]
    assert forecast.columns["air_temperature"].tolist() == [[10.0, 11.0]]
