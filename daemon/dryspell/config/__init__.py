"""Reads the configuration: one TOML file, every quantity with its unit, every problem named at once."""

from dryspell.config.load import load, parse
from dryspell.config.services import WeatherSettings
from dryspell.config.settings import AlertSettings, Config, DaemonSettings

__all__ = ["AlertSettings", "Config", "DaemonSettings", "WeatherSettings", "load", "parse"]
