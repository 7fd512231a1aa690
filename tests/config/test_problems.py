"""Every kind of mistake has its message: file, key, the value found, and what would be right."""

from pathlib import Path

import pytest

from dryspell.config import load
from dryspell.errors import ConfigError

SITE_TABLE = "[site.harbour]\n"
PLACE = 'latitude = "54.3 deg"\nlongitude = "10.2 deg"\ntimezone = "Europe/Berlin"\n'


def site_with(line, without=""):
    kept = "".join(f"{row}\n" for row in PLACE.splitlines() if not (without and row.startswith(without)))
    return f"{SITE_TABLE}{kept}{line}\n"


def piece_with(line):
    return f'[piece.toe_rail]\ncoating = "oil_varnish_1k"\n{line}\n'


def coating_with(line):
    return f'[coating.my_spar]\nfamily = "oil_varnish_1k"\n{line}\n'


PIECE_MISTAKES = [
    ('area = "4 kg"', 'piece.toe_rail.area = "4 kg" is a mass, not an area; wanted such as "4.5 m^2"'),
    ('area = "4"', 'piece.toe_rail.area = "4" has no unit; wanted such as "4.5 m^2"'),
    ("area = 4", 'piece.toe_rail.area = 4 needs a unit: wanted text such as "4.5 m^2"'),
    ("area = 4.05", 'piece.toe_rail.area = 4.05 needs a unit: wanted text such as "4.5 m^2"'),
    ('area = "four m^2"', 'piece.toe_rail.area = "four m^2" is not a number with a unit; wanted such as "4.5 m^2"'),
    ('area = "4 acer"', 'piece.toe_rail.area = "4 acer" has an unknown unit \'acer\'; wanted such as "4.5 m^2"'),
    ('area = "0 ft^2"', 'piece.toe_rail.area = "0 ft^2" is not within 0.0107639 to 107639 ft^2'),
    ('sky = "30 deg"', 'piece.toe_rail.sky = "30 deg" is an angle, not a share; wanted such as "85 %"'),
    ('fase = "tilted"', "piece.toe_rail.fase is no key of a piece; did you mean face?"),
    ('face = "sloping"', 'piece.toe_rail.face = "sloping" is none of horizontal, vertical and tilted'),
    (
        'shelter = "treees"',
        'piece.toe_rail.shelter = "treees" is none of open, trees, roof, cover, tent and shed; did you mean trees?',
    ),
    ("shelter = 1", "piece.toe_rail.shelter = 1 is none of open, trees, roof, cover, tent and shed"),
    ("coats = 0", "piece.toe_rail.coats = 0 is too small; wanted 1 or more"),
    ("coats = 41", "piece.toe_rail.coats = 41 is too large; wanted 40 or less"),
    ("coats = 7.5", "piece.toe_rail.coats = 7.5 is no whole number; wanted one without quotes and without a unit"),
    ('coats = "7"', 'piece.toe_rail.coats = "7" is no whole number; wanted one without quotes and without a unit'),
    ("coats = true", "piece.toe_rail.coats = true is no whole number; wanted one without quotes and without a unit"),
    ("done = 9", "piece.toe_rail.done = 9 is more than coats (7); coats counts those already on"),
    ('shade = "yes"', 'piece.toe_rail.shade = "yes" is neither true nor false; wanted one of them, without quotes'),
    ("name = 5", "piece.toe_rail.name = 5 is not text; wanted it in quotes"),
    ('tilt = "30 deg"', 'piece.toe_rail.tilt = "30 deg" is only for face = "tilted", and this one is horizontal'),
    (
        'facing = "seaward"',
        (
            'piece.toe_rail.facing = "seaward" is no compass point; wanted one of '
            "N NNE NE ENE E ESE SE SSE S SSW SW WSW W WNW NW NNW or an angle such as 225 deg"
        ),
    ),
    (
        'hours = "Mon-Fry 08:00-18:00"',
        "piece.toe_rail.hours = \"Mon-Fry 08:00-18:00\" has no day 'fry'; days are Mon Tue Wed Thu Fri Sat Sun",
    ),
    (
        "hours = 8",
        (
            "piece.toe_rail.hours = 8 are no working hours; "
            "wanted text such as 08:00-18:00 or Mon-Fri 16:00-20:00, or a list of it"
        ),
    ),
    ('site = "harbor"', 'piece.toe_rail.site = "harbor" is no site; did you mean harbour?'),
    ('site = "yard"', 'piece.toe_rail.site = "yard" is no site; there is harbour'),
]


