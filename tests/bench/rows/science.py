"""Air, sun, surfaces and films, each against a reference library or against plain loops."""

import functools
import importlib
import math
import random
import sys
import warnings
from dataclasses import replace

import numpy as np

from bench.reference.drying import completion
from bench.reference.surface import march
from bench.row import Row, cpu, pair
from dryspell.science import air, cure, longwave, recurrence, sun, surface
from dryspell.science.face import Exposure

POINTS = 10_000_000
SCALAR_POINTS = 20_000
"""Of what is called for one figure after the other; its cost is taken times as much as there is more of ours."""
MEMBERS, STEPS = 51, 16 * 96 + 1
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
SANDABLE = ((5.0, 60.0), (10.0, 42.0), (18.0, 24.0), (25.0, 16.0), (30.0, 12.0))
"""Hours at temperatures of an invented varnish."""


def scaled(cost, times):
    """Return a cost that stands for so many times as much."""
    return lambda: cost() * times


@functools.cache
def points():
    """Return temperatures [degC] and humidities [%]."""
    rng = np.random.default_rng(2)
    return rng.uniform(0.5, 40.0, POINTS), rng.uniform(20.0, 100.0, POINTS)


@functools.cache
def dew_points():
    return air.dew_point(*points())


def dew_point():
    return cpu(lambda: air.dew_point(*points()))


def humidity():
    t, _ = points()
    return cpu(lambda: air.relative_humidity(t, dew_points()))


def log_exp():
    """One logarithm and one power of e over as many points."""
    t, rh = points()
    return cpu(lambda: (np.log(rh), np.exp(t)))


def metpy(call):
    """Return the cost of a function of MetPy on points with their units put on."""
    warnings.simplefilter("ignore")  # of libraries that it brings
    from metpy import calc
    from metpy.units import units

    t, rh = points()
    t = t * units.degC
    return cpu(functools.partial(call, calc, t, rh * units.percent, dew_points() * units.degC))


def psychrolib(*, numba):
    """Import psychrolib anew, with numba or as it is without."""
    if numba:
        import numba as _  # noqa: F401  (to say so where it is missing; psychrolib would go without)
    for name in [name for name in sys.modules if name.startswith("psychrolib")]:
        del sys.modules[name]
    kept = sys.modules.get("numba")
    if not numba:
        sys.modules["numba"] = None
    try:
        found = importlib.import_module("psychrolib")
    finally:
        if not numba and kept is None:
            del sys.modules["numba"]
        elif not numba:
            sys.modules["numba"] = kept
    found.SetUnitSystem(found.SI)
    return found


def compiled(function):
    """Return the cost of a function of psychrolib that numba compiles for arrays, over all points."""

    def cost():
        t, rh = points()
        library = psychrolib(numba=True)
        if function == "GetTDewPointFromRelHum":
            return cpu(lambda: library.GetTDewPointFromRelHum(t, rh / 100.0))
        return cpu(lambda: library.GetRelHumFromTDewPoint(t, dew_points()))

    return cost


def one_by_one(function):
    """Return the cost of a function of psychrolib without numba: a call for each point."""

    def cost():
        library = psychrolib(numba=False)
        t, rh = (column[:SCALAR_POINTS].tolist() for column in points())
        dew = dew_points()[:SCALAR_POINTS].tolist()
        if function == "GetTDewPointFromRelHum":
            call = cpu(lambda: [library.GetTDewPointFromRelHum(a, b / 100.0) for a, b in zip(t, rh, strict=True)])
        else:
            call = cpu(lambda: [library.GetRelHumFromTDewPoint(a, b) for a, b in zip(t, dew, strict=True)])
        return scaled(call, POINTS / SCALAR_POINTS)

    return cost


def hyland_wexler_hpa(t_c):
    """Return the saturation vapour pressure over water: ASHRAE Handbook of Fundamentals 2017, chapter 1, eq. 6."""
    t = t_c + 273.15
    of_powers = 4.1764768e-5 * t**2 - 1.4452093e-8 * t**3
    return 0.01 * math.exp(-5.8002206e3 / t + 1.3914993 - 4.8640239e-2 * t + of_powers + 6.5459673 * math.log(t))


def dew_point_error(found):
    """Return how far dew points are off at the most [K], against Hyland and Wexler's solved by halves."""

    def true(t_c, rh_pct):
        low, high, wanted = -60.0, t_c, rh_pct / 100.0 * hyland_wexler_hpa(t_c)
        for _ in range(60):
            middle = (low + high) / 2.0
            low, high = (middle, high) if hyland_wexler_hpa(middle) < wanted else (low, middle)
        return low

    rng = random.Random(3)
    asked = [(rng.uniform(15.0, 40.0), rng.uniform(40.0, 100.0)) for _ in range(2000)]
    t, rh = np.array(asked).T
    return float(np.max(np.abs(found(t, rh) - [true(*each) for each in asked])))


def our_error():
    off_k = dew_point_error(air.dew_point)
    return lambda: off_k


def metpy_error():
    warnings.simplefilter("ignore")
    from metpy.calc import dewpoint_from_relative_humidity
    from metpy.units import units

    def found(t, rh):
        return dewpoint_from_relative_humidity(t * units.degC, rh * units.percent).to("degC").magnitude

    off_k = dew_point_error(found)
    return lambda: off_k


def instants():
    return np.datetime64("2026-03-01T00:00:00", "s") + np.arange(200_000) * np.timedelta64(900, "s")


def sun_position():
    times = instants()
    return cpu(lambda: sun.position(times, 54.0, 10.0))


