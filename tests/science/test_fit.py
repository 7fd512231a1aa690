"""Figures of a face from what a probe on it read: found again where they were known, refused where they cannot be."""

from dataclasses import replace

import numpy as np
import pytest

from dryspell.science.air import relative_humidity
from dryspell.science.fit import USUAL, Fit, Refusal, Refused, fit_exposure
from dryspell.science.surface import sky_longwave, surface_temperature
from science.boards import face, instants

BOARD = face(wind_factor=0.5)
KNOWN = {"wind_factor": 0.32, "back_conductance_w_m2_k": 2.6, "openness": 0.55}


def some_days(days=6, *, seed=1, cloud=None, wind=None):
    """Return instants and weather with clear and cloudy days, calm and windy ones."""
    rng = np.random.default_rng(seed)
    times = instants(24 * days, 1800)
    hour = (times - times.astype("datetime64[D]")) / np.timedelta64(1, "h")

    def wandering(low, high):
        points = rng.uniform(low, high, days * 4 + 2)
        return np.interp(np.arange(times.size), np.linspace(0, times.size, points.size), points)

    cloud = wandering(0.0, 1.0) if cloud is None else np.full(times.size, cloud)
    wind = wandering(0.2, 5.0) if wind is None else np.full(times.size, wind)
    air = 14 + 5 * np.cos(2 * np.pi * (hour - 15) / 24) + wandering(-3, 3)
    dew = np.minimum(air - 1.0, 8.0 + wandering(-2, 2))
    sun = 800 * np.maximum(np.sin(2 * np.pi * (hour - 6) / 24), 0) ** 1.3 * (1 - 0.75 * cloud**3.4)
    return times, (air, dew, wind, sun, sky_longwave(air, relative_humidity(air, dew), cloud))


def probe(times, weather, noise_k=0.3, seed=2):
    """Return what a probe would read on a face of the known figures: it errs, and for hours the same way."""
    truth = replace(
        BOARD,
        wind_factor=KNOWN["wind_factor"],
        back_conductance_w_m2_k=KNOWN["back_conductance_w_m2_k"],
        sky_view=KNOWN["openness"],
    )
    rng = np.random.default_rng(seed)
    error = np.zeros(times.size)
    for k in range(1, times.size):
        error[k] = 0.8 * error[k - 1] + 0.6 * noise_k * rng.normal()
    return surface_temperature(times, *weather, truth) + error


@pytest.mark.parametrize("seed", range(4))
def test_known_figures_are_found_again_within_their_errors(seed):
    times, weather = some_days(seed=seed)
    found = fit_exposure(times, *weather, probe(times, weather, seed=10 + seed), BOARD)
    assert isinstance(found, Fit)
    for name, value in KNOWN.items():
        assert abs(found.values[name] - value) < 3.5 * found.errors[name], name
        assert found.errors[name] < 0.6 * value
    assert found.night[1].rmse_k < min(0.4, found.night[0].rmse_k)
    assert found.day[1].rmse_k < min(0.4, found.day[0].rmse_k)
    assert abs(found.day[1].bias_k) < 0.2
    assert found.night[1].readings + found.day[1].readings == times.size


def test_what_was_not_asked_for_stays():
    times, weather = some_days()
    found = fit_exposure(times, *weather, probe(times, weather), BOARD, find=("back_conductance_w_m2_k",))
    assert found.exposure.wind_factor == BOARD.wind_factor
    assert found.exposure.sky_view == BOARD.sky_view
    assert set(found.values) == {"back_conductance_w_m2_k"}


def test_an_upright_face_never_sees_more_than_its_half_of_the_sky():
    times, weather = some_days()
    upright = face(tilt_deg=90.0, sky_view=0.3)
    truth = surface_temperature(times, *weather, replace(upright, sky_view=0.5))
    found = fit_exposure(times, *weather, truth, upright, find=("openness",))
    assert found.values["openness"] == pytest.approx(1.0, abs=0.01)
    assert found.exposure.sky_view <= 0.5


def test_readings_here_and_there_do():
    times, weather = some_days()
    log = np.where(np.random.default_rng(5).uniform(size=times.size) < 0.6, probe(times, weather), np.nan)
    found = fit_exposure(times, *weather, log, BOARD)
    assert abs(found.values["openness"] - KNOWN["openness"]) < 3.5 * found.errors["openness"]


def refused(times, weather, log, **how):
    found = fit_exposure(times, *weather, log, BOARD, **how)
    assert isinstance(found, Refused)
    return found.reason


def test_a_day_of_readings_is_too_short():
    times, weather = some_days()
    assert refused(times, weather, np.where(times < times[60], probe(times, weather), np.nan)) is Refusal.TOO_SHORT
    assert refused(times, weather, np.full(times.size, np.nan)) is Refusal.TOO_SHORT


def test_readings_by_day_only_are_refused():
    times, weather = some_days()
    assert refused(times, weather, np.where(weather[3] > 5, probe(times, weather), np.nan)) is Refusal.NO_NIGHTS


def test_overcast_nights_do_not_tell_how_much_sky_is_seen_but_may_tell_the_rest():
    times, weather = some_days(cloud=1.0)
    log = probe(times, weather)
    assert refused(times, weather, log) is Refusal.NO_CLEAR_NIGHTS
    assert isinstance(fit_exposure(times, *weather, log, BOARD, find=("back_conductance_w_m2_k",)), Fit)


def test_a_wind_that_hardly_changes_does_not_tell_its_share():
    times, weather = some_days(wind=2.0)
    assert refused(times, weather, probe(times, weather)) is Refusal.LITTLE_WIND


def test_figures_that_do_the_same_cannot_be_told_from_each_other():
    # Of a dry face with the air behind it only the whole still-air loss and its rise with the wind are to be seen: two
    # figures, and three are asked for.
    times, (air, _, *rest) = some_days()
    weather = (air, np.full(times.size, -30.0), *rest)
    find = ("convection_scale", "wind_factor", "back_conductance_w_m2_k")
    assert refused(times, weather, probe(times, weather), find=find) is Refusal.NOT_DETERMINED


def test_readings_too_rough_to_tell_are_refused():
    times, weather = some_days(days=2)
    assert refused(times, weather, probe(times, weather, noise_k=15.0)) is Refusal.NOT_DETERMINED


def test_a_figure_that_is_none_is_refused_by_name():
    times, weather = some_days()
    with pytest.raises(ValueError, match=r"find has colour; wanted some of wind_factor"):
        fit_exposure(times, *weather, 10.0, BOARD, find=("colour",))
    with pytest.raises(ValueError, match="measured_c is out of range"):
        fit_exposure(times, *weather, 300.0, BOARD, find=USUAL)
