"""What is said of an outlook. Sentences are checked whole: they are the product a finisher meets."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.outlook import words
from dryspell.outlook.model import Limit, Outlook, Provenance, Reason, Stages, Window

BERLIN = ZoneInfo("Europe/Berlin")
NOW = datetime(2026, 9, 3, 6, 0, tzinfo=UTC)  # Thursday, 08:00 in Berlin
EVENING = datetime(2026, 9, 3, 18, 15, tzinfo=UTC)


def reason(limit, value=None, bound=None, unit="", at=EVENING):
    return Reason(limit=limit, value=value, bound=bound, unit=unit, at=at)


def window(start=NOW, hours=4, **changes):
    last = start + timedelta(hours=hours)
    plain = Window(
        start=start,
        last_start=last - timedelta(hours=1),
        good_from=start,
        brush_down_by=last,
        tight_until=last + timedelta(minutes=30),
        word="coat",
        best_start=start,
        probability=1.0,
        binding=reason(Limit.MARGIN_HOLD, 1.8, 1.0, "K"),
        margin_apply_k=4.0,
        margin_hold_k=1.8,
        surface_c=17.0,
        humidity_pct=70.0,
        stages=Stages(),
    )
    return plain.model_copy(update=changes)


def outlook(word="coat", **changes):
    plain = Outlook(
        piece="toe_rail",
        piece_name="Toe rail",
        site="harbour",
        timezone="Europe/Berlin",
        made_at=NOW,
        word=word,
        reason=reason(Limit.MARGIN_APPLY, 1.4, 3.0, "K", NOW),
        next_coat=4,
        coats=8,
        coating="oil_varnish_1k",
        weather=Provenance(
            source="invented", attribution="", issued_at=NOW, age_h=0.0, reaches=NOW + timedelta(days=14)
        ),
    )
    return plain.model_copy(update=changes)


FAILING = {
    Limit.KNOWN: (None, None, "", "the forecast does not cover this coat and its drying; it does from 20:15"),
    Limit.BUILT_UP: (None, None, "", "every coat is on"),
    Limit.COAT_BELOW: (None, None, "", "coat 3 is not ready to coat over before 20:15"),
    Limit.HOURS: (None, None, "", "no room in your working hours before 20:15"),
    Limit.COVER: (
        *(None, None, ""),
        "the cover is on, or goes on before the last stroke; room to brush from 20:15",
    ),
    Limit.DAYLIGHT: (None, None, "", "no full daylight to brush in before 20:15"),
    Limit.DRY: (None, None, "", "surface wet with dew or rain, or only just dry; dry long enough from 20:15"),
    Limit.AIR_LOW: (3.2, 5.0, "degC", "air only 3.2 °C at 20:15 (5 °C needed)"),
    Limit.AIR_HIGH: (31.0, 30.0, "degC", "air 31.0 °C at 20:15 (30 °C at most)"),
    Limit.SURFACE_LOW: (4.0, 5.0, "degC", "surface only 4.0 °C at 20:15 (5 °C needed)"),
    Limit.SURFACE_HIGH: (
        *(34.5, 28.0, "degC"),
        "surface 34.5 °C at 20:15, before the film is touch-dry (28 °C at most)",
    ),
    Limit.HUMIDITY: (91.2, 85.0, "%", "humidity 91 % at 20:15 (85 % at most)"),
    Limit.MARGIN_APPLY: (
        *(1.4, 3.0, "K"),
        "surface only 1.4 K over the dew point at 20:15 while brushing (3 K needed)",
    ),
    Limit.WIND: (7.2, 6.0, "m/s", "wind 7.2 m/s at the piece at 20:15 (6 m/s at most)"),
    Limit.SUN: (
        *(12.0, 6.0, "K"),
        "sun heats the film 12.0 K over the air at 20:15, before the film is touch-dry (6 K at most)",
    ),
    Limit.MARGIN_HOLD: (
        *(0.3, 1.0, "K"),
        "surface only 0.3 K over the dew point at 20:15, before the film is dew-safe (1 K needed)",
    ),
    Limit.RAIN: (
        *(1.24, 0.2, "mm"),
        "rain 1.2 mm, heaviest at 20:15, before the film is rain-safe (less than 0.2 mm needed)",
    ),
    Limit.RAIN_CHANCE: (
        *(40.0, 30.0, "%"),
        "chance of rain 40 % at 20:15, before the film is rain-safe (less than 30 % needed)",
    ),
    Limit.COLD: (3.1, 5.0, "degC", "surface only 3.1 °C at 20:15, before the film is sandable (5 °C needed)"),
}


def test_every_limit_has_its_sentence_and_its_label():
    assert set(FAILING) == set(Limit) == set(words.LABELS)


@pytest.mark.parametrize("limit", Limit)
def test_a_failing_limit_says_what_is_wrong_when_and_what_is_asked(limit):
    value, bound, unit, sentence = FAILING[limit]
    assert words.reason_text(reason(limit, value, bound, unit), BERLIN, now=NOW, below=3) == sentence


@pytest.mark.parametrize(
    ("limit", "value", "bound", "unit", "sentence"),
    [
        (Limit.MARGIN_HOLD, 1.6, 1.0, "K", "surface 1.6 K over the dew point at 20:15, 0.6 K to spare"),
        (Limit.AIR_LOW, 7.0, 5.0, "degC", "air 7.0 °C at 20:15, 2.0 K to spare"),
        (Limit.HUMIDITY, 80.0, 85.0, "%", "humidity 80 % at 20:15, 5 % to spare"),
        (Limit.WIND, 6.0, 6.0, "m/s", "wind 6.0 m/s at the piece at 20:15, 0.0 m/s to spare"),
        (Limit.RAIN, 0.0, 0.2, "mm", "no rain, before the film is rain-safe"),
        (Limit.RAIN_CHANCE, 20.0, 30.0, "%", "chance of rain 20 % at 20:15, 10 % to spare"),
        (Limit.SUN, -1.0, 6.0, "K", "film no warmer than the air, before the film is touch-dry"),
    ],
)
def test_a_limit_that_passes_says_what_is_to_spare(limit, value, bound, unit, sentence):
    assert words.reason_text(reason(limit, value, bound, unit), BERLIN, now=NOW) == sentence


def test_a_surface_under_the_dew_point_is_called_dew():
    text = words.reason_text(reason(Limit.MARGIN_HOLD, -1.7, 1.0, "K"), BERLIN, now=NOW)
    assert text == "dew: surface 1.7 K under the dew point at 20:15, before the film is dew-safe (1 K over it needed)"


def test_us_units_turn_temperatures_and_their_differences_each_in_their_own_way():
    surface = words.reason_text(reason(Limit.SURFACE_LOW, 4.0, 7.0, "degC"), BERLIN, "us", now=NOW)
    assert surface == "surface only 39 °F at 20:15 (44.6 °F needed)"
    margin = words.reason_text(reason(Limit.MARGIN_APPLY, 1.0, 3.0, "K"), BERLIN, "us", now=NOW)
    assert margin == "surface only 1.8 °F over the dew point at 20:15 while brushing (5.4 °F needed)"
    wind = words.reason_text(reason(Limit.WIND, 8.0, 6.0, "m/s"), BERLIN, "us", now=NOW)
    assert wind == "wind 18 mph at the piece at 20:15 (13.4 mph at most)"
    rain = words.reason_text(reason(Limit.RAIN, 12.7, 0.2, "mm"), BERLIN, "us", now=NOW)
    assert rain == "rain 0.50 in, heaviest at 20:15, before the film is rain-safe (less than 0.01 in needed)"
    spare = words.reason_text(reason(Limit.AIR_LOW, 10.0, 5.0, "degC"), BERLIN, "us", now=NOW)
    assert spare == "air 50 °F at 20:15, 9.0 °F to spare"
    assert words.quantity(76.2, "um", "us") == "3.0 mil"


def test_a_figure_that_would_round_to_its_limit_gets_the_digits_that_tell_them_apart():
    text = words.reason_text(reason(Limit.MARGIN_APPLY, 2.98, 3.0, "K"), BERLIN, now=NOW)
    assert "only 2.98 K" in text
    text = words.reason_text(reason(Limit.HUMIDITY, 85.4, 85.0, "%"), BERLIN, now=NOW)
    assert text.startswith("humidity 85.4 %")


@given(st.floats(-20, 40), st.floats(-20, 40), st.sampled_from(["K", "degC", "%", "m/s", "mm", "h"]))
def test_two_different_figures_are_never_shown_alike(value, bound, unit):
    if abs(value - bound) > 0.01:
        assert words.quantity(value, unit, unlike=bound) != words.quantity(bound, unit, unlike=value)


def test_nothing_is_shown_as_minus_nothing():
    assert words.quantity(-0.01, "K") == "0.0 K"


def test_a_reason_names_the_day_where_it_is_another_one():
    hold = reason(Limit.MARGIN_HOLD, 0.3, 1.0, "K", EVENING + timedelta(days=1))
    assert "over the dew point tomorrow 20:15" in words.reason_text(hold, BERLIN, now=NOW)
    assert "over the dew point at 20:15" in words.reason_text(hold, BERLIN, now=NOW, on=EVENING + timedelta(days=1))
    assert "over the dew point Fri 20:15" in words.reason_text(hold, BERLIN)
    assert "over the dew point Fri 4 Sep 20:15" in words.reason_text(hold, BERLIN, on=NOW - timedelta(days=6))


def test_a_stale_forecast_says_its_age():
    stale = Reason(limit=Limit.KNOWN, value=14.2, bound=12.0, unit="h")
    assert words.reason_text(stale, BERLIN) == "the forecast is 14.2 h old (12 h at most)"
    ahead = Reason(limit=Limit.KNOWN, value=-3.0, bound=12.0, unit="h")
    wanted = "the forecast is dated 3.0 h ahead of the clock here; one of the two is wrong"
    assert words.reason_text(ahead, BERLIN) == wanted


def test_a_gap_in_the_forecast_is_named():
    gap = Reason(limit=Limit.KNOWN, what="wind_speed")
    assert words.reason_text(gap, BERLIN) == "the forecast has no wind speed for part of this coat and its drying"


def test_limits_without_an_instant_stand_alone():
    assert words.reason_text(reason(Limit.DRY, at=None), BERLIN) == "surface wet with dew or rain, or only just dry"
    assert words.reason_text(reason(Limit.RAIN, at=None), BERLIN) == "rain"


@pytest.mark.parametrize(
    ("days", "text"),
    [
        (-400, "Wed 30 Jul 2025 08:00"),
        (-1, "yesterday 08:00"),
        (0, "today 08:00"),
        (1, "tomorrow 08:00"),
        (2, "Sat 5 Sep 08:00"),
    ],
)
def test_days_are_called_as_people_call_them(days, text):
    assert words.when(NOW + timedelta(days=days), BERLIN, NOW) == text


def test_days_are_those_of_the_site_and_not_of_greenwich():
    late = datetime(2026, 9, 3, 22, 30, tzinfo=UTC)
    assert words.when(late, BERLIN, NOW) == "tomorrow 00:30"
    assert words.when(late, UTC, NOW) == "today 22:30"


def test_the_hour_that_comes_twice_carries_the_letters_of_its_zone():
    before, after = datetime(2026, 10, 25, 0, 30, tzinfo=UTC), datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
    assert words.clock(before, BERLIN) == "02:30 CEST"
    assert words.clock(after, BERLIN) == "02:30 CET"


@pytest.mark.parametrize(
    ("minutes", "text"),
    [
        (0, "0 min"),
        (45, "45 min"),
        (60, "1 h"),
        (450, "7 h 30 min"),
        (1500, "25 h"),
        (2880, "2 d"),
        (3120, "2 d 4 h"),
    ],
)
def test_lengths_of_time_are_in_the_units_people_use(minutes, text):
    assert words.duration(timedelta(minutes=minutes)) == text


def test_a_verdict_to_coat_says_until_when():
    assert words.verdict_line(outlook(windows=(window(),))) == "Toe rail: coat 4 now, brush down by 12:00"


def test_a_verdict_to_coat_says_to_sand_and_to_hang_the_shade():
    shaded = window(hang_shade_by=NOW + timedelta(hours=3))
    line = words.verdict_line(outlook(windows=(shaded,), sand_first=True))
    assert line == "Toe rail: sand, then coat 4 now, brush down by 12:00, shade up by 11:00"


def test_a_tight_verdict_says_so_with_the_number_it_hangs_on():
    near = reason(Limit.MARGIN_HOLD, 1.4, 1.0, "K")
    line = words.verdict_line(outlook("tight", windows=(window(),), reason=near))
    assert line == (
        "Toe rail: coat 4 now, but tight, brush down by 12:30. "
        "Surface 1.4 K over the dew point at 20:15, 0.4 K to spare"
    )


def test_a_verdict_to_wait_says_until_when_and_why():
    ahead = window(NOW + timedelta(hours=26))
    line = words.verdict_line(outlook("wait", windows=(ahead,)))
    assert line == (
        "Toe rail: wait until tomorrow 10:00. "
        "Surface only 1.4 K over the dew point at 08:00 while brushing (3 K needed)"
    )
    tight = ahead.model_copy(update={"word": "tight"})
    assert words.verdict(outlook("wait", windows=(tight,))) == "wait until tomorrow 10:00, and tight then"


def test_a_verdict_without_a_window_says_how_far_it_looked():
    assert words.verdict(outlook("wait")) == "wait: no window ahead up to Thu 17 Sep 08:00"


def test_an_unknown_verdict_is_never_to_coat_and_says_what_is_missing():
    assert words.verdict_line(outlook("unknown", missing=("wind_speed", "cloud_area_fraction"))) == (
        "Toe rail: unknown, so wait. The weather says nothing of wind speed, cloud"
    )
    assert words.verdict_line(outlook("unknown", weather=None, reason=Reason(limit=Limit.KNOWN))) == (
        "Toe rail: unknown, so wait. There is no weather to go by"
    )


def test_a_piece_that_is_built_up_is_told_so():
    done = outlook("wait", next_coat=9, reason=Reason(limit=Limit.BUILT_UP))
    assert words.verdict_line(done) == "Toe rail: built up: 8 of 8 coats are on"


def test_a_caution_says_what_is_comfortable_and_what_to_mind():
    damp = Reason(limit=Limit.HUMIDITY, value=78.0, bound=70.0, unit="%")
    assert words.caution_text(damp) == "damp: humidity 78 %, comfortable up to 70 %; give it longer"
    wind = Reason(limit=Limit.WIND, value=4.6, bound=4.0, unit="m/s")
    assert words.caution_text(wind, "us").startswith("windy: 10 mph at the piece, comfortable up to 9 mph")


def test_dew_says_when_it_is_off_and_when_it_has_been_off_long_enough():
    dew = Reason(limit=Limit.DRY, dry_at=EVENING - timedelta(hours=1), at=EVENING)
    wanted = "surface wet with dew or rain until 19:15; dry long enough from 20:15"
    assert words.reason_text(dew, BERLIN, now=EVENING, on=EVENING) == wanted
