"""Several faces solved at once are each of them solved alone."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryspell.science import course
from dryspell.science.balance import energy_residual, heat_balance, steady_temperature
from dryspell.science.face import Exposure, Faces
from dryspell.science.surface import solve, surface_temperature
from science.boards import clear_day, face, instants, plain_course

FACE = st.builds(
    face,
    sky_view=st.floats(0, 1),
    absorptance=st.floats(0, 0.95),
    emissivity=st.floats(0.7, 1),
    heat_capacity_j_m2_k=st.floats(3e3, 60e3),
    back_conductance_w_m2_k=st.floats(0, 8),
    back=st.sampled_from(["air", "indoor", "mean_air"]),
    indoor_c=st.floats(5, 25),
    convection=st.tuples(st.floats(3, 6), st.floats(0, 6)),
    stable_share=st.sampled_from([1.0, 0.4]),
    wind_factor=st.floats(0.1, 1),
    wet_absorbs_mm=st.sampled_from([0.0, 0.1, 0.3]),
    evaporating_share=st.sampled_from([0.0, 0.0, 0.3]),
)
FACES = st.lists(FACE, min_size=1, max_size=5)


def some_faces(count, seed=7):
    """Return faces of every kind."""
    rng = np.random.default_rng(seed)
    return [
        face(
            sky_view=rng.uniform(),
            absorptance=rng.uniform(),
            emissivity=rng.uniform(0.7, 1.0),
            heat_capacity_j_m2_k=rng.uniform(3e3, 60e3),
            back_conductance_w_m2_k=rng.uniform(0, 8),
            back=("air", "indoor", "mean_air")[k % 3],
            convection=(rng.uniform(3, 6), rng.uniform(0, 6)),
            stable_share=(1.0, 0.4)[k % 2],
            wind_factor=rng.uniform(0.1, 1.0),
            wet_absorbs_mm=(0.1, 0.3)[k % 2],
            evaporating_share=(0.0, 0.0, 0.0, 0.3)[k % 4],
        )
        for k in range(count)
    ]


def days(shape, times, seed, *, gaps=0.0):
    """Return air, dew point, wind, sun, sky and rain of a shape: days with dew, some showers, and gaps if wanted."""
    rng = np.random.default_rng(seed)
    air, dew, wind, sun, sky = (np.broadcast_to(column, shape).copy() for column in clear_day(times, dew_c=9.0))
    each = (*shape[:-1], 1)
    air += rng.normal(0, 2, each)
    dew = np.minimum(dew + rng.normal(0, 2, each), air)
    columns = [air, dew, wind * rng.uniform(0, 4, each), sun * rng.uniform(0, 1.2, each), sky]
    columns.append(np.where(rng.uniform(size=shape) < 0.04, rng.exponential(0.3, shape), 0.0))
    for column in columns:
        column[rng.uniform(size=shape) < gaps] = np.nan
    return columns


def of_piece(column, piece):
    """Return what a piece alone is given of a column."""
    return column[piece] if column.ndim == 3 and column.shape[0] > 1 else column.reshape(column.shape[-2:])


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_faces_at_once_are_the_faces_one_at_a_time(data):
    faces = data.draw(FACES)
    pieces, members, times = (
        len(faces),
        data.draw(st.integers(1, 3)),
        instants(data.draw(st.sampled_from([0, 0.25, 30]))),
    )
    gaps = data.draw(st.sampled_from([0.0, 0.0, 0.01]))
    # Each column is the same for all, or one for each member, each piece, or each member of each piece.
    shapes = [(times.size,), (members, times.size), (pieces, 1, times.size), (pieces, members, times.size)]
    every = days((pieces, members, times.size), times, data.draw(st.integers(0, 999)), gaps=gaps)
    dry = data.draw(st.booleans())
    columns = []
    for column in every:
        shape = data.draw(st.sampled_from(shapes))
        columns.append(column[tuple(slice(n) for n in (1,) * (3 - len(shape)) + shape)].reshape(shape))
    columns[1] = np.minimum(columns[1], np.nan_to_num(columns[0], nan=99.0).min())
    rain = None if dry else columns.pop()
    start = data.draw(st.sampled_from([np.array(0.0), np.array(0.2), np.linspace(0, 0.3, members)]))

    found = solve(times, *columns[:5], faces, rain_mm=rain, start_water_mm=start)
    for piece, alone in enumerate(faces):
        own = [of_piece(np.atleast_2d(column), piece) for column in columns[:5]]
        fallen = None if rain is None else of_piece(np.atleast_2d(rain), piece)
        expected = solve(times, *own, alone, rain_mm=fallen, start_water_mm=start)
        assert np.nanmax(found.water_mm[piece], initial=0.0) <= alone.wet_absorbs_mm
        for name in ("temperature_c", "water_mm"):
            got, wanted = getattr(found, name)[piece], getattr(expected, name)
            np.testing.assert_allclose(got, np.broadcast_to(wanted, got.shape), rtol=0, atol=1e-9)


@pytest.mark.parametrize("gaps", [0.0, 0.002])
@pytest.mark.parametrize("at_a_time", [384, 1, 10**6])
def test_more_faces_and_members_than_go_at_a_time_make_no_difference(monkeypatch, at_a_time, gaps):
    times, faces = instants(25), some_faces(20)
    columns = days((10, times.size), times, 3, gaps=gaps)
    alone = [solve(times, *columns[:5], one, rain_mm=columns[5]) for one in faces]
    assert len(faces) * 10 * -(-(times.size - 1) // course._STEPS_IN_PIECE) > course._PIECES_AT_A_TIME
    monkeypatch.setattr(course, "_PIECES_AT_A_TIME", at_a_time)
    found = solve(times, *columns[:5], faces, rain_mm=columns[5])
    assert (found.water_mm > 0).any()
    for name in ("temperature_c", "water_mm"):
        wanted = np.stack([getattr(state, name) for state in alone])
        np.testing.assert_allclose(getattr(found, name), wanted, rtol=0, atol=1e-9)


def test_boards_side_by_side_agree_with_a_plain_march_in_seconds():
    times = instants(24)
    weather = clear_day(times, dew_c=9.0)
    rain = np.zeros(times.size)
    rain[56:58] = 0.25
    faces = [
        face(),
        face(heat_capacity_j_m2_k=45e3, sky_view=0.5, wet_absorbs_mm=0.1),
        face(absorptance=0.25, back_conductance_w_m2_k=1.0),
    ]
    found = solve(times, *weather, faces, rain_mm=rain).temperature_c[:, 0]
    plain = np.stack([plain_course(times, weather, one, rain)[0] for one in faces])
    rms = np.sqrt(np.mean((found - plain) ** 2, axis=1)).max()
    assert rms < 0.05


@settings(deadline=None)
@given(FACES, st.lists(st.booleans(), min_size=5, max_size=5), st.integers(0, 999))
def test_energy_closes_where_faces_side_by_side_are_settled(faces, wet, seed):
    *weather, _ = days((2, 9), instants(2), seed)
    wet = np.reshape(wet[: len(faces)], (-1, 1, 1))
    found = steady_temperature(*weather, faces, wet=wet)
    assert found.shape == (len(faces), 2, 9)
    assert np.abs(energy_residual(found, *weather, faces, wet=wet)).max() < 1e-6
    for piece, alone in enumerate(faces):
        expected = steady_temperature(*weather, alone, wet=wet[piece])
        np.testing.assert_allclose(found[piece], expected, rtol=0, atol=1e-9)


def test_the_heat_of_a_day_is_all_accounted_for_in_every_face():
    times, faces = instants(24, 60), [one for one in some_faces(9) if one.back != "mean_air"]
    *weather, _ = days((times.size,), times, 5)
    weather[1] = np.full(times.size, -30.0)
    faces = [Exposure(**(vars(one) | {"evaporating_share": 0.0, "stable_share": 1.0})) for one in faces]
    found = surface_temperature(times, *weather, faces)
    taken = energy_residual(found, *weather, faces)
    capacity = Faces.of(faces).heat_capacity_j_m2_k
    through = np.cumsum((taken[..., 1:] + taken[..., :-1]) / 2 * 60, axis=-1) / capacity
    np.testing.assert_allclose((found - found[..., :1])[..., 1:], through, atol=0.02)


def test_each_back_is_its_own_beside_the_others():
    kinds = [face(back=back, indoor_c=30.0) for back in ("mean_air", "air", "indoor")]
    found = heat_balance(10.0, 5.0, 1.0, 0.0, 300.0, kinds)
    gain = [float(heat_balance(10.0, 5.0, 1.0, 0.0, 300.0, one).gain_w_m2) for one in kinds]
    assert found.gain_w_m2.ravel().tolist() == gain
    assert gain[2] == pytest.approx(gain[1] + 4.0 * 20.0)
    told = heat_balance(10.0, 5.0, 1.0, 0.0, 300.0, kinds, back_c=[[[1.0]], [[2.0]], [[3.0]]]).gain_w_m2.ravel()
    assert np.diff(told).tolist() == pytest.approx([4.0, 4.0])


@pytest.mark.parametrize(
    ("weather", "one", "several"),
    [
        ((), (97,), (2, 1, 97)),
        ((97,), (97,), (2, 1, 97)),
        ((1, 97), (1, 97), (2, 1, 97)),
        ((3, 97), (3, 97), (2, 3, 97)),
        ((3, 1), (3, 97), (2, 3, 97)),
        ((2, 1, 97), (2, 1, 97), (2, 1, 97)),
        ((2, 3, 97), (2, 3, 97), (2, 3, 97)),
    ],
)
def test_one_face_has_the_shape_of_its_weather_and_several_have_one_more_axis(weather, one, several):
    air = np.full(weather, 15.0)
    times, rest = instants(24), (8.0, 1.0, 0.0, 310.0)
    for exposure, shape in ((face(), one), ([face(), face()], several), (Faces.of([face()] * 2), several)):
        state = solve(times, air, *rest, exposure, rain_mm=0.0)
        assert state.temperature_c.shape == state.water_mm.shape == shape
    assert solve(times, np.full(97, 15.0), *rest, [face()]).temperature_c.shape == (1, 1, 97)
    assert steady_temperature(15.0, *rest, face()).shape == ()
    assert steady_temperature(15.0, *rest, [face(), face()]).shape == (2, 1, 1)


WEATHER = {"air_c": 15.0, "dew_point_c": 8.0, "wind_10m_m_s": 1.0, "plane_w_m2": 0.0, "sky_w_m2": 310.0}


@pytest.mark.parametrize("exposure", [face(), [face(), face()]])
@pytest.mark.parametrize("name", [*WEATHER, "pressure_hpa", "rain_mm"])
def test_weather_for_other_instants_is_refused_by_its_name(exposure, name):
    value = {"pressure_hpa": 1000.0, "rain_mm": 0.0} | WEATHER
    with pytest.raises(ValueError, match=rf"^{name} has the shape \(8,\), which does not fit \(.*9,?\)"):
        solve(instants(2), exposure=exposure, **(WEATHER | {name: np.full(8, value[name])}))


@pytest.mark.parametrize("name", [*WEATHER, "pressure_hpa", "rain_mm"])
def test_weather_for_other_pieces_is_refused_by_its_name(name):
    value = {"pressure_hpa": 1000.0, "rain_mm": 0.0} | WEATHER
    with pytest.raises(ValueError, match=rf"^{name} has the shape \(3, 1, 9\)"):
        solve(instants(2), exposure=[face(), face()], **(WEATHER | {name: np.full((3, 1, 9), value[name])}))


def test_water_of_other_members_is_refused_by_its_name():
    air = np.full((2, 9), 15.0)
    for exposure in (face(), [face(), face()]):
        with pytest.raises(ValueError, match=r"^start_water_mm has the shape"):
            solve(instants(2), exposure=exposure, **(WEATHER | {"air_c": air}), start_water_mm=[0.1, 0.1, 0.1])


@pytest.mark.parametrize(("name", "call"), [("wet", steady_temperature), ("surface_c", energy_residual)])
def test_what_is_told_of_other_pieces_is_refused_by_its_name(name, call):
    for of_faces, told in (([face(), face()], np.zeros((3, 1, 1))), (face(), np.zeros(3))):
        weather = WEATHER | {"wind_10m_m_s": [1.0, 2.0]}
        with pytest.raises(ValueError, match=f"^{name} has the shape"):
            call(exposure=of_faces, **weather, **{name: told})


def test_the_weather_of_more_instants_than_one_is_refused_where_there_is_one():
    with pytest.raises(ValueError, match=r"^times_utc has one instant, where the weather has 4"):
        solve(instants(0), exposure=face(), **(WEATHER | {"air_c": np.full(4, 15.0)}))


@pytest.mark.parametrize("call", [steady_temperature, heat_balance])
def test_no_face_at_all_is_refused(call):
    with pytest.raises(ValueError, match=r"^exposure is empty; wanted a face, or several"):
        call(**WEATHER, exposure=[])


def test_a_balance_of_faces_has_the_shape_of_its_columns_together():
    assert heat_balance(15.0, np.full((3, 1), 8.0), 1.0, 0.0, 310.0, [face(), face()]).shape == (2, 3, 1)
