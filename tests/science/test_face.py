import math

import pytest

from science.boards import face


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("tilt_deg", 200.0),
        ("facing_deg", math.nan),
        ("sky_view", 1.1),
        ("sky_view", -0.1),
        ("absorptance", 65.0),
        ("emissivity", 0.0),
        ("heat_capacity_j_m2_k", 0.0),
        ("back_conductance_w_m2_k", -1.0),
        ("back", "ground"),
        ("indoor_c", 293.0),
        ("convection", (4.0,)),
        ("convection", (4.0, -1.0)),
        ("wind_factor", -0.5),
        ("wet_absorbs_mm", -0.1),
        ("evaporating_share", 2.0),
    ],
)
def test_a_figure_that_cannot_be_is_refused_by_its_name(field, value):
    with pytest.raises(ValueError, match=f"^{field} is"):
        face(**{field: value})


def test_an_upright_face_cannot_see_the_whole_sky():
    with pytest.raises(ValueError, match=r"sky_view is 0.8, but a face tilted 90 deg sees 0.5 at most"):
        face(tilt_deg=90.0, sky_view=0.8)
