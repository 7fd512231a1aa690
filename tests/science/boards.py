"""The board, and the weather over it, that the tests of the heat balance share."""

import math

import numpy as np
from hypothesis import strategies as st

from dryspell.science.air import relative_humidity
from dryspell.science.surface import Exposure, sky_longwave, steady_temperature

SIGMA = 5.670374419e-8
START = np.datetime64("2024-05-01T12:00:00", "s")

WEATHER = {
    "air_c": st.floats(-25, 40),
    "spread_k": st.floats(0, 25),
    "wind": st.floats(0, 20),
    "sun": st.floats(0, 1100),
    "cloud": st.floats(0, 1),
    "view": st.floats(0, 1),
    "absorptance": st.floats(0, 1),
    "back": st.floats(0, 10),
}


def face(**changes):
    """Return a 20 mm board that lies open under the sky, with changes."""
    figures = {
        "tilt_deg": 0.0,
        "facing_deg": 180.0,
        "sky_view": 1.0,
        "absorptance": 0.65,
        "heat_capacity_j_m2_k": 21e3,
        "back_conductance_w_m2_k": 4.0,
        "wet_absorbs_mm": 0.3,
    }
    return Exposure(**(figures | changes))


INSULATED = {"back_conductance_w_m2_k": 0.0}


def instants(hours, step_s=900):
    return START + np.arange(int(hours * 3600 / step_s) + 1) * np.timedelta64(step_s, "s")


def clear_day(times, *, dew_c=8.0, mean_c=15.0, swing_k=6.0, wind=1.0, sun=850.0, cloud=0.0):
    """Return air, dew point, wind, sun on level ground and sky: smooth, the sun up from 06 to 18, warmest at 15."""
    hour = (times - times.astype("datetime64[D]")) / np.timedelta64(1, "h")
    air = mean_c + swing_k * np.cos(2 * np.pi * (hour - 15) / 24)
    dew = np.minimum(np.full_like(air, dew_c), air)
    plane = sun * np.maximum(np.sin(2 * np.pi * (hour - 6) / 24), 0.0) ** 1.3
    sky = sky_longwave(air, relative_humidity(air, dew), np.full_like(air, cloud))
    return air, dew, np.full_like(air, wind), plane, sky


def plain_course(times, weather, exposure, rain):
    """Solve the same differential equation step by step in 5 s strides, everything written out anew."""
    seconds = (times - times[0]) / np.timedelta64(1, "s")
    stride = 5.0
    moments = np.arange(0.0, seconds[-1] + stride, stride)
    air, dew, wind, sun, sky = (np.interp(moments, seconds, column).tolist() for column in weather)
    falling = (np.append(rain[1:] / np.diff(seconds), 0.0))[
        np.clip(np.searchsorted(seconds, moments, side="right") - 1, 0, seconds.size - 1)
    ].tolist()
    gamma = 0.665e-3 * 1013.25
    t, water = float(steady_temperature(air[0], dew[0], wind[0], sun[0], sky[0], exposure)), 0.0
    temperatures, waters = [], []
    for k in range(moments.size):
        temperatures.append(t)
        waters.append(water)
        h = 4.0 + 4.0 * wind[k]
        vapour = 6.112 * math.exp(17.62 * dew[k] / (243.12 + dew[k]))
        kg_s = h / gamma * (6.112 * math.exp(17.62 * t / (243.12 + t)) - vapour) / 2.45e6
        kg_s = min(kg_s, water / stride + falling[k])
        heat = (
            exposure.absorptance * sun[k]
            + 0.9 * exposure.sky_view * (sky[k] - SIGMA * (t + 273.15) ** 4)
            + 0.9 * (1 - exposure.sky_view) * SIGMA * ((air[k] + 273.15) ** 4 - (t + 273.15) ** 4)
            - (h + exposure.back_conductance_w_m2_k) * (t - air[k])
            - 2.45e6 * kg_s
        )
        t += heat * stride / exposure.heat_capacity_j_m2_k
        water = min(water + (falling[k] - kg_s) * stride, exposure.wet_absorbs_mm)
    stops = (seconds / stride).round().astype(int)
    return np.array(temperatures)[stops], np.array(waters)[stops]
