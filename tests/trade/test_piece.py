"""Sites and pieces, as a configuration describes them."""

from zoneinfo import ZoneInfo

import pytest
from pydantic import ValidationError

from dryspell.trade.piece import Piece, Site

PLAIN = {"key": "toe_rail", "site": "harbour", "coating": "oil_varnish_1k"}
PLACE = {"key": "harbour", "latitude": "54.3 deg", "longitude": "10.2 deg", "timezone": "Europe/Berlin"}


def piece(**more):
    return Piece.model_validate(PLAIN | more)


def message(model, **table):
    with pytest.raises(ValidationError) as caught:
        model.model_validate(table)
    return str(caught.value.errors()[0]["ctx"]["error"])


@pytest.mark.parametrize(
    ("written", "degrees"), [("N", 0), ("sw", 225), ("NNW", 337.5), ("225 deg", 225), ("1.5707963267949 rad", 90)]
)
def test_where_a_face_looks_is_a_point_of_the_compass_or_an_angle(written, degrees):
    assert piece(facing=written).facing_deg == pytest.approx(degrees)


@pytest.mark.parametrize(
    ("table", "plane"),
    [
        ({}, (0, 180)),
        ({"face": "vertical", "facing": "W"}, (90, 270)),
        ({"face": "tilted"}, (45, 180)),
        ({"face": "tilted", "tilt": "30 deg", "facing": "NE"}, (30, 45)),
    ],
)
def test_a_face_is_a_plane(table, plane):
    assert piece(**table).plane_deg == plane


def test_brushing_takes_as_long_as_told_or_ten_minutes_a_square_metre():
    # 6 m2 an hour: common practice, no source.
    assert piece(area="3 m^2").brushing_h == 0.5
    assert piece(area="3 m^2", brush_time="90 min").brushing_h == 1.5


def test_a_name_is_what_was_written_or_the_key_in_words():
    assert piece().name == "toe rail"
    assert piece(name="The rail").name == "The rail"
    assert Site.model_validate(PLACE).name == "harbour"


@pytest.mark.parametrize(
    ("written", "hint"),
    [
        ("Europe/Belin", "did you mean Europe/Berlin?"),
        ("europe/berlin ", "did you mean Europe/Berlin?"),
        ("New York", "did you mean America/New_York?"),
        ("GMT+2", "wanted an IANA name such as Europe/Berlin"),
        ("", "wanted an IANA name such as Europe/Berlin"),
        ("../etc/passwd", "wanted an IANA name such as Europe/Berlin"),
        ("a\0b", "wanted an IANA name such as Europe/Berlin"),
    ],
)
def test_a_zone_that_is_none_is_answered_with_the_nearest_place(written, hint):
    assert message(Site, **PLACE | {"timezone": written}) == f"is no time zone; {hint}"


def test_a_zone_that_was_read_before_is_taken_as_it_is():
    assert Site.model_validate(PLACE | {"timezone": ZoneInfo("UTC")}).zone.key == "UTC"


def test_no_more_coats_are_on_than_there_are_in_all():
    assert piece(coats=7, done=7).done == 7
    assert message(Piece, **PLAIN, coats=7, done=8) == "is more than coats (7); coats counts those already on"


def test_only_a_tilted_face_has_a_tilt():
    assert message(Piece, **PLAIN, face="vertical", tilt="30 deg") == (
        'is only for face = "tilted", and this one is vertical'
    )


def test_hours_of_sun_are_hours_of_the_day():
    assert piece(sun="12:45-19:30").sun == piece(sun=["12:45-19:30"]).sun
    assert [(str(start), str(end)) for _, start, end in piece(sun=["06:00-08:00", "12:45-19:30"]).sun] == [
        ("06:00:00", "08:00:00"),
        ("12:45:00", "19:30:00"),
    ]


@pytest.mark.parametrize(
    ("written", "text"),
    [
        ("Mon 12:00-13:00", "names days, and the sun keeps none; wanted hours of the day, such as 12:45-19:30"),
        (5, "are no hours of sun; wanted hours of the day, such as 12:45-19:30, or a list of them"),
        ([], "are no hours of sun; wanted hours of the day, such as 12:45-19:30, or a list of them"),
    ],
)
def test_hours_of_sun_that_are_none_are_told(written, text):
    assert message(Piece, **PLAIN, sun=written) == text


def test_a_skyline_is_read_by_compass_points_and_angles():
    assert piece(horizon={"SW": "40 deg", "S": "25 deg", "100 deg": "0.1 rad"}).horizon == (
        (100.0, pytest.approx(5.7296, abs=1e-4)),
        (180.0, 25.0),
        (225.0, 40.0),
    )


@pytest.mark.parametrize(
    ("written", "text"),
    [
        ("40 deg", "is no table of heights"),
        ({}, "is no table of heights"),
        ({"XW": "4 deg"}, 'cannot be used: the direction "XW" is no compass point'),
        ({"S": 4}, 'cannot be used: the height 4 at "S" needs a unit'),
        ({"S": "95 deg"}, 'cannot be used: the height "95 deg" at "S" is not within 0 to 90 deg'),
        ({"S": "5 deg", "180 deg": "6 deg"}, "has two heights for 180 deg; keep one"),
    ],
)
def test_a_skyline_that_is_none_is_told(written, text):
    assert message(Piece, **PLAIN, horizon=written).startswith(text)


def test_only_a_tent_or_a_shed_can_be_heated():
    assert piece(shelter="tent", heat="9 K").heat_k == 9.0
    assert piece(shelter="shed", heat="9 degF").heat_k == pytest.approx(5.0)
    assert message(Piece, **PLAIN, heat="9 K") == 'is only for shelter = "tent" or "shed", and this one is open'


def test_only_a_tent_or_a_shed_can_be_shut():
    assert piece(shelter="tent", shut_by_day=True).shut_by_day
    assert not piece(shelter="shed").shut_by_day
    assert message(Piece, **PLAIN, shut_by_day=True) == 'is only for shelter = "tent" or "shed", and this one is open'


def test_what_a_probe_found_is_written_with_its_units():
    told = piece(wind_share="35 %", back_conductance="4 W/m^2/K")
    assert (told.wind_share_pct, told.back_conductance_w_m2_k) == (35.0, 4.0)
    with pytest.raises(ValidationError, match="is a share, not a heat conductance"):
        piece(back_conductance="4 %")


def test_what_a_sensor_in_its_shed_found_is_written_with_its_units():
    told = piece(shelter="shed", shut_by_day=True, lag="150 min", air_changes="29 / day", sun_warmth="12 K m^2/kW")
    assert (told.lag_h, told.sun_warmth_k_m2_w) == (2.5, 0.012)
    assert told.air_changes_per_h == pytest.approx(29 / 24)
    assert message(Piece, **PLAIN, shelter="shed", air_changes="2 h").startswith(
        "is a time, not a rate; wanted such as"
    )


@pytest.mark.parametrize(("key", "value"), [("lag", "2 h"), ("air_changes", "2 / hour")])
def test_only_a_tent_or_a_shed_has_air_of_its_own(key, value):
    assert message(Piece, **PLAIN, **{key: value}) == 'is only for shelter = "tent" or "shed", and this one is open'


def test_the_sun_warms_only_what_is_shut():
    told = message(Piece, **PLAIN, shelter="tent", sun_warmth="12 K m^2/kW")
    assert told.startswith("is only for one with shut_by_day = true")
