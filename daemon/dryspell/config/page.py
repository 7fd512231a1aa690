"""The [page] part of a configuration: where the page is served, to whom, and behind what."""

import re
from collections.abc import Mapping
from ipaddress import ip_address
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, SecretStr

from dryspell.config.problems import Problems, written_keys
from dryspell.config.secrets import SecretReader
from dryspell.config.wording import listed

DEFAULT_LISTEN = ("127.0.0.1", 8417)
NOWHERE = "none"
SHORTEST_TOKEN = 16
TOKEN_KEYS = ("token_env", "token_file")

_NAME = re.compile(r"[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)*", re.ASCII)
_PREFIX = re.compile(r"(/[A-Za-z0-9_~.-]+)+", re.ASCII)


def is_loopback(host: str) -> bool:
    """Say whether only programs on this machine reach an address to listen on."""
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False


def _read_listen(value: Any) -> tuple[str, int] | None:
    if value is None or isinstance(value, tuple):
        return value
    if value == NOWHERE:
        return None
    host, _, port = value.rpartition(":") if isinstance(value, str) else ("", "", "")
    if host.startswith("[") and host.endswith("]"):
        host = host[1:-1]
    elif ":" in host:
        host = ""
    number = int(port) if port.isascii() and port.isdigit() and len(port) < 6 else -1
    if not _is_host(host) or not 0 <= number <= 65_535:
        raise ValueError('is no address to listen on; wanted host and port, such as "127.0.0.1:8417", or "none"')
    return host, number


def _is_host(host: str) -> bool:
    try:
        ip_address(host)
    except ValueError:
        return len(host) <= 253 and _NAME.fullmatch(host) is not None
    return True


def _read_hosts(value: Any) -> tuple[str, ...]:
    wanted = 'wanted such as ["varnish.lan"], without a port'
    if not isinstance(value, list | tuple) or not all(isinstance(host, str) for host in value):
        raise ValueError(f"is no list of names; {wanted}")
    hosts = tuple(host.lower().rstrip(".") for host in value)
    for host in hosts:
        if not _is_host(host):
            raise ValueError(f'has "{host}", which is no name of a host; {wanted}')
    return hosts


def _read_proxies(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list | tuple) or not all(isinstance(address, str) for address in value):
        raise ValueError('is no list of addresses; wanted such as ["127.0.0.1"]')
    for address in value:
        try:
            ip_address(address)
        except ValueError:
            raise ValueError(f'has "{address}", which is no address; wanted such as ["127.0.0.1"]') from None
    return tuple(value)


def _read_prefix(value: Any) -> str:
    if value == "" or (isinstance(value, str) and len(value) <= 100 and _PREFIX.fullmatch(value) and ".." not in value):
        return str(value)
    raise ValueError('is no beginning of a path; wanted such as "/varnish", without a slash at its end')


class PageSettings(BaseModel):
    """Where the page is served, to whom, and behind what."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    listen: Annotated[tuple[str, int] | None, BeforeValidator(_read_listen)] = Field(
        default=DEFAULT_LISTEN, description='host and port to listen on (0 is any free port), or "none" for no page'
    )
    token_env: str = Field(
        default="", description="the variable of the environment that holds the token to log in with"
    )
    token_file: str = Field(
        default="", examples=["/etc/dryspell/page-token"], description="the file that holds it, instead"
    )
    hosts: Annotated[tuple[str, ...], BeforeValidator(_read_hosts)] = Field(
        default=(), description="names the page is reached by, beside localhost and addresses"
    )
    prefix: Annotated[str, BeforeValidator(_read_prefix)] = Field(
        default="", description="what its paths begin with, behind a proxy that serves other things too"
    )
    proxies: Annotated[tuple[str, ...], BeforeValidator(_read_proxies)] = Field(
        default=(), description="addresses of proxies that are believed who asks, and whether by https"
    )
    token: SecretStr | None = None

    @property
    def is_loopback(self) -> bool:
        """Whether only programs on this machine reach it; so it is where nothing is served."""
        return self.listen is None or is_loopback(self.listen[0])


def read_page(
    table: Mapping[str, Any],
    problems: Problems,
    remarks: list[str],
    folder: Path,
    env: Mapping[str, str],
    *,
    fetch: bool,
) -> PageSettings | None:
    """Return what the [page] table says, or None where something is wrong with it.

    Parameters
    ----------
    problems, remarks
        Where to note what is wrong, and what deserves a second look.
    folder, env
        Where relative paths start, and the environment.
    fetch
        Look for the token; without it there is none, and nobody may be served beyond loopback.
    """
    path, before = ["page"], len(problems.found)
    keys = [key for key in written_keys(PageSettings) if key != "token"]
    problems.check_keys(path, table, keys, "[page]")
    token = _token(table, problems, SecretReader(problems, remarks, folder, env, what="the token of the page"), fetch)
    rest = {key: table[key] for key in keys if key in table and key not in TOKEN_KEYS}
    page = problems.read(PageSettings, path, rest, owner="[page]", filled_in={"token": token})
    if page is None or len(problems.found) > before:
        return None
    has_token = any(key in table for key in TOKEN_KEYS)
    if not page.is_loopback and not has_token:
        problems.add_value(
            [*path, "listen"],
            table.get("listen"),
            "is reached from other machines and has no token; wanted one of token_env or token_file beside it, or "
            '"127.0.0.1:8417"',
        )
        return None
    if not page.is_loopback and not page.proxies:
        remarks.append("page.listen: what is sent there, the token too, can be read on the way; put a proxy with https "
                       "before it, or keep that port within your own network")  # fmt: skip
    if page.is_loopback and (page.proxies or page.hosts or page.prefix) and not has_token:
        remarks.append("page: whoever reaches it by way of a proxy can read and change the record; token_env or "
                       "token_file asks for a token")  # fmt: skip
    return page


def _token(table: Mapping[str, Any], problems: Problems, secrets: SecretReader, fetch: bool) -> SecretStr | None:
    given = [key for key in TOKEN_KEYS if key in table]
    if len(given) > 1:
        problems.add(["page"], f"has {listed(given)}; wanted one of them")
    if len(given) != 1:
        return None
    (key,) = given
    path, value = ["page", key], table[key]
    if not secrets.is_name(path, value) or not fetch:
        return None
    find = secrets.from_file if key == "token_file" else secrets.from_environment
    token = find(path, value)
    if token is None:
        return None
    if len(token) < SHORTEST_TOKEN or len(token) > 200 or not token.isascii() or not token.isprintable():
        problems.add_value(
            path, value, f"leads to what is no token; wanted one line of {SHORTEST_TOKEN} plain letters or more"
        )
        return None
    return SecretStr(token)
