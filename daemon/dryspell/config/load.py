"""From a TOML file to a configuration that is right in all its parts, or to the list of all that is wrong with it."""

import os
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryspell.config import cautions
from dryspell.config.coatings import read_coatings
from dryspell.config.page import read_page
from dryspell.config.places import find_config, state_folder
from dryspell.config.problems import Problems
from dryspell.config.secrets import open_to_others
from dryspell.config.settings import (
    AlertSettings,
    Config,
    DaemonSettings,
    MqttOutSettings,
    RecordSettings,
    TopSettings,
)
from dryspell.config.source import read_tables, read_text
from dryspell.config.systems import coats_of, read_systems
from dryspell.config.weather import WeatherReader
from dryspell.config.wording import key_text, listed
from dryspell.errors import ConfigError
from dryspell.trade.families import Families, Over, family_keys
from dryspell.trade.piece import Piece, Site
from dryspell.trade.system import System

if TYPE_CHECKING:
    from dryspell.config.sensors import Sensing
    from dryspell.config.target import AlertTarget
    from dryspell.trade.person import Person
    from dryspell.trade.stock import Stock

KEYS = (
    "contact",
    "state",
    "site",
    "piece",
    "person",
    "coating",
    "system",
    "stock",
    "weather",
    "sensor",
    "broker",
    "push",
    "page",
    "record",
    "alerts",
    "alert",
    "mqtt_out",
    "daemon",
)


def load(
    path: Path | None = None, *, env: Mapping[str, str] | None = None, secrets: bool = True, pieces: bool = True
) -> Config:
    """Read a configuration.

    Parameters
    ----------
    path
        The file; None: the one DRYSPELL_CONFIG names, else the first in the usual places.
    env
        The environment, by default that of the process.
    secrets
        Fetch alert addresses from the environment and from files. Without it, targets that have theirs there are left
        out: for commands that alert nobody, and may be run by somebody who must not read them.
    pieces
        There have to be sites and pieces. Without it, they may be left out: for a command that has its own.

    Raises
    ------
    ConfigError
        With everything that is wrong, not only the first of it.
    """
    env = os.environ if env is None else env
    file = find_config(env) if path is None else path
    return parse(read_text(file), file, env=env, secrets=secrets, pieces=pieces)


def parse(text: str, file: Path, *, env: Mapping[str, str], secrets: bool = True, pieces: bool = True) -> Config:
    """Return the configuration in a TOML text, as `load` does.

    Parameters
    ----------
    text
        What the file holds.
    file
        Where it stands: it is named in messages, and relative paths start at its folder.
    env, secrets, pieces
        As for `load`.
    """
    return _Reading(read_tables(text, str(file)), file, env).config(secrets=secrets, needed=pieces)


