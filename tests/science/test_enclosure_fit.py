import numpy as np
import pytest

from dryspell.science.air import dew_point, saturation_vapour_pressure
from dryspell.science.enclosure import Enclosure, air_inside
from dryspell.science.enclosure_fit import EnclosureFit, fit_enclosure
from dryspell.science.fit import Refusal, Refused
from dryspell.weather.table import in_bounds
from weather.airports import hours

THOUGHT = Enclosure(lag_h=2.0, air_changes_per_h=1.0)


def outdoors(days=30, begin=24 * 120):
    """Hours at an airport, from May on."""
    table, which = hours("JFK"), slice(begin, begin + 24 * days)
    air, dew = (in_bounds(name, table.column(name)[0, which]) for name in ("air_temperature", "dew_point_temperature"))
    return table.times[which], air, np.minimum(dew, air)


def marched(times, outdoor, dew, lag_h, changes_per_h, step_s=20.0):
    """dT/dt and de/dt in plain small steps (Euler), by none of the code that is tested; begins 3 K too warm."""
    at = np.arange(0.0, (times[-1] - times[0]) / np.timedelta64(1, "s") + 1.0, step_s)
    stamps = (times - times[0]) / np.timedelta64(1, "s")
    target = np.interp(at, stamps, outdoor)
    vapour_out = np.interp(at, stamps, saturation_vapour_pressure(dew))
    air, vapour = np.empty(at.size), np.empty(at.size)
    t, e = target[0] + 3.0, vapour_out[0]
    for k in range(at.size):
        air[k], vapour[k] = t, e
        t += step_s / 3600.0 / lag_h * (target[k] - t)
        e += step_s / 3600.0 * changes_per_h * (vapour_out[k] - e)
    air, vapour = np.interp(stamps, at, air), np.interp(stamps, at, vapour)
    return air, np.minimum(dew_point(air, np.minimum(100.0 * vapour / saturation_vapour_pressure(air), 100.0)), air)


def known(values):
    return np.interp(np.arange(values.size), np.flatnonzero(np.isfinite(values)), values[np.isfinite(values)])


@pytest.mark.parametrize(("lag_h", "changes"), [(0.5, 3.0), (3.0, 0.5), (12.0, 0.15)])
def test_lag_and_changes_of_air_are_found_from_what_a_plain_march_gives(lag_h, changes, figure):
    times, outdoor, dew = outdoors()
    outdoor, dew = known(outdoor), known(dew)
    inside, inside_dew = marched(times, outdoor, dew, lag_h, changes)
    random = np.random.default_rng(1)
    inside, inside_dew = inside + random.normal(0.0, 0.2, times.size), inside_dew + random.normal(0.0, 0.3, times.size)
    found = fit_enclosure(times, outdoor, dew, inside, np.minimum(inside_dew, inside), THOUGHT)
    assert isinstance(found, EnclosureFit)
    assert found.enclosure.lag_h == pytest.approx(lag_h, abs=4 * found.errors["lag_h"] + 0.01)
    assert found.enclosure.air_changes_per_h == pytest.approx(changes, abs=4 * found.errors["air_changes_per_h"] + 0.01)
    assert found.errors["lag_h"] < 0.05 * lag_h
    assert found.air[1].rmse_k < 0.6 * found.air[0].rmse_k
    assert found.warmer_k == pytest.approx(0.0, abs=0.1)
    off = abs(found.enclosure.lag_h / lag_h - 1.0)
    source = "a plain march in 20 s in May at JFK airport, noise of 0.2 K and 0.3 K of dew point"
    figure(f"lag of {lag_h:g} h found, off by", 100 * off, bar=5, unit="%", source=source)
    off_changes = abs(found.enclosure.air_changes_per_h / changes - 1.0)
    figure(f"{changes:g} changes of air an hour found, off by", 100 * off_changes, unit="%", source=source)
    figure(f"air inside, lag of {lag_h:g} h, computed, RMSE", found.air[1].rmse_k, unit="K", source=source)
    figure("the air outdoors taken for it, RMSE", found.air[0].rmse_k, unit="K", source=source)
    assert off < 0.05


def test_the_error_it_gives_is_how_far_off_it_is_from_one_set_of_readings_to_the_next():
    times, outdoor, dew = outdoors(days=10)
    outdoor, dew = known(outdoor), known(dew)
    truth = Enclosure(lag_h=2.0, air_changes_per_h=0.5)
    inside, inside_dew = air_inside(times, outdoor, dew, truth)
    random = np.random.default_rng(7)
    off = []
    for _ in range(30):
        noisy = inside + random.normal(0.0, 0.5, times.size)
        found = fit_enclosure(times, outdoor, dew, noisy, np.minimum(inside_dew, noisy), THOUGHT)
        off.append((found.enclosure.lag_h - 2.0) / found.errors["lag_h"])
    assert 0.6 < np.std(off) < 1.5
    assert abs(np.mean(off)) < 1.0


def test_a_concentration_that_decays_gives_the_changes_of_air():
    # The tracer decay method of ASTM E741: n = ln(C0 / C1) / hours. Here the tracer is the vapour of a day's damp air.
    times = np.datetime64("2026-06-01T00:00:00") + np.timedelta64(300, "s") * np.arange(12 * 24 * 8)
    hour = np.arange(times.size) / 12.0
    outdoor = 20.0 + 6.0 * np.sin(2 * np.pi * hour / 24)
    high, low = 15.0, 8.0  # hPa
    damp = (hour % 48) < 24.0
    outdoor_hpa = np.where(damp, high, low)
    since = hour % 24
    start = np.where(hour < 24, high, np.where(damp, low, high))
    inside_hpa = outdoor_hpa + (start - outdoor_hpa) * np.exp(-0.25 * since)
    dew, inside_dew = (dew_point(30.0, 100.0 * e / saturation_vapour_pressure(30.0)) for e in (outdoor_hpa, inside_hpa))
    found = fit_enclosure(times, outdoor, dew, outdoor, inside_dew, THOUGHT)
    then, later = (inside_hpa[hour == h][0] - low for h in (26.0, 34.0))
    assert found.enclosure.air_changes_per_h == pytest.approx(np.log(then / later) / 8.0, rel=0.02)


