"""Web addresses, and how they are shown: without the keys in them."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from urllib.parse import parse_qsl, urlencode, urlsplit

from dryspell.errors import WeatherError

_SECRETS = frozenset({"apikey", "api_key", "appid", "key", "token"})
# An address in which nothing has to be quoted, folded or put in order.
_STEP = r"/[A-Za-z0-9_~-][A-Za-z0-9._~-]*"
_PLAIN = re.compile(rf"https?://[a-z0-9-]+(?:\.[a-z0-9-]+)*(?::[1-9]\d{{0,4}})?(?:(?:{_STEP})+|/)?", re.ASCII)


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
            full = _put_together(url, params)
            parts = urlsplit(full)
            host, port = parts.hostname, parts.port
        except ValueError:
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


def _put_together(url: str, params: Mapping[str, str]) -> str:
    """Return an address with its parameters as requests would ask it; ValueError where it would not."""
    if _PLAIN.fullmatch(url):
        # Nearly every one. The library takes a tenth of a second to be loaded, which an answer on disk does without.
        path = "" if url.count("/") > 2 else "/"
        return f"{url}{path}?{urlencode(params)}" if params else f"{url}{path}"
    import requests  # noqa: PLC0415

    try:
        return requests.Request("GET", url, params=dict(params)).prepare().url or ""
    except requests.exceptions.RequestException as error:
        raise ValueError(str(error)) from None
