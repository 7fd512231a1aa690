"""The sources that a configuration names are made as it says."""

import pytest
import responses

from dryspell.config import parse
from dryspell.errors import WeatherError
from dryspell.tick.alone import SensorsAlone
from dryspell.tick.sources import archive_of, sources_of
from dryspell.weather.sources.met_norway import MetNorway
from dryspell.weather.sources.nws import NwsGrid
from dryspell.weather.sources.open_meteo import OpenMeteo
from dryspell.weather.sources.open_meteo_ensemble import OpenMeteoEnsemble
from dryspell.weather.sources.preferred import Preferred
from dryspell.weather.sources.table_file import TableFile
from yard import START

PLACE = 'latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin"'
TEXT = """
state = "{state}"
contact = "you@example.org"
site.harbour = {{ {place}, afloat = true }}
site.orchard = {{ {place}, elevation = "412 m", sources = ["{own}"] }}
piece.rail = {{ site = "harbour", coating = "oil_varnish_1k" }}
"""


@pytest.fixture
def configured(tmp_path):
    def make(weather, own="open-meteo", **env):
        text = TEXT.format(state=tmp_path / "state", place=PLACE, own=own) + weather
        return parse(text, tmp_path / "yard.toml", env=env)

    return make


KINDS = {
    "open-meteo": OpenMeteo,
    "open-meteo-ensemble": OpenMeteoEnsemble,
    "met-norway": MetNorway,
    "nws": NwsGrid,
    "table": TableFile,
}


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_makes_its_source(configured, kind):
    file = '\nfile = "weather.csv"' if kind == "table" else ""
    made = sources_of(configured(f'[weather]\nsources = ["{kind}"]{file}\n'), None)
    assert type(made["harbour"]) is KINDS[kind]
    assert type(made["orchard"]) is OpenMeteo
    assert kind == "table" or made["harbour"].name == kind


def test_several_are_taken_in_order_and_a_site_may_have_its_own(configured):
    made = sources_of(configured('[weather]\nsources = ["met-norway", "open-meteo-ensemble"]\n', own="nws"), None)
    assert type(made["harbour"]) is Preferred
    assert made["harbour"].name == "met-norway then open-meteo-ensemble"
    assert type(made["orchard"]) is NwsGrid


def requested(source, url):
    """The one request a source makes, answered with a refusal."""
    with responses.RequestsMock() as web:
        web.get(url, status=404)
        with pytest.raises(WeatherError):
            source.fetch(START)
        return web.calls[0].request


@pytest.mark.parametrize(
    ("kind", "path"),
    [
        ("open-meteo", "/v1/forecast"),
        ("open-meteo-ensemble", "/v1/ensemble"),
        ("met-norway", "/weatherapi/locationforecast/2.0/complete"),
        ("nws", "/points/54.3,10.2"),
    ],
)
def test_each_service_is_asked_at_the_host_that_is_set_with_the_contact(configured, kind, path):
    config = configured(f'[weather]\nsources = ["{kind}"]\n{kind}.base_url = "https://weather.example/own"\n')
    request = requested(sources_of(config, None)["harbour"], f"https://weather.example/own{path}")
    assert request.headers["User-Agent"].endswith("(+you@example.org)")


@pytest.mark.parametrize(("kind", "path"), [("open-meteo", "/v1/forecast"), ("open-meteo-ensemble", "/v1/ensemble")])
def test_a_customers_key_is_sent_in_a_header(configured, kind, path):
    text = (
        f'[weather]\nsources = ["{kind}"]\n[weather.{kind}]\nbase_url = "https://paid.example"\napi_key_env = "KEY"\n'
    )
    request = requested(sources_of(configured(text, KEY="k3y"), None)["harbour"], f"https://paid.example{path}")
    assert request.headers["X-Api-Key"] == "k3y"
    assert "k3y" not in request.url
    assert "cell_selection=sea" in request.url


def test_the_model_of_the_ensemble_and_the_days_ahead_are_those_set(configured):
    text = (
        '[weather]\nsources = ["open-meteo-ensemble"]\nforecast_days = 9\nopen-meteo-ensemble.model = "ncep_gefs025"\n'
    )
    url = "https://ensemble-api.open-meteo.com/v1/ensemble"
    asked = requested(sources_of(configured(text), None)["harbour"], url).url
    assert "models=ncep_gefs025" in asked
    assert "forecast_days=9" in asked


def test_met_norway_is_told_a_height_only_where_there_is_one(configured):
    made = sources_of(configured('[weather]\nsources = ["met-norway"]\n', own="met-norway"), None)
    url = "https://api.met.no/weatherapi/locationforecast/2.0/complete"
    assert "altitude" not in requested(made["harbour"], url).url
    assert "altitude=412" in requested(made["orchard"], url).url


def test_a_site_may_go_by_its_sensors(configured):
    assert type(sources_of(configured("", own="sensors"), None)["orchard"]) is SensorsAlone


def test_the_past_of_a_site_is_asked_for_where_its_forecast_is_for(configured):
    config = configured("")
    url = "https://archive-api.open-meteo.com/v1/archive"
    with responses.RequestsMock() as web:
        web.get(url, status=404)
        with pytest.raises(WeatherError):
            archive_of(config, config.site["harbour"]).same_days(START, 10)
        assert "latitude=54.3000&longitude=10.2000" in web.calls[0].request.url
        assert "cell_selection=sea" in web.calls[0].request.url