def test_a_warmth_that_is_always_there_is_told_apart_and_made_no_heater():
    times, outdoor, dew = outdoors()
    inside, inside_dew = air_inside(times, known(outdoor), known(dew), Enclosure(lag_h=4.0, air_changes_per_h=0.5))
    found = fit_enclosure(times, known(outdoor), known(dew), inside + 2.0, inside_dew, THOUGHT)
    assert found.warmer_k == pytest.approx(2.0, abs=0.05)
    assert found.enclosure.lag_h == pytest.approx(4.0, rel=0.02)
    assert found.enclosure.heat_k == 0.0


def test_what_the_sun_warms_it_by_is_found_with_the_lag():
    times, outdoor, dew = outdoors()
    outdoor, dew = known(outdoor), known(dew)
    cloud = np.repeat(np.random.default_rng(3).uniform(0.2, 1.0, times.size // 3), 3)
    sun = 700.0 * cloud * np.maximum(np.sin((np.arange(times.size) - 5) / 24 * 2 * np.pi), 0.0)
    truth = Enclosure(lag_h=1.5, air_changes_per_h=1.0, sun_k_m2_w=0.012)
    inside, inside_dew = air_inside(times, outdoor, dew, truth, sun_w_m2=sun)
    inside = inside + np.random.default_rng(4).normal(0.0, 0.2, times.size)
    found = fit_enclosure(times, outdoor, dew, inside, np.minimum(inside_dew, inside), THOUGHT, sun_w_m2=sun)
    assert found.enclosure.sun_k_m2_w == pytest.approx(0.012, abs=4 * found.errors["sun_k_m2_w"])
    assert found.enclosure.lag_h == pytest.approx(1.5, rel=0.05)


def test_readings_with_gaps_give_what_readings_without_give():
    times, outdoor, dew = outdoors()
    truth = Enclosure(lag_h=5.0, air_changes_per_h=0.4)
    inside, inside_dew = (x.copy() for x in air_inside(times, known(outdoor), known(dew), truth))
    outdoor, dew = known(outdoor).copy(), known(dew).copy()
    inside[50:90] = inside_dew[300:330] = np.nan
    outdoor[200:202] = dew[400:440] = np.nan
    outdoor[600:610] = np.nan
    found = fit_enclosure(times, outdoor, dew, inside, inside_dew, THOUGHT)
    assert found.enclosure.lag_h == pytest.approx(5.0, rel=0.03)
    assert found.enclosure.air_changes_per_h == pytest.approx(0.4, rel=0.05)


def test_a_thermometer_alone_tells_the_lag_and_leaves_the_changes_of_air_as_they_were_thought():
    times, outdoor, dew = outdoors()
    inside, _ = air_inside(times, known(outdoor), known(dew), Enclosure(lag_h=5.0, air_changes_per_h=0.4))
    found = fit_enclosure(times, known(outdoor), known(dew), inside, np.nan, THOUGHT)
    assert found.enclosure.lag_h == pytest.approx(5.0, rel=0.02)
    assert found.enclosure.air_changes_per_h == THOUGHT.air_changes_per_h
    assert np.isnan(found.errors["air_changes_per_h"])
    assert found.dew_point[0].readings == 0


def test_an_open_shelter_is_the_outdoor_air_at_once():
    times, outdoor, dew = outdoors()
    found = fit_enclosure(times, outdoor, dew, outdoor, dew, THOUGHT)
    assert found.enclosure == Enclosure(lag_h=0.0, air_changes_per_h=np.inf)
    assert np.isnan(found.errors["lag_h"])


@pytest.mark.parametrize(
    ("days", "inside", "outdoor", "reason", "says"),
    [
        (2, None, None, Refusal.TOO_SHORT, "48 readings with known weather over 47 h; wanted 72 over 72 h"),
        (20, 18.0, None, Refusal.NOT_DETERMINED, "does not follow"),
        (20, None, 12.0, Refusal.NOT_DETERMINED, "outdoors it changed by 0.0 K"),
    ],
)
def test_what_does_not_tell_is_refused_by_name(days, inside, outdoor, reason, says):
    times, air, dew = outdoors(days)
    air = known(air) if outdoor is None else np.full(times.size, outdoor)
    dew = np.minimum(known(dew), air)
    read = air if inside is None else inside + np.random.default_rng(2).normal(0.0, 0.3, times.size)
    found = fit_enclosure(times, air, dew, read, np.nan, THOUGHT)
    assert isinstance(found, Refused)
    assert found.reason is reason
    assert says in found.detail


def test_a_temperature_that_cannot_be_and_times_that_go_back_are_refused():
    times, outdoor, dew = outdoors(5)
    with pytest.raises(ValueError, match="inside_c is out of range"):
        fit_enclosure(times, outdoor, dew, 300.0, np.nan, THOUGHT)
    with pytest.raises(ValueError, match="ascend"):
        fit_enclosure(times[::-1], outdoor, dew, outdoor, np.nan, THOUGHT)
