"""A cover that goes on by the clock: what it keeps off, what need not be known under it, and what it saves."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from dryspell.outlook import words
from dryspell.outlook.conditions import conditions_at, face_weather, needed_variables
from dryspell.outlook.cover import cover_times
from dryspell.outlook.model import Limit
from dryspell.outlook.outlook import make_outlook
from dryspell.weather.table import WeatherTable
from outlook.build import MONDAY, built, piece, site, weather

BY_NIGHT = {"cover": ["17:00-09:00"]}
CLEAR = weather(cloud=0, air=(8, 20))


def at(c, hour):
    return int(np.searchsorted(c.times, np.datetime64((MONDAY + timedelta(hours=hour)).replace(tzinfo=None))))


def by_hours(c, first, last):
    return slice(at(c, first), at(c, last) + 1)


def test_by_night_a_covered_deck_keeps_to_the_air_and_by_day_it_lies_open():
    covered, bare = (conditions_at(piece(**changes), site(), CLEAR) for changes in (BY_NIGHT, {}))
    night, noon = by_hours(bare, 19, 32), by_hours(bare, 11, 16)
    assert bare.surface_c[0, night].min() < bare.air_c[0, night].min() - 2.0
    # A board behind follows the air by some 25 minutes: of a wave of 6 K a day, 2 pi / 24 x 6 x 0.42 = 0.66 K.
    assert np.abs(covered.surface_c[0, night] - covered.air_c[0, night]).max() < 0.7
    np.testing.assert_allclose(covered.surface_c[0, noon], bare.surface_c[0, noon], atol=0.05)


def test_the_night_of_a_cover_by_the_clock_is_that_of_the_shelter_it_stands_for():
    by_clock, always = (conditions_at(piece(**changes), site(), CLEAR) for changes in (BY_NIGHT, {"shelter": "cover"}))
    night = by_hours(always, 20, 32)
    np.testing.assert_allclose(by_clock.surface_c[0, night], always.surface_c[0, night], atol=0.05)
    np.testing.assert_allclose(by_clock.wind_m_s[0, night], always.wind_m_s[0, night], rtol=1e-12)


def test_under_it_there_is_no_sun_and_no_rain_and_a_fifth_of_the_wind():
    table = weather(cloud=0, air=(8, 20), rain=[(3, 24, 1.0)])
    bare, covered = (face_weather(piece(**changes), site(), table) for changes in ({}, {"cover": "06:00-12:00"}))
    on, off = by_hours(bare, 6.25, 11.75), by_hours(bare, 12.25, 17)
    assert bare.plane_w_m2[0, by_hours(bare, 7, 11)].min() > 100.0
    assert not covered.plane_w_m2[0, on].any()
    assert not covered.rain_mm[0, on].any()
    np.testing.assert_allclose(covered.wind_10m_m_s[0, on], 0.2 * bare.wind_10m_m_s[0, on])
    for name in ("plane_w_m2", "rain_mm", "wind_10m_m_s", "sky_w_m2"):
        np.testing.assert_array_equal(getattr(covered, name)[0, off], getattr(bare, name)[0, off])
    # What falls is shared out by quarters of an hour, and no more of it is kept off than falls in the six hours.
    assert (bare.rain_mm - covered.rain_mm)[0, 1:].sum() == pytest.approx(6.0)


def test_sky_and_surroundings_under_it_are_one():
    covered = face_weather(piece(**BY_NIGHT), site(), CLEAR)
    night = by_hours(covered, 18, 32)
    # Stefan-Boltzmann, from memory
    around = 5.670374419e-8 * (covered.air_c[0, night] + 273.15) ** 4
    np.testing.assert_allclose(covered.sky_w_m2[0, night], around, rtol=1e-9)


@pytest.mark.parametrize(
    ("day", "hours"),
    [
        # The clocks go forward in the night to 29 March 2026, and back in that to 25 October.
        (datetime(2026, 3, 28, tzinfo=UTC), 15),
        (datetime(2026, 10, 24, tzinfo=UTC), 17),
        (datetime(2026, 6, 6, tzinfo=UTC), 16),
    ],
)
def test_it_keeps_to_the_clock_on_the_wall(day, hours):
    grid = np.datetime64(day.replace(tzinfo=None), "s") + np.arange(48, 148) * np.timedelta64(900, "s")
    on = cover_times(piece(**BY_NIGHT), site(timezone="Europe/Berlin"), grid)
    local = [datetime.fromisoformat(f"{time}+00:00").astimezone(ZoneInfo("Europe/Berlin")) for time in grid[on.cells]]
    assert (f"{local[0]:%H:%M}", f"{local[-1]:%H:%M}") == ("17:15", "09:00")
    assert on.cells.sum() == 4 * hours
    # At the instants at which it goes on and comes off a brush may still, or again, be at the piece.
    assert on.shuts_out.sum() == 4 * hours - 1


def with_holes(name, hours):
    table = weather(cloud=100, air=(14, 20))
    columns = {key: np.array(column) for key, column in table.columns.items()}
    columns[name][0, hours] = np.nan
    return WeatherTable(table.times, columns, source="invented", issued_at=MONDAY)


@pytest.mark.parametrize("name", ["precipitation_amount", "cloud_area_fraction"])
def test_what_it_keeps_off_need_not_be_known_under_it(name):
    table = with_holes(name, range(19, 31))
    bare, covered = (conditions_at(piece(**changes), site(), table) for changes in ({}, BY_NIGHT))
    night = by_hours(bare, 20, 29)
    assert not bare.known[0, night].any()
    assert covered.known[0, night].all()
    assert covered.given[name][night].all()
    assert (
        not conditions_at(piece(**BY_NIGHT), site(), with_holes(name, range(10, 14)))
        .known[0, by_hours(bare, 11, 12)]
        .any()
    )


def test_what_is_needed_is_what_the_open_hours_need_and_the_air_at_all_hours():
    assert needed_variables(piece(**BY_NIGHT), CLEAR) == needed_variables(piece(), CLEAR)
    covered = conditions_at(piece(**BY_NIGHT), site(), with_holes("air_temperature", range(19, 31)))
    assert not covered.known[0, by_hours(covered, 20, 29)].any()


def test_gusts_and_the_chance_of_rain_are_kept_off_too():
    table = weather(cloud=100, air=(14, 20))
    more = {"wind_speed_of_gust": 12.0, "probability_of_precipitation": 60.0}
    columns = {**table.columns, **{name: np.full((1, table.times.size), value) for name, value in more.items()}}
    c = conditions_at(piece(**BY_NIGHT), site(), WeatherTable(table.times, columns, source="x", issued_at=MONDAY))
    assert c.rain_chance_pct[0, at(c, 22)] == 0.0
    assert c.rain_chance_pct[0, at(c, 12)] == 60.0
    # 12 m/s of gust is 8 of wind; half of it reaches the piece, and a fifth of that under the cover.
    assert c.wind_m_s[0, at(c, 12)] == pytest.approx(4.0)
    assert c.wind_m_s[0, at(c, 22)] == pytest.approx(0.8)


class TestDewThatWouldSpoilTheFilm:
    """A clear calm night after a veiled day, on a white deck: bare, a coat of the afternoon meets its dew."""

    table = weather(days=4, air=(11.0, 17.0), dew_c=7.5, wind=1.0, cloud=np.repeat([95.0, 0.0, 95.0], [18, 12, 67]))
    three = MONDAY + timedelta(hours=15)

    def look(self, now=three, **changes):
        deck = piece(colour="white", **changes)
        return make_outlook(deck, site(), built(), [], self.table, now, stale_after_h=120)

    def test_a_cover_from_five_on_makes_it_work_and_the_window_says_what_it_is_for(self):
        bare = self.look()
        assert (bare.word, bare.reason.limit) == ("wait", Limit.MARGIN_HOLD)
        covered = self.look(**BY_NIGHT)
        assert covered.word == "coat"
        window = words.open_window(covered)
        assert window.cover_on_by == MONDAY + timedelta(hours=17)
        assert (window.without_cover.limit, window.without_cover.bound) == (Limit.MARGIN_HOLD, 1.0)
        assert window.without_cover.value < 1.0 < window.margin_hold_k
        assert words.verdict(covered).endswith(", cover on by 17:00")
        text = words.cover_text(window, UTC, on=self.three)
        assert text.startswith("cover on by 17:00; without it ")
        assert "dew" in text

    def test_a_coat_begun_in_the_morning_does_without_it_and_one_begun_later_does_not(self):
        nine = MONDAY + timedelta(hours=9)
        early = self.look(now=nine, **BY_NIGHT)
        window = early.windows[0]
        # A coat that is dew-safe by the dew's hour needs none: on the bare deck it is the last good start.
        assert window.bare_until == self.look(now=nine).windows[0].begin_by
        assert window.start < window.bare_until < window.last_start
        assert "cover" not in words.verdict(early)
        assert f"for a coat begun after {window.bare_until:%H:%M}; without it" in words.cover_text(window, UTC, on=nine)

    def test_a_window_of_starts_that_all_do_without_it_says_nothing_of_it(self):
        window = self.look(now=MONDAY + timedelta(hours=8), **BY_NIGHT, hours="08:00-10:15").windows[0]
        assert (window.cover_on_by, window.without_cover, window.bare_until) == (None, None, None)
        assert words.cover_text(window, UTC) == ""

    def test_nobody_brushes_under_it(self):
        covered = self.look(**BY_NIGHT)
        blocks = [block for block in covered.blocks if block.reason.limit is Limit.COVER]
        tomorrow = MONDAY + timedelta(days=1)
        # An hour's brushing begun after four would run under the cover; work begins at seven, the cover is off at nine.
        assert blocks[0].start == MONDAY + timedelta(hours=16, minutes=15)
        assert any(
            block.start >= tomorrow + timedelta(hours=7) and block.end <= tomorrow + timedelta(hours=9)
            for block in blocks
        )
        for window in covered.windows:
            for stroke in (window.start, window.tight_until):
                assert 9 <= stroke.hour + stroke.minute / 60 <= 17

    def test_before_it_comes_off_the_verdict_is_to_wait_for_that(self):
        eight = self.look(now=MONDAY + timedelta(hours=8), **BY_NIGHT, after_sunrise="0 h")
        assert (eight.word, eight.reason.limit) == ("wait", Limit.COVER)
        assert eight.reason.at == MONDAY + timedelta(hours=9)
        assert words.why(eight) == ("the cover is on, or goes on before the last stroke; room to brush from 09:00")


def test_the_cover_of_the_night_before_keeps_off_the_dew_of_the_morning():
    table = weather(days=3, cloud=0, air=(6, 16), dew_c=6.5, wind=1.0)
    nine = MONDAY + timedelta(days=1, hours=9)
    deck = {"colour": "white", "hours": "07:00-12:00", "after_sunrise": "0 h"}
    bare, covered = (
        make_outlook(piece(**deck, **changes), site(), built(), [], table, nine, stale_after_h=120)
        for changes in ({}, {"cover": "16:00-09:00"})
    )
    assert bare.reason.limit is Limit.DRY
    assert covered.word in ("coat", "tight")
    window = covered.windows[0]
    assert (window.without_cover.limit, window.cover_on_by) == (Limit.DRY, None)
    assert words.cover_text(window, UTC, on=nine).startswith(
        "the cover has kept it dry; without it surface wet with dew or rain until "
    )
