"""Forecast cells: which sites share one, and where its weather is from."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.errors import WeatherError
from dryspell.fleet.cells import ConfiguredWeather, FileWeather, Grid
from dryspell.trade.piece import Site
from fleet import coast


def site(latitude, longitude, **more):
    return Site.model_validate(
        {"key": "s", "latitude": f"{latitude} deg", "longitude": f"{longitude} deg", "timezone": "UTC"} | more
    )


@given(st.floats(-90, 90), st.floats(-180, 180), st.sampled_from([0.05, 0.1, 0.25, 1.0]))
def test_a_site_is_within_half_a_cell_of_where_it_is_judged(latitude, longitude, cell):
    of = site(f"{latitude:.6f}", f"{longitude:.6f}")
    place, at = Grid(cell).of(of)
    east = abs(at.longitude_deg - of.longitude_deg)
    assert abs(at.latitude_deg - of.latitude_deg) <= cell / 2 + 1e-6
    assert min(east, 360 - east) <= cell / 2 + 1e-6
    assert -90 <= at.latitude_deg <= 90
    assert -180 <= at.longitude_deg < 180
    assert "-0_" not in f"{place.key}_"


def test_either_side_of_the_date_line_is_one_cell():
    grid = Grid()
    assert grid.of(site(0, 179.98))[0] == grid.of(site(0, -179.98))[0]


def test_heights_and_water_are_cells_of_their_own_and_clocks_are_not():
    grid = Grid()
    keys = [
        grid.of(site(54.3, 10.2, **more))[0].key
        for more in ({}, {"elevation": "20 m"}, {"elevation": "60 m"}, {"afloat": True}, {"timezone": "Europe/Berlin"})
    ]
    assert keys == ["54.3_10.2", "54.3_10.2_0m", "54.3_10.2_100m", "54.3_10.2_afloat", "54.3_10.2"]


def test_a_folder_has_a_table_for_each_cell_by_its_key_or_that_of_its_corner(tmp_path):
    def table(name, air_c):
        text = (
            f"# issued 2026-09-09T06:00Z\ntime,air_temperature [degC]\n2026-09-09T06:00Z,{air_c}\n2026-09-09T07:00Z,1\n"
        )
        (tmp_path / name).write_text(text)

    table("54.3_10.2.csv", 10)
    table("54.3_10.2_afloat.csv", 12)
    weather, grid = FileWeather(tmp_path), Grid()

    def air(**more):
        place, _ = grid.of(site(54.3, more.pop("longitude", 10.2), **more))
        return weather.fetch(place, coast.NOW).columns["air_temperature"][0, 0]

    assert (air(), air(elevation="20 m"), air(afloat=True)) == (10.0, 10.0, 12.0)
    with pytest.raises(WeatherError, match=r"wanted 54.3_10.3.csv"):
        air(longitude=10.3)
    with pytest.raises(WeatherError, match="is not there"):
        FileWeather(tmp_path / "none")


def test_the_sources_of_the_configuration_are_asked_for_the_middle_of_the_cell(tmp_path, monkeypatch):
    asked = []

    def fetch(source, now):
        asked.append((source._params["latitude"], source._params["longitude"], now))
        return coast.weather()

    monkeypatch.setenv("DRYSPELL_STATE", str(tmp_path))
    monkeypatch.setattr("dryspell.weather.sources.open_meteo.OpenMeteo.fetch", fetch)
    place, at = Grid().of(site(54.31, 10.23))
    ConfiguredWeather(coast.config(), [at]).fetch(place, coast.NOW)
    assert [(float(north), float(east), at) for north, east, at in asked] == [(54.3, 10.2, coast.NOW)]