@pytest.mark.parametrize(("line", "message"), PIECE_MISTAKES)
def test_a_mistake_in_a_piece_is_told_in_one_line(problems, line, message):
    assert problems(piece_with(line), piece="") == [message]


SITE_MISTAKES = [
    ('latitude = "95 deg"', 'site.harbour.latitude = "95 deg" is not within -90 to 90 deg'),
    ('latitude = "3.5 rad"', 'site.harbour.latitude = "3.5 rad" is not within -1.5708 to 1.5708 rad'),
    (
        'latitude = "54.3 N"',
        'site.harbour.latitude = "54.3 N" is measured in newton, not an angle; north is written as 54.3 deg',
    ),
    (
        'timezone = "Europe/Berlim"',
        'site.harbour.timezone = "Europe/Berlim" is no time zone; did you mean Europe/Berlin?',
    ),
    ('timezone = "Lisbon"', 'site.harbour.timezone = "Lisbon" is no time zone; did you mean Europe/Lisbon?'),
    ('timezone = "CEST"', 'site.harbour.timezone = "CEST" is no time zone; wanted an IANA name such as Europe/Berlin'),
    ("timezone = 1", "site.harbour.timezone = 1 is no time zone; wanted an IANA name such as Europe/Berlin"),
]


@pytest.mark.parametrize(("line", "message"), SITE_MISTAKES)
def test_a_mistake_in_a_site_is_told_in_one_line(problems, line, message):
    assert problems(site_with(line, without=line.split()[0]), site="") == [message]


def test_a_missing_key_is_named_with_an_example(problems):
    assert problems(site_with("", without="timezone"), site="") == [
        'site.harbour.timezone is missing; wanted such as timezone = "Europe/Berlin"'
    ]
    assert problems("[piece.toe_rail]\n", piece="") == [
        'piece.toe_rail.coating is missing; wanted such as coating = "oil_varnish_1k"'
    ]


def test_a_key_that_is_near_nothing_is_answered_with_all_keys(problems):
    assert problems(site_with('postcode = "24103"'), site="") == [
        (
            "site.harbour.postcode is no key of a site; "
            "its keys are name, latitude, longitude, elevation, timezone, travel, afloat, "
            "sources and diffuse_sky"
        )
    ]


def test_keys_that_only_the_program_fills_in_cannot_be_written(problems):
    assert problems(piece_with('key = "other"'), piece="")[0].startswith("piece.toe_rail.key is no key of a piece; ")
    assert problems(coating_with('marks = { air = "mine" }'))[0].startswith(
        "coating.my_spar.marks is no key of a coating"
    )


def test_a_piece_without_a_site_is_asked_for_one_only_where_there_are_several(problems):
    second = SITE_TABLE.replace("harbour", "yard") + PLACE
    assert problems(second) == ["piece.toe_rail.site is missing; wanted one of the sites harbour or yard"]


def test_an_unknown_coating_is_answered_with_the_nearest_own_or_built_in_one(problems):
    own = coating_with("")
    assert problems(own + '[piece.spar]\ncoating = "my_spa"\n') == [
        'piece.spar.coating = "my_spa" is no coating; did you mean my_spar?'
    ]
    assert problems('[piece.spar]\ncoating = "oil_varnish"\n') == [
        'piece.spar.coating = "oil_varnish" is no coating; did you mean oil_varnish_1k?'
    ]


