"""The example shows every key, at its default or filled with something invented, and all of it loads."""

import re
import tomllib

import pytest

from dryspell.bundled import bundled
from dryspell.config import parse
from dryspell.config.load import KEYS
from dryspell.config.page import PageSettings
from dryspell.config.problems import written_keys
from dryspell.config.services import SERVICES, WeatherSettings
from dryspell.config.settings import (
    AlertSettings,
    DaemonSettings,
    MqttOutSettings,
    RecordSettings,
)
from dryspell.config.target import NOTICE_KINDS
from dryspell.config.targets import KEYS as TARGET_KEYS
from dryspell.trade.coating import toml_keys
from dryspell.trade.factors import factor_keys
from dryspell.trade.person import Person
from dryspell.trade.piece import Piece, Site
from dryspell.trade.stock import Stock
from dryspell.trade.system import Step, System

FILE = bundled("example.toml")
TEXT = FILE.read_text("utf-8")
UNCOMMENTED = re.sub(r"(?m)^#(?=[\[a-z])", "", TEXT)
HOME = {"HOME": "/home/you"}


def config_of(text, **how):
    return parse(text, FILE, env=HOME, secrets=False, **how)


def test_the_example_loads_as_it_stands():
    config = config_of(TEXT)
    assert list(config.piece) == ["toe_rail"]
    assert config.cautions == ()


def test_the_example_loads_with_every_line_uncommented():
    config = config_of(UNCOMMENTED)
    assert list(config.piece) == ["toe_rail", "skylight", "bench"]
    assert list(config.alerts) == ["house"]  # the others have theirs elsewhere


def test_the_example_loads_with_its_alternatives():
    instead = re.sub(r'(?m)^sources = \["open-meteo"\]\n(##)?', "", UNCOMMENTED)
    instead = re.sub(r'(?m)^base_url = .*open-meteo.com"\n##', "", instead)
    instead = re.sub(r"(?m)^##api_key_file.*\n", "", instead)
    instead = re.sub(r'(?m)^(pot_life|induction) = "none"\n##', "", instead)
    config = config_of(re.sub(r"(?m)^##", "", instead))
    assert config.weather.sources == ("table", "met-norway", "open-meteo-ensemble", "open-meteo", "nws")
    assert config.weather.open_meteo.base_url == "https://customer-api.open-meteo.com"
    assert config.weather.file == FILE.parent / "weather.csv"
    assert config.coating["my_varnish"].induction_min == (0, 15)


def keys_in_example():
    tables = tomllib.loads(re.sub(r"(?m)^##(?!sources|base_url|pot_life|induction)", "", UNCOMMENTED))

    def of_group(name):
        return set().union(*tables[name].values())

    return [
        (set(tables), KEYS),
        (of_group("site"), written_keys(Site)),
        (of_group("piece"), written_keys(Piece)),
        (of_group("coating"), ["family", *toml_keys()]),
        (set(tables["coating"]["my_varnish"]["factors"]), factor_keys()),
        (of_group("system"), written_keys(System)),
        (set().union(*tables["system"]["bench_build_up"]["coats"]), written_keys(Step)),
        (of_group("stock"), written_keys(Stock)),
        (of_group("person"), written_keys(Person)),
        (of_group("alert"), TARGET_KEYS),
        (set(tables["weather"]), written_keys(WeatherSettings)),
        *((set(tables["weather"][name]), written_keys(model)) for name, model in SERVICES.items()),
        (set(tables["alerts"]), written_keys(AlertSettings)),
        (set(tables["daemon"]), written_keys(DaemonSettings)),
        (set(tables["record"]), written_keys(RecordSettings)),
        (set(tables["page"]) | {"token", "token_file"}, written_keys(PageSettings)),
        (set(tables["mqtt_out"]), written_keys(MqttOutSettings)),
    ]


@pytest.mark.parametrize(("shown", "known"), keys_in_example())
def test_the_example_shows_every_key_there_is(shown, known):
    assert shown == set(known)


def test_what_is_commented_out_is_the_default():
    as_it_stands, uncommented = config_of(TEXT), config_of(UNCOMMENTED)
    assert uncommented.weather == as_it_stands.weather == WeatherSettings()
    assert uncommented.alerting == as_it_stands.alerting == AlertSettings()
    assert uncommented.daemon == as_it_stands.daemon == DaemonSettings()
    assert uncommented.record == as_it_stands.record == RecordSettings()
    assert uncommented.state_dir == as_it_stands.state_dir
    invented = {"label": "", "brush_time_h": None, "sun": (), "horizon": ()}
    invented |= {"cover": (), "tags": (), "wood_moisture_pct": None, "prepare_time_h": None}
    invented |= {"wind_share_pct": None, "back_conductance_w_m2_k": None}
    assert uncommented.piece["toe_rail"].model_copy(update=invented) == as_it_stands.piece["toe_rail"]
    invented_too = {"label": "", "sources": ()}
    assert uncommented.site["quillhaven"].model_copy(update=invented_too) == as_it_stands.site["quillhaven"]
    assert uncommented.coating["my_varnish"].figures() == as_it_stands.coating["my_varnish"].figures()


def test_every_family_is_named_in_the_example():
    assert all(key in TEXT for key in config_of(TEXT).coating)


def test_every_kind_of_notice_is_named_in_the_example():
    words = set(re.findall(r"[a-z_]+", TEXT))
    assert set(NOTICE_KINDS) <= words
