"""Web addresses, and how they are shown: without the keys in them."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from urllib.parse import parse_qsl, urlencode, urlsplit

import requests

from dryspell.errors import WeatherError

_SECRETS = frozenset({"apikey", "api_key", "appid", "key", "token"})


@dataclass(frozen=True)
class Address:
    """An address to ask in `full`, and the same as `shown` and stored: without keys, names and passwords."""

    full: str
    shown: str
    host: str
    secrets: tuple[str, ...]

    @classmethod
    def of(cls, url: str, params: Mapping[str, str], keys: Iterable[str] = ()) -> "Address":
        """Put an address together; WeatherError where it is not one that can be asked.

        Parameters
        ----------
        keys
            What is secret beside the keys in the address itself.
        """
        try:
            full = requests.Request("GET", url, params=dict(params)).prepare().url or ""
            parts = urlsplit(full)
            host, port = parts.hostname, parts.port
        except (requests.exceptions.RequestException, ValueError):
            host = None
        if not host or parts.scheme not in {"http", "https"}:
            raise WeatherError(
                "the address of the weather service is not a web address; write one such as https://host"
            )
        query = parse_qsl(parts.query, keep_blank_values=True)
        open_query = urlencode([(name, value) for name, value in query if name.lower() not in _SECRETS])
        shown = f"{parts.scheme}://{f'[{host}]' if ':' in host else host}" + (f":{port}" if port else "") + parts.path
        secrets = tuple(value for name, value in query if name.lower() in _SECRETS and value)
        secrets += tuple(key for key in keys if key)
        return cls(full, f"{shown}?{open_query}" if open_query else shown, host, secrets)

    def without_secrets(self, text: str) -> str:
        """Return a text without the keys that a server may have repeated in it."""
        for secret in self.secrets:
            text = text.replace(secret, "…")
        return text