COATING_MISTAKES = [
    ('air = ["5 degC"]', 'air = ["5 degC"] is not two figures; wanted the lower and the higher one, in that order'),
    ('air = "5 degC"', 'air = "5 degC" is not two figures; wanted the lower and the higher one, in that order'),
    (
        'air = ["5 degC", "18 degC", "30 degC"]',
        'air = ["5 degC", "18 degC", "30 degC"] is not two figures; wanted the lower and the higher one, in that order',
    ),
    (
        'air = ["30 degC", "5 degC"]',
        'air = ["30 degC", "5 degC"] has the higher figure first; the lower one comes first',
    ),
    ('air = ["5 degC", "30 C"]', 'air, item 2 = "30 C" is measured in coulomb, not a temperature; did you mean degC?'),
    (
        'margin_hold = "5 K"',
        'margin_hold = "5 K" is more than margin_apply (3 K); a film is held to no more than it is laid at',
    ),
    ('wind_stop = "2 m/s"', 'wind_stop = "2 m/s" is less than wind_good (4 m/s)'),
    (
        "touch_dry = {}",
        (
            "touch_dry = {} is no table of times; wanted a time for each temperature printed, "
            'such as { "10 degC" = "9 h", "20 degC" = "5 h" }'
        ),
    ),
    (
        'touch_dry = { "10" = "9 h" }',
        'touch_dry = { "10" = "9 h" } cannot be used: the temperature "10" has no unit; wanted such as "18 degC"',
    ),
    (
        'touch_dry = { "10 degC" = "9 m" }',
        (
            'touch_dry = { "10 degC" = "9 m" } cannot be used: '
            'the time "9 m" at "10 degC" is a length, not a time; wanted such as "9 h"'
        ),
    ),
    (
        'touch_dry = { "10 degC" = "0 h" }',
        (
            'touch_dry = { "10 degC" = "0 h" } cannot be used: '
            'the time 0 h at "10 degC" is not more than nothing and up to a year'
        ),
    ),
    (
        'touch_dry = { "10 degC" = "5 h", "20 degC" = "9 h" }',
        (
            'touch_dry = { "10 degC" = "5 h", "20 degC" = "9 h" } takes longer at 20 degC (9 h) than at 10 degC (5 h); '
            "a film dries no slower when it is warmer"
        ),
    ),
    (
        'touch_dry = { "10 degC" = "9 h", "50 degF" = "8 h" }',
        'touch_dry = { "10 degC" = "9 h", "50 degF" = "8 h" } has two times for 10 degC; keep one',
    ),
    (
        "thinner = [50, -1]",
        "thinner = [50, -1] has -1 in it; wanted numbers of 0 to 200, parts to a hundred of coating",
    ),
    (
        "thinner = []",
        "thinner = [] is no list of parts to a hundred of coating; wanted a number a coat, such as [25, 10, 0]",
    ),
    (
        'cures_by = "oxydation"',
        'cures_by = "oxydation" is none of oxidation, reaction, coalescence and moisture; did you mean oxidation?',
    ),
    (
        'induction = "15 min"',
        'induction = "15 min" is not two figures; wanted the lower and the higher one, in that order',
    ),
    (
        'induction = ["15 min", "5 min"]',
        'induction = ["15 min", "5 min"] has the higher figure first; the lower one comes first',
    ),
    ("factors = 3", "factors = 3 is no table; wanted one headed [coating.my_spar.factors]"),
    ("factors = { stil_air = 2 }", "factors.stil_air is no key of the factors of a coating; did you mean still_air?"),
    (
        'factors = { still_air = "1.3" }',
        'factors.still_air = "1.3" is no factor; wanted a number of 0.1 to 10, without quotes and without a unit',
    ),
    (
        "factors = { damp = 1.3 }",
        'factors.damp = 1.3 is no table; wanted a factor for each humidity, such as { "65 %" = 1, "90 %" = 1.7 }',
    ),
    (
        'factors = { moisture = "3 m" }',
        'factors.moisture = "3 m" is a length, not a share; wanted such as "10 g/kg"',
    ),
]


