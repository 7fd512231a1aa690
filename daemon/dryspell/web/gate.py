"""Who may see the page and change the record: whoever knows the token, where there is one."""

import hmac
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from time import monotonic

from dryspell.clock import Clock
from dryspell.config.page import PageSettings
from dryspell.errors import ConfigError
from dryspell.web.rates import Tries
from dryspell.web.sessions import Sessions

COOKIE = "dryspell_session"


class Gate:
    """Knows the token, who is logged in, and who has tried too often.

    Parameters
    ----------
    folder
        Where sessions are kept.
    stopwatch
        Seconds that run on whatever the clock is set to.

    Raises
    ------
    ConfigError
        Where the page would be open to other machines without a token.
    """

    def __init__(
        self, settings: PageSettings, clock: Clock, folder: Path, stopwatch: Callable[[], float] = monotonic
    ) -> None:
        if settings.token is None and not settings.is_loopback:
            raise ConfigError(["the page is served to other machines only with a token; set page.token_env"])
        self._token = settings.token.get_secret_value().encode() if settings.token else None
        self._sessions = Sessions(folder, clock.now)
        self._tries = Tries(stopwatch)
        self.form_token, self.login_token = (
            hmac.new(self._sessions.form_key, what, sha256).hexdigest()[:32] for what in (b"forms", b"login")
        )

    @property
    def asks(self) -> bool:
        """Whether a token is asked for."""
        return self._token is not None

    def rest_s(self, client: str) -> float:
        """Return for how long nothing that an address tries is looked at."""
        return self._tries.rest_s(client)

    def is_token(self, given: str, client: str) -> bool:
        """Say whether that is the token; a wrong one counts against the address it comes from."""
        right = self._token is not None and hmac.compare_digest(_bytes(given), self._token)
        if right:
            self._tries.succeeded(client)
        else:
            self._tries.failed(client)
        return right

    def begin(self) -> str:
        """Begin a session and return its name."""
        return self._sessions.begin()

    def is_session(self, name: str) -> bool:
        """Say whether a session of that name is on."""
        return bool(name) and len(name) <= 100 and self._sessions.knows(name)

    def end(self, name: str) -> None:
        """End a session."""
        self._sessions.end(name)

    def end_all(self) -> None:
        """End every session."""
        self._sessions.end_all()

    def is_form_token(self, given: str, *, of_login: bool = False) -> bool:
        """Say whether a form is one of ours; the one to log in with, which everybody may see, is marked otherwise."""
        return hmac.compare_digest(_bytes(given), (self.login_token if of_login else self.form_token).encode())

    def feed_key(self, feed: str) -> str:
        """Return what lets in a program that can only be given an address; empty where no token is asked for.

        It opens that one feed, tells nothing of the token, and is another one when the token is.
        """
        if self._token is None:
            return ""
        return hmac.new(self._token, f"feed {feed}".encode(), sha256).hexdigest()[:40]

    def is_feed_key(self, feed: str, given: str) -> bool:
        """Say whether that opens a feed."""
        return self._token is not None and hmac.compare_digest(_bytes(given), self.feed_key(feed).encode())


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")