class _Reading:
    """One configuration while it is read. A problem keeps nothing else from being looked at."""

    def __init__(self, tables: Mapping[str, Any], file: Path, env: Mapping[str, str]) -> None:
        self._tables = tables
        self._file = file
        self._folder = file.absolute().parent
        self._env = env
        self._problems = Problems(str(file))
        self._context = {"folder": self._folder, "env": env}

    def config(self, *, secrets: bool, needed: bool) -> Config:
        """Return the configuration, or raise ConfigError with all that is wrong."""
        self._problems.check_keys([], self._tables, KEYS, "the configuration")
        top_table = {key: self._tables[key] for key in ("contact", "state") if key in self._tables}
        top = self._problems.read(TopSettings, [], top_table, owner="the configuration", context=self._context)
        remarks: list[str] = []
        sites, pieces = self._group("site", "harbour", needed=needed), self._group("piece", "toe_rail", needed=needed)
        weather_reader = WeatherReader(self._problems, remarks, self._folder, self._env, fetch=secrets)
        site, of_sites = self._sites(sites, weather_reader)
        weather = weather_reader.read(self._table("weather"), of_sites, has_contact="contact" in self._tables)
        own_tables = self._group("coating", "my_varnish")
        own = read_coatings(own_tables, self._problems)
        coatings = [*family_keys(), *own_tables]
        system_tables = self._group("system", "rail_build_up")
        system = read_systems(system_tables, coatings, self._problems)
        piece = self._pieces(pieces, sites, coatings, system_tables, system)
        person, idle = self._people(pieces)
        stock = self._stock(self._group("stock", "varnish"), coatings)
        alerting = self._problems.read(AlertSettings, ["alerts"], self._alert_table(), owner="[alerts]")
        remarks += [remark for each in site.values() for remark in cautions.of_site(each)]
        remarks += [remark for each in own.values() for remark in cautions.of_coating(each)]
        remarks += [remark for each in piece.values() for remark in cautions.of_piece(each)]
        remarks += idle
        brokers = self._group("broker", "house")
        sensing = self._sensing(brokers, sites, pieces, remarks, fetch=secrets)
        alert_tables = self._group("alert", "phone")
        alerts = self._targets(alert_tables, pieces, sites, remarks, fetch=secrets)
        mqtt_out = self._mqtt_out(brokers)
        daemon = self._problems.read(DaemonSettings, ["daemon"], self._table("daemon"), owner="[daemon]")
        record = self._problems.read(RecordSettings, ["record"], self._table("record"), owner="[record]")
        page = read_page(self._table("page"), self._problems, remarks, self._folder, self._env, fetch=secrets)
        if any("url" in table for table in alert_tables.values()) and open_to_others(self._file):
            remarks.append(f"{self._file} holds an alert address and other users can read it: chmod 600 {self._file}")
        if self._problems.found or not (top and weather and alerting and daemon and record and page):
            raise ConfigError(self._problems.found)
        return Config(
            file=self._file,
            contact=top.contact,
            state_dir=state_folder(top.state, self._env),
            site=site,
            piece=piece,
            person=person,
            coating=Over(own, Families()),
            system=system,
            stock=stock,
            weather=weather,
            sensor=sensing.sensor if sensing else {},
            broker=sensing.broker if sensing else {},
            push=sensing.push if sensing else None,
            mqtt_out=mqtt_out,
            alerting=alerting,
            alerts=alerts,
            daemon=daemon,
            record=record,
            page=page,
            cautions=tuple(remarks),
        )

    def _table(self, name: str) -> Mapping[str, Any]:
        """Return a table of the configuration, empty where it is not there or is none."""
        table = self._tables.get(name, {})
        if isinstance(table, Mapping):
            return table
        self._problems.add_value([name], table, f"is no table; wanted one headed [{name}]")
        return {}

    def _group(self, name: str, example: str, *, needed: bool = False) -> dict[str, Mapping[str, Any]]:
        """Return the tables headed [name.KEY], by key."""
        group = self._tables.get(name, {})
        if needed and name not in self._tables:
            self._problems.add([name], f"is missing; wanted a table headed [{name}.KEY], such as [{name}.{example}]")
        if not isinstance(group, Mapping):
            self._problems.add_value([name], group, f"is no table; wanted one headed [{name}.KEY]")
            return {}
        for key, table in group.items():
            if not isinstance(table, Mapping):
                wanted = f"every {name} has a key of its own, so that its table is headed [{name}.KEY]"
                self._problems.add_value([name, key], table, f"is no table; {wanted}")
        tables = {key: table for key, table in group.items() if isinstance(table, Mapping)}
        for key in tables:
            self._problems.check_name([name, key])
        return tables

    def _sensing(
        self,
        brokers: Mapping[str, Any],
        sites: Mapping[str, Any],
        pieces: Mapping[str, Any],
        remarks: list[str],
        *,
        fetch: bool,
    ) -> "Sensing | None":
        """Return what there is of sensors; None where no table has to do with them, and their models are not built."""
        sensors, push = self._group("sensor", "mast"), self._table("push")
        if not (sensors or brokers or push):
            return None
        from dryspell.config.sensors import SensorReader  # noqa: PLC0415  (most have none, and models are slow to build)

        reader = SensorReader(self._problems, remarks, self._folder, self._env, fetch=fetch)
        return reader.read(sensors, brokers, push, sites, pieces)

    def _targets(
        self,
        tables: Mapping[str, Any],
        pieces: Mapping[str, Any],
        sites: Mapping[str, Any],
        remarks: list[str],
        *,
        fetch: bool,
    ) -> "dict[str, AlertTarget]":
        if not tables:
            return {}
        from dryspell.config.targets import TargetReader  # noqa: PLC0415  (as the sensors)

        reader = TargetReader(self._problems, remarks, self._folder, self._env, fetch=fetch)
        read = {key: reader.read(key, table, pieces, sites) for key, table in tables.items()}
        return {key: target for key, target in read.items() if target}

    def _mqtt_out(self, brokers: Mapping[str, Any]) -> MqttOutSettings | None:
        if "mqtt_out" not in self._tables:
            return None
        path, table = ["mqtt_out"], self._table("mqtt_out")
        filled_in = {}
        if "broker" not in table:
            filled_in["broker"] = next(iter(brokers), "")
            if len(brokers) != 1:
                wanted = f"one of the brokers {listed(brokers, 'or')}" if brokers else "a table headed [broker.KEY]"
                self._problems.add([*path, "broker"], f"is missing; wanted {wanted}")
        elif isinstance(table["broker"], str) and table["broker"] not in brokers:
            self._problems.add_reference([*path, "broker"], table["broker"], brokers, "broker")
        return self._problems.read(MqttOutSettings, path, table, owner="[mqtt_out]", filled_in=filled_in)

    def _alert_table(self) -> Mapping[str, Any]:
        table = dict(self._table("alerts"))
        for key in [key for key, value in table.items() if isinstance(value, Mapping)]:
            del table[key]
            self._problems.add(["alerts", key], f"is a table; the table of a target is headed [alert.{key_text(key)}]")
        return table

    def _sites(
        self, tables: Mapping[str, Mapping[str, Any]], weather: WeatherReader
    ) -> tuple[dict[str, Site], list[tuple[str, ...]]]:
        """Return the sites, and for each table of one its own order of sources, empty where it has none."""
        read, orders = {}, []
        for key, table in tables.items():
            path = ["site", key]
            order = weather.kinds([*path, "sources"], table["sources"]) if "sources" in table else ()
            filled_in = {"key": key, "sources": order}
            read[key] = self._problems.read(Site, path, table, owner="a site", filled_in=filled_in)
            orders.append(order)
        return {key: site for key, site in read.items() if site}, orders

    def _people(self, pieces: Mapping[str, Any]) -> tuple[dict[str, "Person"], list[str]]:
        """Return the people, and what looks odd about who does what."""
        tables = self._group("person", "kim")
        if not tables:
            return {}, []
        from dryspell.config.people import nobodys, read_people  # noqa: PLC0415  (as the sensors)

        people = read_people(tables, pieces, self._problems)
        return people, nobodys(people, pieces)

    def _stock(self, tables: Mapping[str, Mapping[str, Any]], coatings: list[str]) -> "dict[str, Stock]":
        if not tables:
            return {}
        from dryspell.trade.stock import Stock  # noqa: PLC0415  (as the sensors)

        read = {}
        for key, table in tables.items():
            path = ["stock", key]
            read[key] = self._problems.read(Stock, path, table, owner="what is at hand", filled_in={"key": key})
            value = table.get("coating")
            if isinstance(value, str) and value not in coatings:
                self._problems.add_reference([*path, "coating"], value, coatings, "coating")
        return {key: stock for key, stock in read.items() if stock}

    def _pieces(
        self,
        tables: Mapping[str, Mapping[str, Any]],
        sites: Mapping[str, Any],
        coatings: list[str],
        system_tables: Mapping[str, Any],
        systems: Mapping[str, System],
    ) -> dict[str, Piece]:
        pieces = {}
        for key, table in tables.items():
            path = ["piece", key]
            filled_in = {"key": key, **coats_of(path, table, systems, self._problems)}
            if "site" not in table:
                filled_in["site"] = next(iter(sites), "")
                if len(sites) > 1:
                    self._problems.add([*path, "site"], f"is missing; wanted one of the sites {listed(sites, 'or')}")
            piece = self._problems.read(Piece, path, table, owner="a piece", filled_in=filled_in)
            for name, known in (("site", list(sites)), ("coating", coatings), ("system", list(system_tables))):
                value = table.get(name)
                if isinstance(value, str) and value not in known:
                    self._problems.add_reference([*path, name], value, known, name)
            if piece:
                pieces[key] = piece
        return pieces
