"""The vectorised course of a face against plain loops that take one step after the other."""

import numpy as np
import pytest

from bench.reference.surface import march
from dryspell.science.surface import solve
from science.boards import clear_day, face, instants


@pytest.mark.parametrize("capacity", [8e3, 21e3, 45e3])
@pytest.mark.parametrize("dew_c", [-5.0, 9.0])
@pytest.mark.parametrize("showers", [(), (56,), (40, 100)])
def test_a_face_is_as_warm_and_as_wet_as_plain_loops_have_it(capacity, dew_c, showers):
    times = instants(72)
    weather = clear_day(times, dew_c=dew_c)
    rain = np.zeros(times.size)
    for at in showers:
        rain[at : at + 2] = 0.25
    exposure = face(heat_capacity_j_m2_k=capacity)
    found = solve(times, *weather, exposure, rain_mm=rain)
    temperatures, waters = march(900.0, [column.tolist() for column in weather], rain.tolist(), exposure)
    assert (np.max(waters) > 0.01) == (bool(showers) or dew_c > 0)
    np.testing.assert_allclose(found.temperature_c, temperatures, atol=1e-3)
    np.testing.assert_allclose(found.water_mm, waters, atol=1e-5)