def pvlib_position():
    import pandas as pd
    from pvlib.solarposition import get_solarposition

    times = pd.DatetimeIndex(instants()).tz_localize("UTC")
    return cpu(lambda: get_solarposition(times, 54.0, 10.0, method="nrel_numpy"))


@functools.cache
def weather():
    """Return instants, air, dew point, wind, sun, sky and rain of many members, with dew and showers."""
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
    dew = np.minimum(9.0 + wandering(24.0, 2.0), warm)
    wind = np.abs(2.5 + wandering(12.0, 1.5))
    cloud = np.clip(0.4 + wandering(12.0, 0.4), 0.0, 1.0)
    clear = 800.0 * np.maximum(np.sin(2 * np.pi * (hour - 6.0) / 24.0), 0.0) ** 1.2
    wet = rng.uniform(size=shape) < 0.01
    sky = longwave.sky_longwave(warm, air.relative_humidity(warm, dew), cloud)
    return times, warm, dew, wind, clear * (1.0 - 0.75 * cloud**3.4), sky, np.where(wet, rng.exponential(0.5, shape), 0)


def surfaces():
    times, *columns, rain = weather()
    return cpu(lambda: surface.solve(times, *columns, BOARD, rain_mm=rain))


def surfaces_in_loops():
    """One of the members."""
    _, *columns, rain = weather()
    one = [column[7].tolist() for column in columns]
    return scaled(cpu(lambda: march(900.0, one, rain[7].tolist(), BOARD)), MEMBERS)


def faces():
    """Return twenty faces under one sky, of all backs."""
    return [
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


def of_one_member():
    """Return its instants, and its columns with its rain as keywords of `solve`."""
    times, *columns, rain = weather()
    return (times, *(column[..., :1, :] if column.ndim > 1 else column for column in columns)), {"rain_mm": rain[:1]}


def faces_at_once():
    columns, rain = of_one_member()
    return cpu(lambda: surface.solve(*columns, faces(), **rain), 3)


def faces_one_by_one():
    columns, rain = of_one_member()
    return cpu(lambda: [surface.solve(*columns, face, **rain) for face in faces()], 3)


def air_alone():
    """What a surface is worked out from, as dew points: the same kind of work, over the same arrays."""
    _, warm, dew, *_ = weather()
    return cpu(lambda: air.dew_point(warm, air.relative_humidity(warm, dew)), 10)


def films():
    """Every start of every member, from surface temperatures to the instants of completion."""
    times, warm, *_ = weather()
    rate = cure.fit_stage(*zip(*SANDABLE, strict=True), below_coldest="slows")
    return cpu(lambda: cure.completion_time(times, times, rate.rate_per_h(warm)))


def films_in_loops():
    """Some starts of one of the members."""
    from outlook.plainly import hours_at

    times, warm, *_ = weather()
    seconds, of_member, some = ((times - times[0]) / np.timedelta64(1, "s")).tolist(), warm[7].tolist(), 16

    def rates():
        return [1.0 / hours_at(SANDABLE, t_c, "slows") for t_c in of_member]

    rate = rates()
    every, completions = cpu(rates), cpu(lambda: [completion(s, seconds, rate) for s in seconds[::some]])
    return lambda: MEMBERS * (every() + completions() * some)


SAYS = f"of {POINTS // 10**6} M points"
ROWS = (
    Row("dew_point_metpy", f"dew point {SAYS}", "MetPy", pair(dew_point, lambda: metpy(
        lambda calc, t, rh, _: calc.dewpoint_from_relative_humidity(t, rh))), "more", bar=5.0),
    Row("dew_point_numba", f"dew point {SAYS}", "psychrolib under numba",
        pair(dew_point, compiled("GetTDewPointFromRelHum")), "more", bar=1.0),
    Row("dew_point_psychrolib", f"dew point {SAYS}", "psychrolib without numba",
        pair(dew_point, one_by_one("GetTDewPointFromRelHum")), "more"),
    Row("dew_point_log_exp", f"dew point {SAYS}", "numpy.log and numpy.exp", pair(dew_point, log_exp), "less",
        bar=3.0, guard=True),
    Row("dew_point_error", "error of the dew point", "that of MetPy", pair(our_error, metpy_error), "less", bar=1.0,
        unit="K"),
    Row("humidity_metpy", f"humidity {SAYS}", "MetPy", pair(humidity, lambda: metpy(
        lambda calc, t, _, dew: calc.relative_humidity_from_dewpoint(t, dew))), "more"),
    Row("humidity_numba", f"humidity {SAYS}", "psychrolib under numba",
        pair(humidity, compiled("GetRelHumFromTDewPoint")), "more"),
    Row("humidity_psychrolib", f"humidity {SAYS}", "psychrolib without numba",
        pair(humidity, one_by_one("GetRelHumFromTDewPoint")), "more"),
    Row("humidity_log_exp", f"humidity {SAYS}", "numpy.log and numpy.exp", pair(humidity, log_exp), "less",
        guard=True),
    Row("sun_position", "where the sun stands, 200,000 instants", "pvlib, NREL SPA",
        pair(sun_position, pvlib_position), "more", guard=True),
    Row("surface_scalar", f"surface temperature and water, {MEMBERS} members, 16 days", "plain loops",
        pair(surfaces, surfaces_in_loops), "more"),
    Row("surface_air", f"surface temperature and water, {MEMBERS} members, 16 days", "humidity and dew point of it",
        pair(surfaces, air_alone), "less", guard=True),
    Row("surface_faces", "20 faces at once, one forecast of 16 days", "one after the other",
        pair(faces_at_once, faces_one_by_one), "less", bar=1.0),
    Row("stage_scalar", f"completion of a stage from every start, {MEMBERS} members", "plain loops",
        pair(films, films_in_loops), "more"),
)  # fmt: skip
