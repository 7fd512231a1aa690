"""Cost of the science per million points, each against its reference: python tests/bench/bench_science.py

Printed per line: seconds per million points (the best of several runs), and how many times the cost of the reference of
the same run that is. The reference is our own dew point; MetPy's is beside it (pip install metpy; else nan). The
weather is 64 members of 16 days in quarter hours, with dew in most nights and showers now and then in the lines that
say so. The sky is counted into each whole solve.

The last lines are of many faces under one sky, of all backs: solved one after the other, and in one call. Their second
column is the cost over that of one after the other.
"""

import time
import warnings
from dataclasses import replace

import numpy as np

from dryspell.science import air, longwave, recurrence, surface
from dryspell.science.face import Exposure

MEMBERS, STEPS = 64, 16 * 96 + 1
REPEATS = 7
BOARD = Exposure(
    tilt_deg=0.0,
    facing_deg=180.0,
    sky_view=1.0,
    absorptance=0.65,
    heat_capacity_j_m2_k=21e3,
    back_conductance_w_m2_k=4.0,
    wind_factor=0.5,
    wet_absorbs_mm=0.3,
)
FACES = [
    replace(
        BOARD,
        sky_view=0.2 + 0.04 * k,
        absorptance=0.9 - 0.03 * k,
        heat_capacity_j_m2_k=8e3 + 2e3 * k,
        back=("air", "indoor", "mean_air")[k % 3],
        wet_absorbs_mm=(0.1, 0.3)[k % 2],
    )
    for k in range(20)
]


def best_s(call, points):
    """Return the shortest time of several calls, per million points."""
    taken = []
    for _ in range(REPEATS):
        begin = time.perf_counter()
        call()
        taken.append(time.perf_counter() - begin)
    return min(taken) * 1e6 / points


def members(spread_k, *, showers=False):
    """Return instants and weather of many members: air, dew point, wind, sun, cloud, rain; shape (members, times)."""
    rng = np.random.default_rng(1)
    times = np.datetime64("2026-09-01T00:00:00") + np.arange(STEPS) * np.timedelta64(900, "s")
    hour = np.arange(STEPS) / 4.0 % 24.0
    shape = (MEMBERS, STEPS)

    def wandering(hours, sd):
        """Return what each member has of its own: noise that keeps for some hours."""
        keep = np.exp(-0.25 / hours)
        steps = rng.normal(size=shape) * sd * np.sqrt(1.0 - keep**2)
        return recurrence.affine_scan(np.full(shape, keep), steps, rng.normal(size=MEMBERS) * sd)

    warm = 14.0 + 5.0 * np.cos(2 * np.pi * (hour - 15.0) / 24.0) + wandering(24.0, 2.0)
    dew = np.minimum(9.0 - spread_k + wandering(24.0, 2.0), warm)
    wind = np.abs(2.5 + wandering(12.0, 1.5))
    cloud = np.clip(0.4 + wandering(12.0, 0.4), 0.0, 1.0)
    clear = 800.0 * np.maximum(np.sin(2 * np.pi * (hour - 6.0) / 24.0), 0.0) ** 1.2
    sun = clear * (1.0 - 0.75 * cloud**3.4)
    wet = (rng.uniform(size=shape) < 0.01) if showers else np.zeros(shape, dtype=bool)
    return times, warm, dew, wind, sun, cloud, np.where(wet, rng.exponential(0.5, shape), 0.0)


def whole_solve(times, warm, dew, wind, sun, cloud, rain):
    """Work out sky and surface, as an outlook does."""
    sky = longwave.sky_longwave(warm, air.relative_humidity(warm, dew), cloud)
    return surface.solve(times, warm, dew, wind, sun, sky, BOARD, rain_mm=rain if rain.any() else None)


def main():
    """Print a line each."""
    rng = np.random.default_rng(2)
    temperature, humidity = rng.uniform(-20, 40, 10**6), rng.uniform(10, 100, 10**6)
    reference = best_s(lambda: air.dew_point(temperature, humidity), temperature.size)

    def line(name, seconds):
        print(f"{seconds:12.4f} {seconds / reference:10.2f}  {name}")

    print("   s per 1e6      ratio")
    line("dew point, the reference", reference)
    line("dew point of MetPy: 4 at the least", metpy_dew_point_s(temperature, humidity))
    _, warm, dew, wind, sun, cloud, _ = dry = members(25.0)
    moist = air.relative_humidity(warm, dew)
    sky = longwave.sky_longwave(warm, moist, cloud)
    line("relative humidity", best_s(lambda: air.relative_humidity(warm, dew), warm.size))
    line("sky longwave", best_s(lambda: longwave.sky_longwave(warm, moist, cloud), warm.size))
    steady_s = best_s(lambda: surface.steady_temperature(warm, dew, wind, sun, sky, BOARD), warm.size)
    line("steady surface", steady_s)
    for name, weather in (("dry", dry), ("dew", members(0.0)), ("dew and showers", members(0.0, showers=True))):
        wet = np.mean(whole_solve(*weather).water_mm > 0.0)
        seconds = best_s(lambda weather=weather: whole_solve(*weather), warm.size)
        line(f"whole surface, {name} ({wet:.0%} of the time wet): 100 at most", seconds)
    for count in (1, MEMBERS):
        weather = members(0.0, showers=True)
        many_faces(weather[0], *(column[:count] if column.ndim > 1 else column for column in weather[1:]))


def many_faces(times, warm, dew, wind, sun, cloud, rain):
    """Print what faces cost one after the other and at once."""
    sky = longwave.sky_longwave(warm, air.relative_humidity(warm, dew), cloud)

    def solve(faces):
        return surface.solve(times, warm, dew, wind, sun, sky, faces, rain_mm=rain)

    points = warm.size * len(FACES)
    one_by_one = best_s(lambda: [solve(face) for face in FACES], points)
    at_once = best_s(lambda: solve(FACES), points)
    name = f"{len(FACES)} times, dew and showers, members: {warm.shape[0]}"
    print(f"{one_by_one:12.4f} {1.0:10.2f}  1 face, {name}")
    print(f"{at_once:12.4f} {at_once / one_by_one:10.2f}  {len(FACES)} faces at once, the same: 1 at most")


def metpy_dew_point_s(temperature, humidity):
    """Return what MetPy's dew point costs, NaN where MetPy is not installed."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            from metpy.calc import dewpoint_from_relative_humidity
            from metpy.units import units
        except ImportError:
            return float("nan")
        return best_s(
            lambda: dewpoint_from_relative_humidity(temperature * units.degC, humidity * units.percent),
            temperature.size,
        )


if __name__ == "__main__":
    main()