@pytest.mark.parametrize(("line", "message"), COATING_MISTAKES)
def test_a_mistake_in_a_coating_is_told_in_one_line(problems, line, message):
    assert problems(coating_with(line)) == [f"coating.my_spar.{message}"]


def test_a_misspelt_figure_of_a_coating_is_answered_with_the_nearest(problems):
    assert problems(coating_with('humidity = "80 %"\ntouchdry = 1')) == [
        "coating.my_spar.humidity is no key of a coating; did you mean humidity_max?",
        "coating.my_spar.touchdry is no key of a coating; did you mean touch_dry?",
    ]


FAMILIES = (
    "oil_varnish_1k, urethane_alkyd_1k, fast_build_1k, pu_clear_2k, acrylic_clear_wb, penetrating_oil, "
    "epoxy_sealer_2k, alkyd_enamel_1k, primer_1k, solvent_stain or water_stain"
)


def test_a_coating_needs_a_family_there_is(problems):
    assert problems('[coating.my_spar]\nhumidity_max = "80 %"\n') == [
        f"coating.my_spar.family is missing; wanted the built-in family to start from: {FAMILIES}"
    ]
    assert problems('[coating.my_spar]\nfamily = "pu_clear"\nmargin_hold = "3.5 K"\n') == [
        'coating.my_spar.family = "pu_clear" is no built-in family; did you mean pu_clear_2k?'
    ]
    assert problems('[coating.my_spar]\nfamily = 2\nwind_good = "2 kg"\n') == [
        "coating.my_spar.family = 2 is not text; wanted it in quotes",
        'coating.my_spar.wind_good = "2 kg" is a mass, not a speed; wanted such as "4 m/s"',
    ]


def test_the_key_of_a_built_in_family_is_taken(problems):
    assert problems('[coating.primer_1k]\nfamily = "primer_1k"\n') == [
        'coating.primer_1k is the key of a built-in family; give your own another and write family = "primer_1k" in it'
    ]


WEATHER_MISTAKES = [
    (
        'source = "table"',
        "weather.source is no key of [weather]; did you mean sources?",
    ),
    (
        'sources = "table"',
        (
            'weather.sources = "table" is no list of sources; wanted such as ["open-meteo"], of open-meteo, '
            "open-meteo-ensemble, met-norway, nws, table and sensors"
        ),
    ),
    (
        "sources = []",
        (
            'weather.sources = [] is no list of sources; wanted such as ["open-meteo"], of open-meteo, '
            "open-meteo-ensemble, met-norway, nws, table and sensors"
        ),
    ),
    (
        'sources = ["nws", "openmeteo"]',
        'weather.sources = ["nws", "openmeteo"] has "openmeteo", which is no source; did you mean open-meteo?',
    ),
    ('sources = ["nws", "nws"]', 'weather.sources = ["nws", "nws"] has "nws" more than once; keep one'),
    (
        'sources = ["nws", "table"]',
        'weather.file is missing; the source "table" needs one, such as file = "weather.csv"',
    ),
    ('file = "a.csv"', 'weather.file = "a.csv" is not read; wanted "table" among the sources'),
    ('sources = ["table"]\nfile = 5', 'weather.file = 5 is no path; wanted text such as "weather.csv"'),
    ("nws = 5", "weather.nws = 5 is no table; wanted one headed [weather.nws]"),
    (
        'met-norway.base_url = "example.org"',
        'weather.met-norway.base_url = "example.org" is no web address; wanted one that begins with https:// or http://',
    ),
    (
        'open-meteo-ensemble.model = "icon_seamless_eps,ecmwf_ifs025_ensemble"',
        (
            'weather.open-meteo-ensemble.model = "icon_seamless_eps,ecmwf_ifs025_ensemble" is no model; '
            'wanted one of the names of Open-Meteo\'s ensembles, such as "ecmwf_ifs025_ensemble"'
        ),
    ),
    (
        'open-meteo.model = "icon_seamless"',
        (
            "weather.open-meteo.model is no key of [weather.open-meteo]; "
            "its keys are base_url, api_key_env and api_key_file"
        ),
    ),
    ('refresh = "1 min"', 'weather.refresh = "1 min" is not within 10 to 1440 min'),
    ("forecast_days = 20", "weather.forecast_days = 20 is too large; wanted 16 or less"),
    (
        'refresh = "12 h"\nstale_after = "8 h"',
        'weather.refresh = "12 h" is longer than stale_after (8 h); weather has to be fetched before that',
    ),
    (
        'refresh = "12 h"',
        'weather.refresh = "12 h" is longer than stale_after (6 h); weather has to be fetched before that',
    ),
]


