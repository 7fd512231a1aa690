"""The course of the heat balance through time, against physics that is known otherwise, and against measurements."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryspell.science import course, surface
from dryspell.science.air import relative_humidity
from dryspell.science.surface import (
    energy_residual,
    sky_longwave,
    solve,
    steady_temperature,
    surface_temperature,
    trailing_day_mean,
)
from science.boards import INSULATED, SIGMA, START, WEATHER, clear_day, face, instants, plain_course


def test_a_face_follows_the_air_as_newton_cooling_has_it(figure):
    # No radiation to speak of: C dT/dt = h (Ta - T) with Ta a sine of 24 h. Amplitude 1/sqrt(1 + (w tau)^2), delay
    # atan(w tau)/w.
    times = instants(96)
    seconds = (times - times[0]) / np.timedelta64(1, "s")
    omega, h, capacity = 2 * np.pi / 86400, 6.0, 120e3
    air = 10.0 + 8.0 * np.sin(omega * seconds)
    exposure = face(
        **INSULATED, sky_view=0.0, emissivity=0.01, convection=(h, 0.0), heat_capacity_j_m2_k=capacity, absorptance=0.0
    )
    found = surface_temperature(times, air, -60.0, 0.0, 0.0, 300.0, exposure)
    lag = omega * capacity / (h + 0.01 * 4 * SIGMA * 283.15**3)
    expected = 10.0 + 8.0 / math.hypot(1.0, lag) * np.sin(omega * seconds - math.atan(lag))
    late = seconds > 3 * 86400
    np.testing.assert_allclose(found[late], expected[late], atol=0.02)
    furthest = np.abs(found - expected)[late].max()
    figure("a face that follows a sine of the air", furthest, bar=0.02, unit="K", source="Newton's cooling, exact")


@settings(deadline=None, max_examples=40)
@given(st.fixed_dictionaries(WEATHER), st.sampled_from([60, 900, 3600]))
def test_in_weather_that_stays_a_face_comes_to_its_steady_temperature(weather, step_s):
    times = instants(600 * step_s / 3600, step_s)
    # The trajectory begins in quite other weather, so that it has somewhere to come from.
    other = np.arange(times.size) < 5
    exposure = face(
        sky_view=weather["view"], absorptance=weather["absorptance"], back_conductance_w_m2_k=weather["back"]
    )
    air = np.where(other, weather["air_c"] + 8.0, weather["air_c"])
    dew = weather["air_c"] - weather["spread_k"]
    sky = sky_longwave(weather["air_c"], relative_humidity(weather["air_c"], dew), weather["cloud"])
    state = solve(times, air, dew, weather["wind"], weather["sun"], sky, exposure)
    assert state.temperature_c[0] > state.temperature_c[-1]
    wet = state.water_mm[-1] > 0
    expected = steady_temperature(weather["air_c"], dew, weather["wind"], weather["sun"], sky, exposure, wet=wet)
    # Dew that just holds itself can take for ever to go: then the film is neither there nor not.
    thin = 0 < state.water_mm[-1] < 0.01
    assert thin or state.temperature_c[-1] == pytest.approx(float(expected), abs=1e-3)


def test_halving_the_step_of_a_smooth_day_changes_little(figure):
    fine, coarse = instants(72, 450), instants(72, 900)
    for exposure in (face(), face(heat_capacity_j_m2_k=45e3, back="mean_air"), face(heat_capacity_j_m2_k=8e3)):
        dry_fine = surface_temperature(fine, *clear_day(fine, dew_c=-5.0), exposure)
        dry_coarse = surface_temperature(coarse, *clear_day(coarse, dew_c=-5.0), exposure)
        changed = np.abs(dry_fine[::2] - dry_coarse).max()
        assert changed < 0.1
        name = f"half the step, {exposure.heat_capacity_j_m2_k / 1000:g} kJ/m2K, dry"
        figure(name, changed, bar=0.1, unit="K", source="the same with steps of 450 s for 900 s")


SMOOTH_DAY = {
    "mean_c": st.floats(-5, 28),
    "swing_k": st.floats(0, 9),
    "wind": st.floats(0, 8),
    "sun": st.floats(0, 1000),
    "cloud": st.floats(0, 1),
}
BODY = {
    "heat_capacity_j_m2_k": st.floats(8e3, 60e3),
    "absorptance": st.floats(0.2, 0.95),
    "sky_view": st.floats(0, 1),
    "back_conductance_w_m2_k": st.floats(0, 8),
    "back": st.sampled_from(["air", "mean_air", "indoor"]),
}


@settings(deadline=None, max_examples=40)
@given(st.fixed_dictionaries(SMOOTH_DAY), st.fixed_dictionaries(BODY))
def test_halving_the_step_of_any_smooth_dry_day_changes_less_than_a_tenth_of_a_kelvin(day, body):
    fine, coarse = instants(48, 450), instants(48, 900)
    dry = day | {"dew_c": -40.0}
    on_fine, on_coarse = (
        surface_temperature(times, *clear_day(times, **dry), face(**body)) for times in (fine, coarse)
    )
    assert np.abs(on_fine[::2] - on_coarse).max() < 0.1


@settings(deadline=None, max_examples=40)
@given(st.fixed_dictionaries(SMOOTH_DAY), st.fixed_dictionaries(BODY), st.floats(0, 1))
def test_through_a_day_a_darker_face_is_never_cooler(day, body, other):
    times = instants(30)
    light, dark = sorted((body["absorptance"], other))
    courses = [
        surface_temperature(times, *clear_day(times, dew_c=2.0, **day), face(**(body | {"absorptance": a})))
        for a in (light, dark)
    ]
    assert (courses[0] <= courses[1] + 1e-3).all()


@settings(deadline=None, max_examples=30)
@given(st.fixed_dictionaries(SMOOTH_DAY), st.sampled_from([0.0, 0.1, 0.3, 1.0]))
def test_a_face_that_sees_neither_sky_nor_sun_and_holds_no_heat_has_the_temperature_of_the_air(day, share):
    times = instants(30)
    weather = clear_day(times, dew_c=-40.0, **(day | {"sun": 0.0}))
    thin = face(sky_view=0.0, heat_capacity_j_m2_k=1.0, wind_factor=share)
    np.testing.assert_allclose(surface_temperature(times, *weather, thin), weather[0], atol=1e-3)


def test_the_heat_of_a_day_is_all_accounted_for():
    times = instants(24, 60)
    weather = clear_day(times, dew_c=-5.0)
    found = surface_temperature(times, *weather, face())
    taken = energy_residual(found, *weather, face())
    stored = 21e3 * (found - found[0])
    through = np.concatenate([[0.0], np.cumsum((taken[1:] + taken[:-1]) / 2 * 60)])
    np.testing.assert_allclose(stored, through, atol=21e3 * 0.002)


@pytest.mark.parametrize("capacity", [21e3, 45e3])
@pytest.mark.parametrize("sky_view", [1.0, 0.5])
@pytest.mark.parametrize(
    ("shower", "rms_k", "most_mm"),
    [
        (56, 0.05, 0.002),  # at 02, on the dew
        (100, 0.5, 0.08),  # at 13, on hot wood: it is gone within two steps, and those are as fine as this can be told
    ],
)
def test_quarter_hours_agree_with_a_plain_march_in_seconds(capacity, sky_view, shower, rms_k, most_mm, figure):
    times = instants(48)
    weather = clear_day(times, dew_c=9.0)
    rain = np.zeros(times.size)
    rain[shower : shower + 2] = 0.25
    exposure = face(heat_capacity_j_m2_k=capacity, sky_view=sky_view)
    state = solve(times, *weather, exposure, rain_mm=rain)
    plain_c, plain_mm = plain_course(times, weather, exposure, rain)
    wet = plain_mm > 0
    assert 20 < wet.sum() < times.size - 20
    rms = np.sqrt(np.mean((state.temperature_c - plain_c) ** 2))
    assert rms < rms_k
    when = "at 02 on the dew" if shower == 56 else "at 13 on hot wood"
    name = f"two days with dew and a shower {when}, {capacity / 1000:g} kJ/m2K, sky view {sky_view:g}, RMS"
    figure(name, rms, bar=rms_k, unit="K", source="a plain march in 5 s")
    assert np.abs(state.water_mm - plain_mm).max() < most_mm
    assert np.sum((state.water_mm > 0) != wet) <= 3


def dew_night(dew_c):
    times = instants(36)  # from noon to the midnight after next
    return times, clear_day(times, dew_c=dew_c, wind=0.5)


def test_dew_forms_on_a_board_under_a_clear_sky_though_the_air_keeps_three_kelvin_and_is_gone_by_noon():
    times, weather = dew_night(6.0)
    air, dew = weather[:2]
    assert (air - dew).min() >= 3.0 - 1e-9
    state = solve(times, *weather, face())
    wet = state.water_mm > 0
    begins, ends = np.flatnonzero(np.diff(wet.astype(int)) == 1), np.flatnonzero(np.diff(wet.astype(int)) == -1)
    # One film, begun after sunset (18), gone at one instant after sunrise (06) and before noon; next evening another.
    hour = (times - times[0].astype("datetime64[D]")) / np.timedelta64(1, "h")
    assert 18 < hour[begins[0]] < 30
    assert ends.size == 1
    assert 30 < hour[ends[0] + 1] < 36
    assert state.water_mm.max() > 0.02
    # It forms while the face is below the dew point, and only then.
    assert ((state.temperature_c < dew)[begins + 1]).all()
    assert (np.diff(state.water_mm)[state.temperature_c[1:] > dew[1:] + 0.3] <= 0).all()


def test_the_heat_of_dew_keeps_a_face_warmer_and_its_drying_keeps_it_cooler():
    times, weather = dew_night(6.0)
    moist = solve(times, *weather, face())
    # The same weather and the same sky, but no vapour that could condense.
    dry = surface_temperature(times, weather[0], -40.0, *weather[2:], face())
    gaining = np.diff(moist.water_mm, prepend=0.0) > 0
    losing = np.diff(moist.water_mm, prepend=0.0) < 0
    assert (moist.temperature_c - dry)[gaining].max() > 0.5
    assert (moist.temperature_c - dry)[losing].min() < -0.5
    assert moist.temperature_c.min() > dry.min() + 0.5


def test_under_a_roof_the_same_night_stays_dry():
    times, weather = dew_night(6.0)
    assert (solve(times, *weather, face(sky_view=0.0)).water_mm == 0).all()


@settings(deadline=None, max_examples=30)
@given(st.floats(0, 1), st.floats(0, 1), st.floats(-5, 12), st.floats(0, 4))
def test_a_cloudier_night_is_never_colder_nor_wetter_through_its_course(one, other, dew_c, wind):
    less, more = sorted((one, other))
    times = instants(16)
    states = [solve(times, *clear_day(times, dew_c=dew_c, wind=wind, sun=0.0, cloud=c), face()) for c in (less, more)]
    assert (states[0].temperature_c <= states[1].temperature_c + 1e-3).all()
    assert (states[0].water_mm >= states[1].water_mm - 1e-5).all()


def test_rain_fills_the_film_and_no_more_and_cools_until_it_has_dried():
    times = instants(24)
    weather = clear_day(times, dew_c=5.0, sun=500.0, wind=2.0)
    rain = np.zeros(times.size)
    rain[8:12] = 2.0
    wetted, kept_dry = solve(times, *weather, face(), rain_mm=rain), solve(times, *weather, face())
    assert wetted.water_mm.max() == 0.3
    assert (wetted.water_mm[8:12] > 0).all()
    assert wetted.temperature_c[12] < kept_dry.temperature_c[12] - 2.0
    assert wetted.water_mm[40] == 0.0
    assert wetted.temperature_c[40:] == pytest.approx(kept_dry.temperature_c[40:], abs=0.05)


def test_water_at_the_start_is_there_at_the_start():
    times = instants(6)
    state = solve(times, *clear_day(times), face(), start_water_mm=0.2)
    assert state.water_mm[0] == 0.2
    assert state.temperature_c[0] < solve(times, *clear_day(times), face()).temperature_c[0] - 2.0
    assert state.water_mm[-1] == 0.0


@pytest.mark.parametrize("column", range(5))
def test_a_gap_stays_a_gap_and_does_not_reach_beyond_itself(column):
    times = instants(48)
    weather = [np.array(values) for values in clear_day(times, dew_c=9.0)]
    whole = solve(times, *weather, face())
    weather[column][70:75] = np.nan
    broken = solve(times, *weather, face())
    for name in ("temperature_c", "water_mm"):
        found = getattr(broken, name)
        assert (np.isnan(found) == (np.isin(np.arange(times.size), range(70, 75)))).all()
        np.testing.assert_allclose(found[:70], getattr(whole, name)[:70], atol=1e-4)
        # After it the course begins as if the times began there.
        late = solve(times[75:], *(values[75:] for values in weather), face())
        np.testing.assert_allclose(found[75:], getattr(late, name), atol=1e-4)


def test_after_a_gap_only_the_rain_just_fallen_is_known_to_lie_there():
    times = instants(12)
    weather = [np.array(values) for values in clear_day(times)]
    rain = np.zeros(times.size)
    rain[0] = np.nan  # of the step before the first instant, which is not asked for
    rain[[20, 30]] = [np.nan, 0.2]
    weather[0][29] = np.nan
    state = solve(times, *weather, face(), rain_mm=rain)
    assert list(np.flatnonzero(np.isnan(state.water_mm))) == [20, 29]
    assert list(np.flatnonzero(np.isnan(state.temperature_c))) == [20, 29]
    assert state.water_mm[[0, 21, 30]] == pytest.approx([0.0, 0.0, 0.2])


def test_members_are_solved_each_for_itself():
    times = instants(48)
    days = [
        clear_day(times, dew_c=dew, cloud=cloud, wind=w) for dew, cloud, w in [(9, 0, 1), (-5, 0.5, 3), (11, 0.2, 0)]
    ]
    together = solve(times, *(np.stack(column) for column in zip(*days, strict=True)), face())
    assert together.temperature_c.shape == together.water_mm.shape == (3, times.size)
    for member, day in enumerate(days):
        alone = solve(times, *day, face())
        assert alone.temperature_c.shape == (times.size,)
        np.testing.assert_allclose(together.temperature_c[member], alone.temperature_c, atol=1e-4)
        np.testing.assert_allclose(together.water_mm[member], alone.water_mm, atol=1e-6)


def test_uneven_steps_tell_the_same_day():
    even = instants(48, 300)
    uneven = even[np.unique(np.concatenate([[0, even.size - 1], np.random.default_rng(3).choice(even.size, 300)]))]
    on_even = surface_temperature(even, *clear_day(even, dew_c=-5.0), face())
    on_uneven = surface_temperature(uneven, *clear_day(uneven, dew_c=-5.0), face())
    assert np.abs(on_even[np.searchsorted(even, uneven)] - on_uneven).max() < 0.3


def test_the_wind_at_the_face_is_its_share_of_the_wind_at_ten_metres():
    times = instants(24)
    air, dew, _, sun, sky = clear_day(times)
    lee = surface_temperature(times, air, dew, 4.0, sun, sky, face(wind_factor=0.25))
    np.testing.assert_array_equal(lee, surface_temperature(times, air, dew, 1.0, sun, sky, face()))


def test_one_instant_is_its_steady_state():
    weather = (15.0, 10.0, 0.5, 0.0, 310.4)
    found = surface_temperature(instants(0), *weather, face())
    np.testing.assert_allclose(found, [steady_temperature(*weather, face())], atol=1e-6)


def test_the_back_warms_or_holds_the_face():
    times = instants(24)
    weather = clear_day(times, dew_c=-5.0)
    night = slice(36, 68)
    by = {
        name: surface_temperature(times, *weather, face(back=name, indoor_c=22.0))[night]
        for name in ("air", "mean_air", "indoor")
    }
    assert (by["indoor"] > by["mean_air"]).all()
    assert (by["mean_air"] > by["air"]).all()


def test_ground_that_gives_off_water_stays_cooler_in_the_sun():
    times = instants(6)
    weather = clear_day(times)
    shares = [surface_temperature(times, *weather, face(evaporating_share=share))[4] for share in (0.0, 0.1, 1.0)]
    assert shares[0] > shares[1] + 1 > shares[2] + 2


@settings(deadline=None)
@given(st.lists(st.floats(600, 30000), min_size=1, max_size=40), st.data())
def test_the_mean_of_the_last_day_is_that_of_a_plain_sum(steps, data):
    seconds = np.concatenate([[0], np.cumsum(np.round(steps))]).astype(int)
    air = np.array(data.draw(st.lists(st.floats(-20, 35), min_size=seconds.size, max_size=seconds.size)))
    air[np.array(data.draw(st.lists(st.booleans(), min_size=seconds.size, max_size=seconds.size)))] = np.nan
    found = trailing_day_mean(START + seconds * np.timedelta64(1, "s"), air)
    for k in range(seconds.size):
        total, span = 0.0, 0.0
        for j in range(1, k + 1):
            inside = max(0, seconds[j] - max(seconds[j - 1], seconds[k] - 86400)) / (seconds[j] - seconds[j - 1])
            if inside > 0 and np.isfinite(air[j - 1] + air[j]):
                length = inside * (seconds[j] - seconds[j - 1])
                total, span = total + length * (air[j - 1] + air[j]) / 2, span + length
        expected = total / span if span > 1 and np.isfinite(air[k]) else air[k]
        np.testing.assert_allclose(found[k], expected, atol=1e-6)


SHOWERY = {"dew_c": 22.0, "mean_c": 30.0, "swing_k": 7.0}


@pytest.mark.parametrize(
    ("exposure", "climate", "step_s", "bound_k"),
    [
        (face(), {"dew_c": -15.0}, 900, 1e-6),
        (face(), {"dew_c": 9.0}, 900, 0.02),
        (face(heat_capacity_j_m2_k=45e3), {"dew_c": 9.0}, 900, 0.02),
        (face(heat_capacity_j_m2_k=11e3, back="mean_air", sky_view=0.5, tilt_deg=90.0), {"dew_c": 11.0}, 900, 0.02),
        # Thin sheet, hot sun, showers, films that are gone within a step: the hardest there is
        (face(heat_capacity_j_m2_k=2.5e3), SHOWERY, 900, 0.02),
        (face(heat_capacity_j_m2_k=2.5e3), SHOWERY, 3600, 0.02),
    ],
)
def test_one_more_sweep_of_the_whole_course_changes_next_to_nothing(monkeypatch, exposure, climate, step_s, bound_k):
    taken = []
    monkeypatch.setattr(surface, "settle", lambda what: taken.append(what) or course.settle(what))
    times = instants(16 * 24, step_s)
    rng = np.random.default_rng(4)
    members = [np.tile(column, (16, 1)) for column in clear_day(times, **climate)]
    members[0] += rng.normal(0, 2, (16, 1))
    members[1] = np.minimum(members[1], members[0])
    members[2] = members[2] * rng.uniform(0, 4, (16, 1))
    shower = rng.uniform(size=members[0].shape) < 0.02
    rain = np.where(shower, rng.exponential(0.3, shower.shape), 0.0) if climate["dew_c"] > 0 else None
    found = solve(times, *members, exposure, rain_mm=rain).temperature_c
    monkeypatch.setattr(course, "_STEPS_IN_PIECE", times.size)
    whole = course._Cut(taken[0]).pieces(np.arange(16))  # in one piece, nothing left out
    swept, _, _ = course._sweep(whole, found.T, np.zeros(16))
    assert np.abs(swept - found[:, 1:].T).max() < bound_k


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("air_c", {"air_c": 288.0}),
        ("dew_point_c", {"dew_point_c": 283.0}),
        ("wind_10m_m_s", {"wind_10m_m_s": -1.0}),
        ("plane_w_m2", {"plane_w_m2": 9999.0}),
        ("sky_w_m2", {"sky_w_m2": -20.0}),
        ("rain_mm", {"rain_mm": -1.0}),
        ("pressure_hpa", {"pressure_hpa": 101325.0}),
        ("start_water_mm", {"start_water_mm": -1.0}),
    ],
)
def test_weather_that_cannot_be_is_refused_by_its_name(name, changes):
    weather = {"air_c": 15.0, "dew_point_c": 8.0, "wind_10m_m_s": 1.0, "plane_w_m2": 0.0, "sky_w_m2": 310.0}
    with pytest.raises(ValueError, match=f"^{name} is out of range"):
        solve(instants(2), exposure=face(), **(weather | changes))


@pytest.mark.parametrize("times", [instants(2)[::-1], instants(2)[:0], np.arange(3.0)])
def test_times_that_do_not_ascend_are_refused(times):
    with pytest.raises(ValueError, match=r"^times_utc needs"):
        solve(times, 15.0, 8.0, 1.0, 0.0, 310.0, face())
