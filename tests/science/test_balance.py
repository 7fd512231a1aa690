"""The heat balance at an instant, against physics that is known otherwise."""

import numpy as np
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.science.air import dew_point, relative_humidity
from dryspell.science.balance import energy_residual, steady_temperature
from dryspell.science.longwave import sky_longwave
from science.boards import INSULATED, SIGMA, WEATHER, face


# Steady temperatures of a board, insulated behind: ../shared/physics.md, section 3.4. They are computed by our
# prototype, not measured, with gamma 63.7 Pa/K, which is a pressure of 957.9 hPa.
@pytest.mark.parametrize(
    ("case", "changes", "expected_c"),
    [
        ("deck, clear, calm", {}, 8.97),
        ("deck, clear, wind", {"wind": 2.0}, 10.68),
        ("deck, overcast", {"cloud": 1.0}, 12.28),
        ("door, clear", {"sky_view": 0.5, "tilt": 90.0}, 11.64),
        ("covered", {"sky_view": 0.0}, 15.00),
        ("deck, moister air", {"dew": 12.0}, 10.12),
        ("noon, white", {"air": 25.0, "dew": 12.0, "wind": 2.0, "sun": 900.0, "absorptance": 0.25}, 33.3),
        ("noon, mid", {"air": 25.0, "dew": 12.0, "wind": 2.0, "sun": 900.0, "absorptance": 0.65}, 52.8),
        ("noon, black", {"air": 25.0, "dew": 12.0, "wind": 2.0, "sun": 900.0, "absorptance": 0.90}, 64.3),
    ],
)
def test_a_board_settles_where_the_prototype_had_it(case, changes, expected_c, figure):
    air, dew = changes.get("air", 15.0), changes.get("dew", 10.0)
    exposure = face(
        **INSULATED,
        tilt_deg=changes.get("tilt", 0.0),
        sky_view=changes.get("sky_view", 1.0),
        absorptance=changes.get("absorptance", 0.65),
    )
    sky = sky_longwave(air, relative_humidity(air, dew), changes.get("cloud", 0.0))
    wind, sun = changes.get("wind", 0.5), changes.get("sun", 0.0)
    found = steady_temperature(air, dew, wind, sun, sky, exposure, pressure_hpa=957.9)
    assert found == pytest.approx(expected_c, abs=0.05), case
    source = "direct evaluation apart from this code; no measured board"
    figure(f"steady board, {case}", abs(found - expected_c), bar=0.05, unit="K", source=source)


def test_a_black_plate_in_a_vacuum_takes_the_temperature_of_the_sky():
    exposure = face(**INSULATED, emissivity=1.0, convection=(0.0, 0.0))
    sky = np.array([180.0, 260.0, 340.0])
    found = steady_temperature(10.0, -60.0, 3.0, 0.0, sky, exposure)
    np.testing.assert_allclose(found, (sky / SIGMA) ** 0.25 - 273.15, atol=1e-6)


@pytest.mark.parametrize("air_c", [8.0, 20.0, 32.0])
@pytest.mark.parametrize("rh", [20.0, 50.0, 85.0])
def test_a_wet_face_in_a_gale_shows_the_wet_bulb_temperature(air_c, rh, figure):
    # The wet-bulb thermometer is this balance without radiation; psychrolib derives it from enthalpies. The fixed heat
    # of evaporation in gamma costs up to 0.3 K in dry air.
    psychrolib.SetUnitSystem(psychrolib.SI)
    expected = psychrolib.GetTWetBulbFromRelHum(air_c, rh / 100, 101325)
    exposure = face(**INSULATED, sky_view=0.0, emissivity=0.01)
    found = steady_temperature(air_c, dew_point(air_c, rh), 30.0, 0.0, 300.0, exposure, wet=True)
    assert found == pytest.approx(expected, abs=0.3)
    name = f"wet face in a gale at {air_c:g} degC, {rh:g} %, against the wet bulb"
    figure(name, abs(found - expected), bar=0.3, unit="K", source="psychrolib, from enthalpies")


def settle(air_c, spread_k, wind, sun, cloud, view, absorptance, back, *, wet=False):
    exposure = face(sky_view=view, absorptance=absorptance, back_conductance_w_m2_k=back)
    sky = sky_longwave(air_c, relative_humidity(air_c, air_c - spread_k), cloud)
    return float(steady_temperature(air_c, air_c - spread_k, wind, sun, sky, exposure, wet=wet))


@given(st.fixed_dictionaries(WEATHER), st.booleans())
def test_energy_closes_where_a_face_is_settled(weather, wet):
    found = settle(**weather, wet=wet)
    exposure = face(
        sky_view=weather["view"], absorptance=weather["absorptance"], back_conductance_w_m2_k=weather["back"]
    )
    dew = weather["air_c"] - weather["spread_k"]
    sky = sky_longwave(weather["air_c"], relative_humidity(weather["air_c"], dew), weather["cloud"])
    left = energy_residual(found, weather["air_c"], dew, weather["wind"], weather["sun"], sky, exposure, wet=wet)
    assert abs(left) < 1e-6


@given(st.fixed_dictionaries(WEATHER), st.floats(0, 20))
def test_more_wind_brings_a_dry_face_nearer_to_the_air(weather, other):
    calm, windy = sorted((weather["wind"], other))
    away = [abs(settle(**(weather | {"wind": wind})) - weather["air_c"]) for wind in (calm, windy)]
    assert away[1] <= away[0] + 1e-6


@given(st.fixed_dictionaries(WEATHER | {"spread_k": st.floats(0.01, 25)}))
def test_a_covered_face_out_of_the_sun_is_as_warm_as_the_air(weather):
    assert settle(**(weather | {"view": 0.0, "sun": 0.0})) == pytest.approx(weather["air_c"], abs=1e-6)


@given(st.fixed_dictionaries(WEATHER), st.floats(0, 1))
def test_more_cloud_at_night_is_never_colder(weather, other):
    less, more = sorted((weather["cloud"], other))
    night = weather | {"sun": 0.0}
    assert settle(**(night | {"cloud": less})) <= settle(**(night | {"cloud": more})) + 1e-6


@given(st.fixed_dictionaries(WEATHER), st.floats(0, 1))
def test_darker_in_the_sun_is_never_cooler(weather, other):
    light, dark = sorted((weather["absorptance"], other))
    assert settle(**(weather | {"absorptance": light})) <= settle(**(weather | {"absorptance": dark})) + 1e-6


@given(st.fixed_dictionaries(WEATHER))
def test_at_night_a_face_lies_between_sky_and_air(weather):
    found = settle(**(weather | {"sun": 0.0}))
    dew = weather["air_c"] - weather["spread_k"]
    sky = sky_longwave(weather["air_c"], relative_humidity(weather["air_c"], dew), weather["cloud"])
    assert (sky / SIGMA) ** 0.25 - 273.15 - 1e-6 <= found <= weather["air_c"] + 1e-6
