"""Sun position and irradiance against pvlib (NREL's SPA) and the published SPA example."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.science import sun
from science import recorded

# NREL/TP-560-34302, example: 2003-10-17 12:30:30, seven hours behind UTC. Zenith without refraction by pvlib.
EXAMPLE = np.datetime64("2003-10-17T19:30:30")
EXAMPLE_PLACE = (39.742476, -105.1786)
EXAMPLE_TRUE_ZENITH, EXAMPLE_AZIMUTH = 50.12795, 194.340241

PLACES = [(-54.8, -68.3), (-33.9, 151.2), (0.4, -78.5), (23.4, 10.0), (39.7, -105.2), (51.5, 0.1), (65.0, 25.5)]

ANGLES = st.floats(0, 360)
TILTS = st.floats(0, 180)


def spa(times, latitude, longitude):
    import pandas as pd
    from pvlib.solarposition import spa_python

    table = spa_python(pd.DatetimeIndex(times, tz="UTC"), latitude, longitude, altitude=0, delta_t=70.0)
    return table["zenith"].to_numpy(), table["azimuth"].to_numpy()


def random_times(seed, count, first="2020-01-01", last="2041-01-01"):
    low, high = (np.datetime64(day, "s").astype(int) for day in (first, last))
    return np.random.default_rng(seed).integers(low, high, count).astype("datetime64[s]")


@pytest.mark.parametrize("place", PLACES)
def test_position_agrees_with_the_reference_algorithm_within_two_hundredths_of_a_degree_2020_to_2040(place, figure):
    times = random_times(1, 6000)
    zenith, azimuth = sun.position(times, *place)
    zenith_ref, azimuth_ref = spa(times, *place)
    up = zenith_ref < 90.5
    apart = np.abs((azimuth - azimuth_ref + 180) % 360 - 180)
    assert up.sum() > 2000
    furthest = np.abs(zenith - zenith_ref)[up].max()
    assert furthest < 0.02
    name = f"zenith of the sun at {place[0]:g} N {place[1]:g} E, 2020 to 2040"
    figure(name, furthest, bar=0.02, unit="degrees", source="pvlib, NREL SPA")
    assert (apart * np.sin(np.radians(zenith_ref)))[up].max() < 0.02
    # the azimuth itself, where the sun is well away from the zenith
    assert apart[up & (zenith_ref > 40)].max() < 0.02


def test_position_holds_from_2000_to_2050():
    times = random_times(2, 6000, "2000-01-01", "2051-01-01")
    zenith, _ = sun.position(times, 50.0, 8.0)
    zenith_ref, _ = spa(times, 50.0, 8.0)
    assert np.abs(zenith - zenith_ref)[zenith_ref < 90.5].max() < 0.02


def test_position_meets_the_published_example_of_the_reference_algorithm():
    zenith, azimuth = sun.position(EXAMPLE, *EXAMPLE_PLACE)
    assert zenith == pytest.approx(EXAMPLE_TRUE_ZENITH, abs=0.02)
    assert azimuth == pytest.approx(EXAMPLE_AZIMUTH, abs=0.02)
    # its slope of 30 degrees, rotated 10 degrees from south to east, has an incidence of 25.187 degrees
    incidence = np.degrees(np.arccos(sun.cos_incidence(zenith, azimuth, 30, 170)))
    assert incidence == pytest.approx(25.187, abs=0.02)


def test_position_takes_any_unit_of_time_and_leaves_unknown_times_unknown():
    fine = np.array([EXAMPLE, "NaT"], dtype="datetime64[ns]")
    zenith, azimuth = sun.position(fine, *EXAMPLE_PLACE)
    assert zenith[0] == sun.position(EXAMPLE, *EXAMPLE_PLACE)[0]
    assert np.isnan(zenith[1])
    assert np.isnan(azimuth[1])
    with pytest.raises(ValueError, match="latitude_deg"):
        sun.position(fine, 91, 0)
    with pytest.raises(ValueError, match="longitude_deg"):
        sun.position(fine, 50, -181)


def test_the_sun_crosses_the_south_at_noon_in_the_north_and_the_north_in_the_south():
    # solar noon at Greenwich on the day the equation of time is nil, 15 April: within a minute of 12:00 UTC (almanacs)
    noon = np.datetime64("2026-04-15T12:00:00")
    assert sun.position(noon, 51.5, 0.0)[1] == pytest.approx(180, abs=0.5)
    assert sun.position(noon, -35.0, 0.0)[1] % 360 == pytest.approx(0, abs=0.5)


# Near Greenwich, where a day in UTC is the day of the place: elsewhere the reference's sunrise is that of another day.
@pytest.mark.parametrize("place", [(-33.9, 18.4), (5.3, -4.0), (51.5, 0.1), (60.2, 11.0)])
def test_daylight_begins_and_ends_with_the_sunrise_and_sunset_of_the_reference_algorithm(place):
    import pandas as pd
    from pvlib.solarposition import sun_rise_set_transit_spa

    days = pd.date_range("2026-01-10", "2026-12-31", freq="29D", tz="UTC")
    table = sun_rise_set_transit_spa(days, *place, delta_t=70.0)
    rise, down = (table[name].dt.tz_convert(None).to_numpy("datetime64[s]") for name in ("sunrise", "sunset"))
    minute = np.timedelta64(60, "s")
    for before, after in ((rise - minute, rise + minute), (down + minute, down - minute)):
        assert not sun.is_daylight(sun.position(before, *place)[0]).any()
        assert sun.is_daylight(sun.position(after, *place)[0]).all()
    assert not sun.is_daylight(np.nan)


@pytest.mark.parametrize("place", [(-33.9, 18.4), (5.3, -4.0), (51.5, 0.1), (60.2, 11.0)])
def test_sunrise_noon_and_sunset_are_those_of_the_reference_algorithm_to_the_minute(place, figure):
    import pandas as pd
    from pvlib.solarposition import sun_rise_set_transit_spa

    days = pd.date_range("2026-01-01", "2026-12-31", freq="3D", tz="UTC")
    table = sun_rise_set_transit_spa(days, *place, delta_t=70.0)
    found = sun.day_of_sun(days.tz_convert(None).to_numpy(), *place)
    for name, instants in (("sunrise", found.sunrise), ("transit", found.noon), ("sunset", found.sunset)):
        reference = table[name].dt.tz_convert(None).to_numpy("datetime64[s]")
        apart_s = np.abs((instants - reference) / np.timedelta64(1, "s")).max()
        assert apart_s < 60
        figure(f"{name} at {place[0]:g} N {place[1]:g} E, 2026", apart_s, bar=60, unit="s", source="pvlib, NREL SPA")


def test_the_day_of_the_sun_is_that_of_the_place_all_round_the_globe():
    days = np.array(["2026-03-20", "2026-06-21", "2026-12-21"], dtype="datetime64[D]")
    for east in range(-180, 361, 45):
        found = sun.day_of_sun(days, -20.0, east)
        mean_time = found.noon + np.timedelta64((east if east <= 180 else east - 360) * 240, "s")
        assert (np.abs(mean_time - days - np.timedelta64(12, "h")) < np.timedelta64(17, "m")).all()
        assert (found.dawn < found.sunrise).all()
        assert (found.sunrise < found.noon).all()
        assert (found.noon < found.sunset).all()
        assert (found.sunset < found.dusk).all()


@pytest.mark.parametrize("place", PLACES)
def test_civil_twilight_is_where_the_reference_algorithm_has_the_sun_six_degrees_down(place):
    found = sun.day_of_sun(np.arange("2026-01-01", "2026-12-31", 7, dtype="datetime64[D]"), *place)
    for instants in (found.dawn, found.dusk):
        known = instants[~np.isnat(instants)]
        assert known.size > 30
        assert spa(known, *place)[0] == pytest.approx(96.0, abs=0.03)


def test_where_the_sun_does_not_rise_or_set_there_is_no_such_instant():
    summer, winter = (sun.day_of_sun(np.datetime64(day), 78.2, 15.6) for day in ("2026-06-21", "2026-12-21"))
    for found in (summer, winter):
        assert np.isnat(found.sunrise)
        assert np.isnat(found.dusk)
        assert not np.isnat(found.noon)
    assert np.isnat(sun.day_of_sun(np.datetime64("NaT", "s"), 50.0, 8.0).sunrise)


def test_irradiance_above_the_atmosphere_follows_the_distance_of_the_reference_algorithm():
    import pandas as pd
    from pvlib.irradiance import get_extra_radiation

    times = random_times(3, 3000)
    reference = get_extra_radiation(pd.DatetimeIndex(times, tz="UTC"), solar_constant=1361.0, method="nrel")
    np.testing.assert_allclose(sun.extraterrestrial_normal(times), reference.to_numpy(), atol=0.3)


def test_clear_sky_is_that_of_pvlib():
    import pandas as pd
    from pvlib.clearsky import haurwitz

    zenith = np.linspace(0, 120, 481)
    np.testing.assert_allclose(sun.clear_sky_global(zenith), haurwitz(pd.Series(zenith))["ghi"], atol=1e-9)
    assert np.isnan(sun.clear_sky_global(np.nan))


def test_cloud_takes_three_quarters_of_the_light_at_most_and_more_cloud_never_less():
    # Kasten and Czeplak 1980; the inverse of the same formula is in public climate packages
    cover = np.linspace(0, 1, 101)
    through = sun.cloud_transmission(cover)
    assert through[0] == 1.0
    assert through[-1] == 0.25
    assert (np.diff(through) < 0).all()
    assert sun.cloud_transmission(0.5) == pytest.approx(0.929, abs=1e-3)
    with pytest.raises(ValueError, match="cloud_fraction"):
        sun.cloud_transmission(8)


def test_the_split_of_global_light_is_that_of_pvlib():
    from pvlib.irradiance import erbs, get_extra_radiation

    zenith, clearness = (g.ravel() for g in np.meshgrid(np.linspace(0, 86.9, 60), np.linspace(0.0, 1.0, 101)))
    day = 60
    above = get_extra_radiation(day)
    ghi = clearness * above * np.cos(np.radians(zenith))
    reference = erbs(ghi, zenith, day)
    # pvlib's cosine has a floor of 0.065, that is 86.3 degrees
    high = zenith < 86.2
    dni, dhi = sun.split_global(ghi, zenith, above)
    np.testing.assert_allclose(dni[high], np.asarray(reference["dni"])[high], atol=1e-6)
    np.testing.assert_allclose(dhi[high], np.asarray(reference["dhi"])[high], atol=1e-6)


@given(st.floats(0, 1400), st.floats(0, 180))
def test_both_parts_make_the_global_light_again_and_neither_is_negative_or_fierce(ghi, zenith):
    dni, dhi = sun.split_global(ghi, zenith, 1361.0)
    assert dni * max(np.cos(np.radians(zenith)), 0.0) + dhi == pytest.approx(ghi, abs=1e-9)
    assert 0 <= dni <= 1361
    assert dhi >= 0


def test_a_sun_lower_than_three_degrees_gives_no_beam():
    dni, dhi = sun.split_global(80.0, [86.9, 87.1, 95.0], 1361.0)
    assert dni[0] > 0
    assert (dni[1:] == 0).all()
    assert (dhi[1:] == 80).all()
    np.testing.assert_array_equal(sun.direct_normal([30.0, 30.0, -2.0], [87.1, 95.0, 40.0]), 0.0)


def test_direct_light_on_level_ground_gives_the_beam_back():
    assert sun.direct_normal(800 * np.cos(np.radians(50.0)), 50.0) == pytest.approx(800.0)
    assert sun.direct_normal(300.0, 86.9) <= sun.SOLAR_CONSTANT_W_M2


# Computed with pvlib 0.16.1: DNI 800, DHI 100, GHI 613.04, above the atmosphere 1387, albedo 0.2.
@pytest.mark.parametrize(
    ("tilt", "facing", "even", "brighter_round_the_sun"),
    [
        (0, 180, 613.04, 613.04),
        (90, 180, 706.01, 744.04),
        (90, 90, 111.30, 82.46),
        (90, 270, 263.34, 251.59),
        (30, 180, 843.17, 872.74),
    ],
)
def test_the_plane_has_the_check_values(tilt, facing, even, brighter_round_the_sun, figure):
    light = (50.11162, 194.34024, 800, 100, 613.04, tilt, facing)
    found = {
        "isotropic": sun.plane_irradiance(*light).total,
        "hay-davies": sun.plane_irradiance(*light, sky="hay-davies", extraterrestrial=1387.0).total,
    }
    for (model, total), expected in zip(found.items(), (even, brighter_round_the_sun), strict=True):
        assert total == pytest.approx(expected, abs=0.1)
        name = f"sun on a plane tilted {tilt} facing {facing}, {model}"
        figure(name, abs(total - expected), bar=0.1, unit="W/m2", source="pvlib 0.16.1")


def test_a_south_wall_gets_its_light_from_the_beam_the_sky_and_the_ground():
    beam, sky, ground, _ = sun.plane_irradiance(50.11162, 194.34024, 800, 100, 613.04, 90, 180)
    assert beam == pytest.approx(594.71, abs=0.1)
    assert sky == pytest.approx(50.00, abs=0.01)
    assert ground == pytest.approx(61.30, abs=0.01)


def test_planes_agree_with_pvlib_for_any_sun_and_any_plane():
    from pvlib.irradiance import get_total_irradiance, haydavies

    rng = np.random.default_rng(4)
    zenith, azimuth = rng.uniform(0, 89.9, 2000), rng.uniform(0, 360, 2000)
    tilt, facing = rng.uniform(0, 180, 2000), rng.uniform(0, 360, 2000)
    dni, dhi, ghi = rng.uniform(0, 1000, 2000), rng.uniform(0, 400, 2000), rng.uniform(0, 1100, 2000)
    reference = get_total_irradiance(tilt, facing, zenith, azimuth, dni, ghi, dhi, albedo=0.2, model="isotropic")
    plane = sun.plane_irradiance(zenith, azimuth, dni, dhi, ghi, tilt, facing)
    uneven = get_total_irradiance(
        tilt, facing, zenith, azimuth, dni, ghi, dhi, dni_extra=1361.0, albedo=0.2, model="haydavies"
    )
    found = sun.plane_irradiance(
        zenith, azimuth, dni, dhi, ghi, tilt, facing, sky="hay-davies", extraterrestrial=np.full(2000, 1361.0)
    )
    np.testing.assert_allclose(found.total, uneven["poa_global"], atol=1e-9)
    parts = haydavies(tilt, facing, dhi, dni, 1361.0, zenith, azimuth, return_components=True)
    np.testing.assert_allclose(found.round_sun, parts["poa_circumsolar"], atol=1e-9)
    assert not plane.round_sun.any()
    np.testing.assert_allclose(plane.total, reference["poa_global"], atol=1e-9)
    np.testing.assert_allclose(plane.beam, reference["poa_direct"], atol=1e-9)
    np.testing.assert_allclose(plane.diffuse, reference["poa_diffuse"], atol=1e-9)


@given(st.floats(0, 180), ANGLES, TILTS, ANGLES)
def test_a_plane_never_gets_more_beam_than_there_is_and_none_from_below(zenith, azimuth, tilt, facing):
    plane = sun.plane_irradiance(zenith, azimuth, 900, 0, 0, tilt, facing)
    assert 0 <= plane.beam <= 900 + 1e-9
    assert zenith <= 90 or plane.beam == 0


@given(TILTS)
def test_the_sky_and_a_white_ground_of_equal_brightness_light_every_tilt_alike(tilt):
    plane = sun.plane_irradiance(100, 0, 0, 100, 100, tilt, 0, albedo=1.0)
    assert plane.total == pytest.approx(100)


def test_members_and_times_broadcast_and_unknown_stays_unknown():
    times = np.datetime64("2026-06-01T06:00") + np.arange(4) * np.timedelta64(1, "h")
    zenith, azimuth = sun.position(times, 50, 8)
    ghi = np.full((3, 4), 200.0)
    ghi[1, 2] = np.nan
    dni, dhi = sun.split_global(ghi, zenith, sun.extraterrestrial_normal(times))
    plane = sun.plane_irradiance(zenith, azimuth, dni, dhi, ghi, 90, 90)
    assert plane.total.shape == (3, 4)
    assert np.isnan(plane.total[1, 2])
    assert np.isfinite(np.delete(plane.total.ravel(), 6)).all()
    assert np.isnan(sun.plane_irradiance(np.nan, 90, 1, 1, 1, 90, 90).beam)
    assert np.isnan(sun.direct_normal(np.nan, 95))


def test_what_cannot_be_is_refused_by_name():
    for name, arguments in {
        "dni": (50, 180, 2000, 0, 0, 0, 0), "dhi": (50, 180, 0, -30, 0, 0, 0), "ghi": (50, 180, 0, 0, 1e4, 0, 0),
        "zenith_deg": (-1, 180, 0, 0, 0, 0, 0), "tilt_deg": (50, 180, 0, 0, 0, 181, 0),
    }.items():  # fmt: skip
        with pytest.raises(ValueError, match=name):
            sun.plane_irradiance(*arguments)
    with pytest.raises(ValueError, match="extraterrestrial is needed"):
        sun.plane_irradiance(50, 180, 0, 0, 0, 0, 0, sky="hay-davies")
    with pytest.raises(ValueError, match="albedo"):
        sun.plane_irradiance(50, 180, 0, 0, 0, 0, 0, albedo=20)


@pytest.mark.measured
def test_a_measured_tilted_plane_is_met(figure):
    # Golden, Colorado, winter. Stamps end a mean of five minutes, so the sun is that of their middle. The tilt of 40
    # degrees to the south is recalled, not stated in the file.
    times, data = recorded.read("golden_tilted_irradiance_2019-02-01_02_5min")
    middle = times - np.timedelta64(150, "s")
    zenith, azimuth = sun.position(middle, 39.742, -105.18)
    found = sun.plane_irradiance(
        zenith, azimuth, data["dni_W_m2"], data["dhi_W_m2"], data["ghi_W_m2"], 40.0, 180.0
    ).total
    lit = np.isfinite(found + data["poa_W_m2"]) & (zenith < 85)
    measured = data["poa_W_m2"][lit]
    error = found[lit] - measured
    rmse = np.sqrt(np.mean(error**2))
    assert lit.sum() > 150
    assert rmse <= 60
    assert rmse / measured.mean() <= 0.08
    source = "Golden CO, 1 and 2 February 2019, out of the example data of pvanalytics"
    figure("measured tilted plane, isotropic sky, RMSE", rmse, bar=60, unit="W/m2", source=source)
    figure("the same as a share of the mean", 100 * rmse / measured.mean(), bar=8, unit="%", source=source)
    figure("the same, bias", error.mean(), unit="W/m2", source=source)
