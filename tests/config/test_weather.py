"""Where weather comes from: orders of preference, for all sites and for one, and the keys of services."""

import pytest

SECRET = "k3y-of-a-customer"
RIGHT = """
contact = "you@example.org"
[site.harbour]
latitude = "54.3 deg"
longitude = "10.2 deg"
timezone = "Europe/Berlin"
[piece.toe_rail]
site = "harbour"
coating = "oil_varnish_1k"
"""
CUSTOMER = 'base_url = "https://customer-api.open-meteo.com"'


def test_the_order_of_the_sources_is_kept(read):
    config = read(f'{RIGHT}[weather]\nsources = ["nws", "open-meteo-ensemble", "open-meteo"]\n')
    assert config.weather.sources == ("nws", "open-meteo-ensemble", "open-meteo")
    assert config.sources_of(config.site["harbour"]) == config.weather.sources


def test_a_site_may_have_an_order_of_its_own(read):
    text = (
        f'{RIGHT}[site.alp]\nlatitude = "47 deg"\nlongitude = "11 deg"\ntimezone = "Europe/Vienna"\n'
        'sources = ["met-norway"]\n[weather]\nsources = ["open-meteo", "met-norway"]\n'
    )
    config = read(text)
    assert {key: config.sources_of(site) for key, site in config.site.items()} == {
        "harbour": ("open-meteo", "met-norway"),
        "alp": ("met-norway",),
    }


def test_a_mistake_in_the_order_of_a_site_is_told_with_the_site(problems):
    assert problems("", site=site_by('["nsw"]')) == [
        'site.harbour.sources = ["nsw"] has "nsw", which is no source; did you mean nws?'
    ]


def site_by(sources):
    place = 'latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin"'
    return f"site.harbour = {{ {place}, sources = {sources} }}\n"


def test_what_a_site_asks_for_itself_needs_what_it_needs(problems, read):
    assert problems("", site=site_by('["table"]')) == [
        'weather.file is missing; the source "table" needs one, such as file = "weather.csv"'
    ]
    assert [line.partition(";")[0] for line in problems("", contact="", site=site_by('["nws"]'))] == [
        "contact is missing"
    ]
    piece = 'piece.toe_rail = { coating = "oil_varnish_1k" }\n'
    by_file = site_by('["table"]') + piece + '[weather]\nfile = "w.csv"\n'
    assert read(by_file).contact == ""  # nobody is asked over the network
    assert read(site_by('["sensors"]') + piece).contact == ""


@pytest.mark.parametrize("where", ['api_key_env = "KEY"', 'api_key_file = "key"'])
def test_the_key_of_a_service_comes_from_where_it_is_kept_and_is_never_shown(read, tmp_path, where):
    (tmp_path / "key").write_text(f"{SECRET}\n")
    (tmp_path / "key").chmod(0o600)
    text = f"{RIGHT}[weather.open-meteo]\n{CUSTOMER}\n{where}\n"
    config = read(text, env={"KEY": SECRET}, file=tmp_path / "yard.toml")
    assert config.weather.open_meteo.api_key.get_secret_value() == SECRET
    assert config.weather.open_meteo_ensemble.api_key.get_secret_value() == ""
    assert config.cautions == ()
    assert SECRET not in repr(config)


def test_a_command_that_alerts_nobody_has_the_key_where_it_can(read):
    text = f'{RIGHT}[weather.open-meteo]\n{CUSTOMER}\napi_key_env = "KEY"\n'
    keys = [read(text, env=env, secrets=False).weather.open_meteo.api_key for env in ({"KEY": SECRET}, {"HOME": "/x"})]
    assert [key.get_secret_value() for key in keys] == [SECRET, ""]


KEY_MISTAKES = [
    (
        'api_key_env = "KEY"',
        ["weather.open-meteo.base_url is missing; a key needs the host it is for beside it"],
    ),
    (
        f'{CUSTOMER}\napi_key_env = "NOWHERE"',
        [
            (
                'weather.open-meteo.api_key_env = "NOWHERE" is no variable of the environment; '
                "set it where this program starts"
            )
        ],
    ),
    (
        f'{CUSTOMER}\napi_key_env = "KEY"\napi_key_file = "key"',
        ["weather.open-meteo has api_key_env and api_key_file; wanted one of them"],
    ),
    (
        f'{CUSTOMER}\napi_key_env = "LINES"',
        ['weather.open-meteo.api_key_env = "LINES" leads to what is no key; wanted one line of plain ASCII letters'],
    ),
    (f"{CUSTOMER}\napi_key_env = 5", ["weather.open-meteo.api_key_env = 5 is not text; wanted a name in quotes"]),
    (
        f'{CUSTOMER}\napi_key = "{SECRET}"',
        ["weather.open-meteo.api_key is no key of [weather.open-meteo]; did you mean api_key_env?"],
    ),
    (
        'x = 1\n[weather.nws]\napi_key_env = "KEY"',
        [
            (
                "weather.open-meteo.x is no key of [weather.open-meteo]; "
                "its keys are base_url, api_key_env and api_key_file"
            ),
            "weather.nws.api_key_env is no key of [weather.nws]; its keys are base_url",
        ],
    ),
]


@pytest.mark.parametrize(("lines", "messages"), KEY_MISTAKES)
def test_a_mistake_about_a_key_is_told_without_the_key(problems, lines, messages):
    found = problems(f"[weather.open-meteo]\n{lines}\n", env={"KEY": SECRET, "LINES": f"{SECRET}\nX: 1", "HOME": "/x"})
    assert found == messages
    assert SECRET not in "".join(found)


def test_a_key_that_others_can_read_is_pointed_out(read, tmp_path):
    key = tmp_path / "key"
    key.write_text(SECRET)
    key.chmod(0o644)
    text = f'{RIGHT}[weather.open-meteo]\n{CUSTOMER}\napi_key_file = "key"\n'
    assert read(text, file=tmp_path / "yard.toml").cautions == (
        f"{key} holds the key of a weather service and other users can read it: chmod 600 {key}",
    )


def test_a_service_that_is_set_but_not_asked_is_pointed_out(read):
    assert read(f'{RIGHT}[weather.nws]\nbase_url = "https://nws.example"\n').cautions == (
        "weather.nws is set, but nws is not among the sources",
    )


def test_a_key_that_goes_in_the_clear_is_pointed_out(read):
    text = f'{RIGHT}[weather.open-meteo]\nbase_url = "http://weather.lan"\napi_key_env = "KEY"\n'
    assert read(text, env={"KEY": SECRET}).cautions == (
        "weather.open-meteo.base_url does not begin with https://: its key can be read on the way",
    )
