"""The air in tents and sheds, against physics that is known otherwise and the trade's own cases."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.science.air import dew_point, relative_humidity
from dryspell.science.enclosure import Enclosure, air_inside
from dryspell.science.surface import solve
from science.boards import face, instants

SHED = Enclosure(lag_h=4.0, air_changes_per_h=1.5)


def test_a_daily_wave_comes_in_late_and_flattened_as_newton_cooling_has_it():
    times = instants(24 * 8)
    hour = (times - times[0]) / np.timedelta64(1, "h")
    omega = 2 * math.pi / 24
    inside, _ = air_inside(times, 10 + 6 * np.sin(omega * hour), -30.0, SHED)
    lag = omega * 4.0
    expected = 10 + 6 / math.hypot(1, lag) * np.sin(omega * hour - math.atan(lag))
    late = hour > 96
    np.testing.assert_allclose(inside[late], expected[late], atol=0.01)


def test_vapour_comes_in_as_the_air_is_changed():
    times = instants(12)
    dew = np.where(np.arange(times.size) < 4, 0.0, 8.0)
    _, inside = air_inside(times, 20.0, dew, SHED)
    hour = (times - times[4]) / np.timedelta64(1, "h")
    ends = 6.112 * np.exp(17.62 * np.array([0.0, 8.0]) / (243.12 + np.array([0.0, 8.0])))
    # Between two instants the outdoor vapour rises straight: half a step late against a sudden one.
    vapour = ends[1] - (ends[1] - ends[0]) * np.exp(-1.5 * (hour + 0.125))
    expected = dew_point(20.0, 100 * vapour / (6.112 * math.exp(17.62 * 20 / 263.12)))
    np.testing.assert_allclose(inside[6:], expected[6:], atol=0.02)


def test_a_heated_tent_dries_its_air_by_warming_it(figure):
    # Common practice, trade notes: outdoors 9 degC at 90 % warmed to 18 degC is 50 %, to 14 degC 65 %; wood as warm as
    # the air then lies about 10 K over the dew point.
    times = instants(24)
    for heat, humidity in ((9.0, 50.0), (5.0, 65.0)):
        tent = Enclosure(lag_h=0.25, air_changes_per_h=4.0, heat_k=heat)
        air, dew = air_inside(times, 9.0, dew_point(9.0, 90.0), tent)
        found = float(relative_humidity(air, dew)[-1])
        assert found == pytest.approx(humidity, abs=1.5)
        source = "a worked case of the trade, 9 degC at 90 % warmed (common practice, no source)"
        figure(
            f"humidity of 9 degC at 90 % warmed by {heat:g} K, off by",
            found - humidity,
            bar=1.5,
            unit="%",
            source=source,
        )
    air, dew = air_inside(times, 9.0, dew_point(9.0, 90.0), Enclosure(lag_h=0.25, air_changes_per_h=4.0, heat_k=9.0))
    wood = solve(times, air, dew, 0.2, 0.0, 300.0, face(sky_view=0.0)).temperature_c
    assert wood[-1] - dew[-1] == pytest.approx(10.0, abs=0.8)
    figure("margin of wood in a tent warmed to 18 degC", wood[-1] - dew[-1], unit="K", source=f"{source}: about 10 K")


def test_warm_damp_air_makes_cold_wood_sweat_under_a_dry_roof_and_cold_dry_air_does_not():
    # Common practice: 14 degC at 92 % after a cold spell has a dew point of 12.7 degC, the wood is still at 9.5 degC.
    times = instants(72)
    mild = np.arange(times.size) >= 96
    heavy = face(sky_view=0.0, heat_capacity_j_m2_k=45e3, back="mean_air", back_conductance_w_m2_k=2.5)
    air, dew = air_inside(times, np.where(mild, 14.0, 9.5), np.where(mild, 12.7, 5.0), SHED)
    state = solve(times, air, dew, 0.3, 0.0, 300.0, heavy)
    assert (state.water_mm[:96] == 0).all()
    assert state.water_mm[96:128].max() > 0.005
    wettest = int(np.argmax(state.water_mm))
    assert state.temperature_c[wettest - 4] < dew[wettest - 4]
    air, dew = air_inside(times, np.where(mild, 9.5, 14.0), np.where(mild, 5.0, 12.7), SHED)
    assert (solve(times, air, dew, 0.3, 0.0, 300.0, heavy).water_mm[100:] == 0).all()


OUTDOORS = st.lists(st.tuples(st.floats(-15, 35), st.floats(0, 20)), min_size=2, max_size=60)


@given(OUTDOORS, st.floats(0, 48), st.floats(0.05, 20))
def test_inside_it_is_never_hotter_nor_colder_than_outdoors_ever_was_and_never_over_saturation(air, lag_h, changes):
    outdoor, spread = (np.array(column) for column in zip(*air, strict=True))
    times = instants((outdoor.size - 1) / 4)
    inside, dew = air_inside(times, outdoor, outdoor - spread, Enclosure(lag_h=lag_h, air_changes_per_h=changes))
    assert (inside <= outdoor.max() + 1e-9).all()
    assert (inside >= outdoor.min() - 1e-9).all()
    assert (dew <= inside).all()
    assert dew.max() <= (outdoor - spread).max() + 1e-6


def test_without_a_lag_and_with_all_its_air_changed_at_once_it_is_the_outdoor_air():
    times = instants(12)
    outdoor = 12 + np.cos(np.arange(times.size))
    inside, dew = air_inside(times, outdoor, outdoor - 2, Enclosure(lag_h=0.0, air_changes_per_h=np.inf))
    np.testing.assert_allclose(inside, outdoor, atol=1e-12)
    np.testing.assert_allclose(dew, outdoor - 2, atol=1e-9)


def test_the_sun_on_it_warms_its_air_by_what_is_taken_up_over_what_goes_out():
    # Of what falls on a small tent of film 0.6 becomes heat inside; 4.3 m2 of film at 6 W/m2K and one change of 2 m
    # of air in an hour carry it off (0.33 Wh/m3K is the heat capacity of air: 1.2 kg/m3 x 1005 J/kgK / 3600 s/h).
    k = 0.6 / (6.0 * 4.3 + 0.33 * 1.0 * 2.0)
    assert k == pytest.approx(0.023, abs=5e-4)
    times = instants(6)
    tent = Enclosure(lag_h=0.25, air_changes_per_h=1.0, sun_k_m2_w=k)
    air, dew = air_inside(times, 10.0, 5.0, tent, sun_w_m2=np.where(np.arange(times.size) < 4, 0.0, 1000.0))
    np.testing.assert_allclose(air[:4], 10.0)
    assert air[-1] == pytest.approx(10.0 + 1000.0 * k, abs=0.01)
    np.testing.assert_allclose(dew, 5.0, atol=1e-6)  # the sun takes no vapour out of it and adds none


def test_the_sun_on_a_heavy_shed_comes_in_late():
    times = instants(48)
    hour = (times - times[0]) / np.timedelta64(1, "h")
    sun = np.maximum(np.sin((hour - 6) / 12 * np.pi), 0.0) * 800.0
    light, heavy = (
        air_inside(times, 10.0, 2.0, Enclosure(lag_h=lag, air_changes_per_h=1.5, sun_k_m2_w=0.006), sun_w_m2=sun)[0]
        for lag in (0.25, 3.0)
    )
    assert light.max() > heavy.max() > 10.0 + 0.5 * 800 * 0.006
    assert hour[np.argmax(heavy[:96])] > hour[np.argmax(light[:96])] + 1.5


def test_without_sun_that_is_known_the_air_of_a_shut_tent_is_not_known():
    times = instants(2)
    sun = np.full(times.size, np.nan)
    tent = Enclosure(lag_h=0.25, air_changes_per_h=6.0, sun_k_m2_w=0.02)
    assert np.isnan(air_inside(times, 10.0, 5.0, tent, sun_w_m2=sun)[0]).all()


def test_a_gap_stays_a_gap_and_the_air_settles_anew_after_it():
    times = instants(12)
    outdoor = np.tile(np.linspace(5, 15, times.size), (2, 1))
    outdoor[1, 20:22] = np.nan
    inside, dew = air_inside(times, outdoor, outdoor - 3, SHED)
    assert (np.isnan(inside) == np.isnan(outdoor)).all()
    assert (np.isnan(dew) == np.isnan(outdoor)).all()
    assert inside[1, 22] == pytest.approx(outdoor[1, 22])
    np.testing.assert_allclose(inside[1, :20], inside[0, :20])


@pytest.mark.parametrize(
    ("wrong", "name"),
    [
        ({"sun_k_m2_w": 1.0}, "sun_k_m2_w"),
        ({"lag_h": -1.0}, "lag_h"),
        ({"air_changes_per_h": 0.0}, "air_changes"),
        ({"heat_k": 99.0}, "heat"),
    ],
)
def test_what_is_no_enclosure_is_refused(wrong, name):
    with pytest.raises(ValueError, match=name):
        Enclosure(**({"lag_h": 1.0, "air_changes_per_h": 1.0} | wrong))
    with pytest.raises(ValueError, match="times_utc"):
        air_inside(instants(2)[::-1], 10.0, 5.0, SHED)
