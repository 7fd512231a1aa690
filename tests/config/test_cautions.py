"""What is allowed but odd is pointed out."""

RIGHT = (
    'contact = "you@example.org"\n'
    'site.harbour = { latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }\n'
    'piece.toe_rail = { coating = "spar" }\n[coating.spar]\nfamily = "oil_varnish_1k"\n'
)


def test_a_touch_dry_time_that_overtakes_our_dew_safe_time_is_pointed_out(read):
    # A slow can whose sheet says nothing of dew: 12 h to touch-dry, and 7 h to dew-safe as the family has it.
    assert read(RIGHT + 'touch_dry = { "10 degC" = "20 h", "18 degC" = "12 h" }\n').cautions == (
        (
            "coating.spar: touch_dry comes after dew_safe (12 h and 7 h at 18 degC); "
            "set both, dew_safe to the careful side"
        ),
    )


def test_times_that_go_together_are_passed_without_a_word(read):
    text = RIGHT + 'touch_dry = { "10 degC" = "9 h", "20 degC" = "5 h" }\nrecoat = { "20 degC" = "24 h" }\n'
    assert read(text).cautions == ()


def test_a_family_whose_own_stages_come_in_another_order_is_not_blamed(read):
    # Penetrating oil is dew-safe before it is touch-dry: common practice, no source.
    text = (
        RIGHT.replace("oil_varnish_1k", "penetrating_oil") + 'touch_dry = { "10 degC" = "16 h", "20 degC" = "9 h" }\n'
    )
    assert read(text).cautions == ()


def test_times_that_change_with_temperature_as_no_coating_does_are_pointed_out(read):
    # 20 h and 1 h over 10 K: some 200 kJ/mol, where coatings have 20 to 90.
    (caution,) = read(RIGHT + 'recoat = { "10 degC" = "20 h", "20 degC" = "1 h" }\n').cautions
    assert caution.startswith(
        "coating.spar.recoat changes with temperature as the times of few coatings do (207 kJ/mol"
    )


def test_a_longitude_with_the_wrong_sign_is_pointed_out(read):
    # Boston lies at 71 degrees west, and its clocks go by the sun of 75 degrees west.
    boston = RIGHT.replace('"54.3 deg"', '"42.36 deg"').replace("Europe/Berlin", "America/New_York")
    assert read(boston.replace('"10.2 deg"', '"-71.06 deg"')).cautions == ()
    assert read(boston.replace('"10.2 deg"', '"71.06 deg"')).cautions == (
        (
            "site.harbour: the sun of its longitude and the clocks of America/New_York are 10 h apart; "
            "east is positive, west negative"
        ),
    )


def test_clocks_that_are_far_from_the_sun_by_law_are_passed(read):
    # Kashgar, at 76 degrees east, keeps the clocks of Shanghai; Kiritimati is west of the date line and a day ahead.
    for longitude, zone in (("75.99 deg", "Asia/Shanghai"), ("-157.4 deg", "Pacific/Kiritimati")):
        place = RIGHT.replace('"10.2 deg"', f'"{longitude}"').replace("Europe/Berlin", zone)
        assert read(place).cautions == ()


def cautions_of(read, **keys):
    """Return what is said of a piece with some more keys, written as TOML."""
    more = "".join(f", {key} = {value}" for key, value in keys.items())
    return read(RIGHT.replace('{ coating = "spar" }', f'{{ coating = "spar"{more} }}')).cautions


def test_a_cover_that_leaves_no_hour_to_work_in_is_pointed_out(read):
    under = "piece.toe_rail: its cover is on in all the hours you can work, and nobody brushes under it"
    assert cautions_of(read, cover='"17:00-09:00"', hours='"18:00-21:00"') == (under,)
    assert cautions_of(read, cover='"17:00-09:00"', hours='["Mon-Fri 17:00-20:00", "Sat 06:00-09:00"]') == (under,)
    assert cautions_of(read, cover='["06:00-12:00", "12:00-20:00"]', hours='"08:00-18:00"') == (under,)
    assert cautions_of(read, cover='"17:00-09:00"', hours='"16:00-21:00"') == ()
    assert cautions_of(read, cover='"17:00-09:00"', hours='["18:00-20:00", "Sat 08:00-18:00"]') == ()


def test_a_heated_tent_is_asked_whether_it_stays_shut_until_it_says_so(read):
    (caution,) = cautions_of(read, shelter='"tent"', heat='"9 K"')
    assert caution == (
        "piece.toe_rail: is its tent kept shut while it is heated? With shut_by_day = true the sun on it counts, "
        "with false it is opened before it gets hot"
    )
    for shut in ("true", "false"):
        assert cautions_of(read, shelter='"tent"', heat='"9 K"', shut_by_day=shut) == ()
