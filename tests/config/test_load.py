"""What a configuration that is right becomes."""

from datetime import time
from pathlib import Path

import pytest

from dryspell.alerts.quiet import Quiet
from dryspell.config import load
from dryspell.errors import ConfigError

LINES = """\
contact = "you@example.org"
site.harbour = { latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }
piece.toe_rail = { coating = "oil_varnish_1k" }
alert.phone = { url = "json://localhost/varnish" }
"""


def test_four_lines_are_enough(read):
    config = read(LINES)
    assert config.piece["toe_rail"].site == "harbour"
    assert config.site_of(config.piece["toe_rail"]).zone.key == "Europe/Berlin"
    assert config.lay_of(config.piece["toe_rail"], 1).coating.key == "oil_varnish_1k"
    assert config.contact == "you@example.org"
    assert config.alerts["phone"].url.get_secret_value() == "json://localhost/varnish"
    assert config.alerts["phone"].hears_of("toe_rail")


def test_what_is_left_out_has_the_documented_default(read):
    config = read(LINES)
    assert (config.weather.sources, config.weather.refresh_s, config.weather.stale_after_h) == (
        ("open-meteo",),
        3600,
        6,
    )
    assert (config.alerting.evening, config.alerting.units) == (time(18, 0), "metric")
    assert (config.alerting.quiet, config.alerting.link) == (Quiet(time(21, 30), time(6, 30)), "")
    assert config.daemon.tick_s == 60


def test_headed_dotted_and_inline_tables_say_the_same(read):
    headed = (
        'contact = "you@example.org"\n'
        '[site.harbour]\nlatitude = "54.3 deg"\nlongitude = "10.2 deg"\ntimezone = "Europe/Berlin"\n'
        '[piece.toe_rail]\ncoating = "oil_varnish_1k"\n[alert.phone]\nurl = "json://localhost/varnish"\n'
    )
    dotted = (
        'contact = "you@example.org"\n'
        'site.harbour.latitude = "54.3 deg"\nsite.harbour.longitude = "10.2 deg"\n'
        'site.harbour.timezone = "Europe/Berlin"\npiece.toe_rail.coating = "oil_varnish_1k"\n'
        'alert.phone.url = "json://localhost/varnish"\n'
    )
    assert read(headed) == read(dotted) == read(LINES)


def test_units_of_the_reader_become_si(read):
    config = read(
        LINES + '[piece.spar]\ncoating = "spar"\narea = "43.0556417 sq ft"\nbrush_time = "90 min"\n'
        '[coating.spar]\nfamily = "oil_varnish_1k"\nair = ["50 degF", "86 degF"]\nmargin_apply = "9 degF"\n'
        'wet_film = "3 mils"\nwind_stop = "12 knots"\n[weather]\nstale_after = "0.5 d"\n'
    )
    spar = config.coating["spar"]
    assert config.piece["spar"].area_m2 == pytest.approx(4.0)
    assert config.piece["spar"].brushing_h == 1.5
    assert spar.air_c == (10.0, 30.0)
    assert spar.margin_apply_k == pytest.approx(5.0)
    assert spar.wet_film_um == pytest.approx(76.2)
    assert spar.wind_stop_m_s == pytest.approx(12 * 1852 / 3600)
    assert config.weather.stale_after_h == 12


def test_a_coating_of_ones_own_keeps_what_the_sheet_is_silent_about(read):
    config = read(
        LINES + '[coating.spar]\nfamily = "oil_varnish_1k"\nhumidity_max = "80 %"\novercoat_max = "none"\n'
        'touch_dry = { "20 degC" = "5 h", "10 degC" = "9 h" }\n'
    )
    spar, family = config.coating["spar"], config.coating["oil_varnish_1k"]
    assert spar.label == "spar"
    assert spar.humidity_max_pct == 80
    assert spar.overcoat_max is None
    assert spar.touch_dry == ((10.0, 9.0), (20.0, 5.0))
    assert spar.dew_safe == family.dew_safe
    assert {key for key in spar.figures() if spar.mark_of(key) == "yours"} == {"humidity_max", "touch_dry"}
    assert spar.mark_of("margin_apply") == family.mark_of("margin_apply")
    assert family.mark_of("touch_dry") == "common practice, no source"


def test_every_built_in_family_is_there_under_its_key(read):
    assert len(read(LINES).coating) == 11
    assert all(key == coating.key == coating.family for key, coating in read(LINES).coating.items())


def test_a_configuration_does_not_change(read):
    config = read(LINES)
    with pytest.raises(AttributeError):
        config.contact = "somebody else"


def test_paths_start_at_the_folder_of_the_file_or_at_home(read, tmp_path):
    file = tmp_path / "yard.toml"

    def weather_file(written):
        text = f'{LINES}[weather]\nsources = ["table"]\nfile = "{written}"\n'
        return read(text, file=file, env={"HOME": "/home/you"}).weather.file

    assert weather_file("tables/may.csv") == tmp_path / "tables/may.csv"
    assert weather_file("/srv/may.csv") == Path("/srv/may.csv")
    assert weather_file("~/may.csv") == Path("/home/you/may.csv")


def test_the_state_is_where_the_environment_the_file_or_the_xdg_standard_says(read):
    with_state = 'state = "/srv/varnish"\n' + LINES
    home = {"HOME": "/home/you"}
    assert read(LINES, env=home).state_dir == Path("/home/you/.local/state/dryspell")
    assert read(LINES, env=home | {"XDG_STATE_HOME": "/var/x"}).state_dir == Path("/var/x/dryspell")
    # XDG Base Directory Specification: "If an implementation encounters a relative path ... it should ... ignore it."
    assert read(LINES, env=home | {"XDG_STATE_HOME": "x"}).state_dir == Path("/home/you/.local/state/dryspell")
    assert read(with_state, env=home).state_dir == Path("/srv/varnish")
    assert read(with_state, env=home | {"DRYSPELL_STATE": "/data"}).state_dir == Path("/data")


def test_the_file_is_looked_for_where_the_environment_and_then_the_xdg_standard_says(tmp_path):
    home = {"HOME": str(tmp_path)}
    with pytest.raises(ConfigError) as caught:
        load(env=home)
    assert str(caught.value) == (
        f"there is no configuration file; looked for {tmp_path}/.config/dryspell/dryspell.toml and "
        "/etc/dryspell/dryspell.toml; name another with --config FILE"
    )
    usual = tmp_path / ".config/dryspell/dryspell.toml"
    usual.parent.mkdir(parents=True)
    usual.write_text(LINES)
    assert load(env=home).file == usual
    named = tmp_path / "named.toml"
    named.write_bytes(b"\xef\xbb\xbf" + LINES.encode())  # with the byte order mark of some editors
    assert load(env=home | {"DRYSPELL_CONFIG": str(named)}).file == named


def test_the_evening_may_be_text_or_a_time_of_toml(read):
    assert read(LINES + '[alerts]\nevening = "7:05"\n').alerting.evening == time(7, 5)
    assert read(LINES + "[alerts]\nevening = 19:30:00\n").alerting.evening == time(19, 30)


def test_quiet_hours_that_hold_the_evening_are_a_problem(read):
    text = LINES + '[alerts]\nevening = "22:00"\n'
    with pytest.raises(ConfigError, match=r"hold the evening \(22:00\)"):
        read(text)
    assert read(text + 'quiet = "none"\nlink = "http://shed.local:8080"\n').alerting.quiet is None