@pytest.mark.parametrize(("line", "message"), WEATHER_MISTAKES)
def test_a_mistake_about_the_weather_is_told_in_one_line(problems, line, message):
    assert problems(f"[weather]\n{line}\n") == [message]


def test_a_weather_service_needs_a_contact_and_a_file_does_not(problems, read, request):
    missing = (
        "contact is missing; a weather service wants to know whom to reach, "
        'wanted such as contact = "you@example.org" before the first table'
    )
    assert problems("", contact="") == [missing]
    text = request.getfixturevalue("right_without_contact")
    assert read(text + '[weather]\nsources = ["table"]\nfile = "w.csv"\n').contact == ""


@pytest.fixture
def right_without_contact():
    return f'{SITE_TABLE}{PLACE}[piece.toe_rail]\ncoating = "oil_varnish_1k"\n'


@pytest.mark.parametrize("contact", ["me", "me@home", "ftp://example.org", "ü@example.org", "a@b.c\\nX-Header: 1"])
def test_a_contact_that_could_not_be_sent_is_refused(problems, contact):
    (message,) = problems("", contact=f'contact = "{contact}"\n')
    assert message.startswith("contact = ")
    assert message.endswith(' is no e-mail or web address in plain ASCII letters; wanted such as "you@example.org"')


OTHER_MISTAKES = [
    ('evening = "25:00"', "alerts", 'alerts.evening = "25:00" is no time of day; wanted such as "18:00"'),
    ('units = "imperial"', "alerts", 'alerts.units = "imperial" is none of metric and us'),
    (
        'phone = { url = "json://a" }',
        "alerts",
        "alerts.phone is a table; the table of a target is headed [alert.phone]",
    ),
    ('tick = "60"', "daemon", 'daemon.tick = "60" has no unit; wanted such as "60 s"'),
    ("tack = 1", "daemon", "daemon.tack is no key of [daemon]; did you mean tick?"),
]


@pytest.mark.parametrize(("line", "table", "message"), OTHER_MISTAKES)
def test_a_mistake_in_the_other_tables_is_told_in_one_line(problems, line, table, message):
    assert problems(f"[{table}]\n{line}\n") == [message]


def test_a_value_where_a_table_belongs_is_told(problems):
    assert problems("", contact="weather = 5\n" + 'contact = "you@example.org"\n') == [
        "weather = 5 is no table; wanted one headed [weather]"
    ]
    assert problems("", site='site = "harbour"\n') == ['site = "harbour" is no table; wanted one headed [site.KEY]']
    assert problems(f"[site]\n{PLACE}", site="")[0] == (
        'site.latitude = "54.3 deg" is no table; '
        "every site has a key of its own, so that its table is headed [site.KEY]"
    )


