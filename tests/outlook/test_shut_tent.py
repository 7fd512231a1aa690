"""The sun on a tent or shed that is shut by day: as hot as under clear film or not warmed at all, and both must do."""

from datetime import datetime, timedelta

import numpy as np
import pytest

from dryspell.outlook.conditions import conditions_at, face_weather, needed_variables
from dryspell.outlook.exposure import SHELTERS
from dryspell.outlook.model import Limit
from dryspell.outlook.outlook import make_outlook
from outlook.build import MONDAY, built, piece, site, weather

HOT = (Limit.AIR_HIGH, Limit.SURFACE_HIGH)
TENT = {"shelter": "tent", "after_sunrise": "0 h"}
TEN = MONDAY + timedelta(hours=10)


def look(table, now=TEN, **changes):
    return make_outlook(piece(**TENT | changes), site(), built(), [], table, now, stale_after_h=120)


def starts(outlook):
    quarter = timedelta(minutes=15)
    return {
        window.start + k * quarter
        for window in outlook.windows
        for k in range(int((window.last_start - window.start) / quarter) + 1)
    }


def test_a_shut_tent_of_film_gets_as_warm_on_a_december_noon_as_a_gardener_read():
    # 20 degC in a shut tunnel in Wales, at 13:00 on 20 December 2009, 3 degC outside (what-when-how.com, tutorial topic
    # 10335f3). The day was clear, as far as one may guess.
    noon = datetime.fromisoformat("2009-12-20T00:00:00+00:00")
    table = weather(days=1, start=noon, air=(3.0, 3.0), dew_c=0.0, cloud=0)
    w = face_weather(piece(shut_by_day=True, **TENT), site(latitude="52.4 deg", longitude="-4.0 deg"), table)
    warm = w.air_c[1, np.searchsorted(w.times, np.datetime64("2009-12-20T13:00"))]
    assert warm == pytest.approx(20.0, abs=4.0)
    np.testing.assert_allclose(w.air_c[0], 3.0)


def test_in_hard_sun_it_passes_forty_degrees_by_noon():
    # Common practice, no source: under clear plastic in sun the inside can pass 40 degC by noon.
    june = datetime.fromisoformat("2026-06-20T00:00:00+00:00")
    w = face_weather(piece(shut_by_day=True, **TENT), site(), weather(days=1, start=june, air=(12, 20), cloud=0))
    assert 40.0 < w.air_c[1, 48] < 60.0


def test_a_heated_film_in_a_shut_tent_in_hard_sun_is_refused_for_the_heat_and_goes_on_where_it_is_opened():
    table = weather(cloud=0, air=(6, 14), dew_c=4.0)
    opened, shut = (look(table, heat="6 K", shut_by_day=shut) for shut in (False, True))
    assert opened.word == "coat"
    assert (shut.word, shut.reason.limit in HOT) == ("wait", True)
    assert shut.reason.value > 35.0
    assert shut.weather.members == 1
    assert all(window.probability is None for window in shut.windows)


@pytest.mark.parametrize("shelter", ["tent", "shed"])
@pytest.mark.parametrize("cloud", [0, 60, 100])
@pytest.mark.parametrize("air", [(2, 9), (8, 16), (14, 24)])
def test_a_shut_one_never_lets_a_coat_go_on_that_an_opened_one_does_not(shelter, cloud, air):
    table = weather(days=3, cloud=cloud, air=air, dew_c=air[0] - 1.0)
    opened, shut = (look(table, now=MONDAY, shelter=shelter, shut_by_day=shut) for shut in (False, True))
    assert starts(shut) <= starts(opened)


def test_a_shed_is_warmed_less_and_later_than_a_tent():
    table = weather(days=2, cloud=0, air=(8, 16))
    tent, shed = (
        face_weather(piece(shelter=shelter, shut_by_day=True), site(), table).air_c[1] for shelter in ("tent", "shed")
    )
    outdoors = face_weather(piece(), site(), table).air_c[0]
    assert (tent - outdoors).max() > 2.0 * (shed - outdoors).max() > 4.0
    assert np.argmax(shed[:96]) > np.argmax(tent[:96])


def test_what_a_sensor_found_goes_before_what_is_usual_and_leaves_one_way():
    # The mirror of a sine: behind it by atan(w lag) and flattened by cos of that (Newton's cooling, exact).
    table = weather(days=8, air=(8, 16), dew_c=5.0, cloud=0)
    told = {"shelter": "shed", "shut_by_day": True, "lag": "6 h", "sun_warmth": "0 K m^2/kW"}
    w = face_weather(piece(**told), site(), table)
    assert w.air_c.shape[0] == 1
    last = w.air_c[0, -96:]
    behind = np.arctan(2 * np.pi / 24 * 6.0)
    assert np.ptp(last) / 2 == pytest.approx(4.0 * np.cos(behind), abs=0.05)
    assert np.argmax(last) / 4 == pytest.approx(14.0 + behind * 24 / (2 * np.pi), abs=0.5)
    warmed = face_weather(piece(**told | {"sun_warmth": "6 K m^2/kW"}), site(), table).air_c
    twice = face_weather(piece(**told | {"sun_warmth": "12 K m^2/kW"}), site(), table).air_c
    np.testing.assert_allclose(twice - w.air_c, 2 * (warmed - w.air_c), atol=1e-9)
    assert (warmed - w.air_c).max() > 1.0


def test_air_that_is_changed_more_seldom_keeps_its_vapour_longer():
    table = weather(days=2, dew_c=np.where(np.arange(49) < 24, 8.0, 0.0))
    slow, usual = (
        face_weather(piece(shelter="shed", **more), site(), table).dew_point_c[0]
        for more in ({"air_changes": "0.1 / hour"}, {})
    )
    at = 4 * 28
    assert slow[at] > usual[at] + 3.0


def test_where_the_sun_does_not_come_it_is_not_warmed_by_its_beam():
    table = weather(days=1, cloud=0, air=(12, 12), dew_c=5.0)

    def warmed(**changes):
        tent = piece(shut_by_day=True, **TENT | changes)
        return (face_weather(tent, site(), table).air_c[1] - 12.0).max()

    walled = warmed(horizon={"S": "80 deg"})
    assert 0.0 < walled < 0.3 * warmed()
    assert warmed(sun="06:00-06:30") < 0.3 * warmed()
    assert warmed(sky="50 %") < warmed()
    shaded = face_weather(piece(shut_by_day=True, **TENT), site(), table, shaded=True).air_c[1]
    np.testing.assert_allclose((shaded - 12.0).max(), walled)


def test_it_needs_to_know_the_sun_or_the_cloud():
    assert "cloud_area_fraction" in needed_variables(piece(shut_by_day=True, **TENT), weather())
    assert "cloud_area_fraction" not in needed_variables(piece(**TENT), weather())
    c = conditions_at(piece(shut_by_day=True, **TENT), site(), weather(cloud=np.nan))
    assert not c.known.any()


def test_gusts_and_rain_are_alike_both_ways():
    c = conditions_at(piece(shut_by_day=True, **TENT), site(), weather())
    assert c.wind_m_s.shape == c.air_c.shape == (2, c.times.size)
    np.testing.assert_array_equal(c.wind_m_s[0], c.wind_m_s[1])
    assert not c.rain_mm.any()


def test_only_what_has_air_of_its_own_is_warmed_by_the_sun():
    assert {key for key, shelter in SHELTERS.items() if shelter.shut_sun_k_m2_w} == {
        key for key, shelter in SHELTERS.items() if shelter.air_changes_per_h
    }