def test_a_file_without_site_or_piece_is_told_what_a_start_looks_like(problems):
    assert problems("", site="", piece="") == [
        "site is missing; wanted a table headed [site.KEY], such as [site.harbour]",
        "piece is missing; wanted a table headed [piece.KEY], such as [piece.toe_rail]",
    ]


def test_an_unknown_table_is_answered_with_the_nearest(problems):
    assert problems("[wheather]\n") == ["wheather is no key of the configuration; did you mean weather?"]


@pytest.mark.parametrize("key", ["toe rail", "-rail", "", "a.b", "a/b"])
def test_a_key_that_cannot_be_typed_is_refused(problems, key):
    assert problems(f'[piece."{key}"]\ncoating = "oil_varnish_1k"\n') == [
        (
            f'piece."{key}" is no key to type on a command line; '
            'wanted letters, digits and _ (any text goes in name = "...")'
        )
    ]


def test_everything_wrong_with_a_file_is_told_at_once(problems):
    text = (
        piece_with('area = "4 kg"\ndone = 9\nfase = "x"\ncoating_ = 1')
        + coating_with('air = ["5 degC"]\nmargin_hold = "9 K"')
        + '[weather]\nrefresh = "1 s"\n[alerts]\nevening = 7\n[alert.phone]\n[daemon]\ntick = 1\n'
    )
    found = problems(text, site=site_with('latitude = "95 deg"', without="latitude"), piece="", contact="contact = 1\n")
    assert [line.split()[0] for line in found] == [
        "contact",
        "site.harbour.latitude",
        "weather.refresh",
        "coating.my_spar.air",
        "coating.my_spar.margin_hold",
        "piece.toe_rail.fase",
        "piece.toe_rail.coating_",
        "piece.toe_rail.done",
        "piece.toe_rail.area",
        "alerts.evening",
        "alert.phone",
        "daemon.tick",
    ]


def test_a_value_is_shown_short_and_without_what_a_terminal_would_obey(problems):
    (message,) = problems(piece_with(f'face = "{"x" * 500}"'), piece="")
    assert len(message) < 200
    (message,) = problems(piece_with('face = "\\u001b[31m\\u202E"'), piece="")
    assert message.isprintable()


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "a = 1\nb = 54.3 deg\n",
            (
                "line 2, column 10: not TOML: Expected newline or end of document after a statement "
                "(all text goes in quotes, quantities with their units too)"
            ),
        ),
        (
            "zone = Europe/Berlin",
            "line 1, column 8: not TOML: Invalid value (all text goes in quotes, quantities with their units too)",
        ),
        ("[site.a]\n[site.a]\n", "line 2, column 8: not TOML: Cannot declare site.a twice"),
        ('a = 1\na = "x', "line 2, at its end: not TOML: Unterminated string"),
        ("a = " + "9" * 5000, "holds a number with too many digits"),
        ("a = 1e99999999999999999999", "holds a number with too many digits"),
    ],
)
def test_what_is_not_toml_is_told_with_its_place(read, text, message):
    with pytest.raises(ConfigError) as caught:
        read(text)
    assert caught.value.problems == [f"yard.toml: {message}"]


def test_a_file_that_cannot_be_read_is_told(tmp_path):
    def message_of(path):
        with pytest.raises(ConfigError) as caught:
            load(path, env={})
        return str(caught.value)

    assert message_of(tmp_path / "none.toml") == f"{tmp_path / 'none.toml'}: there is no such file"
    assert message_of(tmp_path) == f"{tmp_path}: cannot be read: Is a directory"
    assert message_of(Path("a\0b")) == "a\0b: cannot be read: embedded null byte"
    latin = tmp_path / "latin.toml"
    latin.write_bytes('# yard\n[piece.a]\nname = "Süd"\n'.encode("latin-1"))
    assert message_of(latin) == f"{latin}: line 3 is not UTF-8 text; save the file in that encoding"
