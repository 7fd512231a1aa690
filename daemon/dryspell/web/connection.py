"""One connection of a browser, with a bound on its patience: whoever dawdles gives it up to the next."""

import asyncio
from typing import TYPE_CHECKING, Any

from uvicorn.protocols.http.h11_impl import H11Protocol

if TYPE_CHECKING:
    from uvicorn.config import Config
    from uvicorn.server import ServerState

ASK_WITHIN_S = 10.0
"""A request has to be here whole so soon after its connection, or the answer before it."""
TAKE_WITHIN_S = 60.0
"""An answer has to be taken so soon; no page of ours takes so long to make."""


class PatientConnection(H11Protocol):
    """Speaks HTTP/1.1, and closes on whoever sends or takes too slowly. The server's own bounds hold beside these."""

    def __init__(
        self,
        config: "Config",
        server_state: "ServerState",
        app_state: dict[str, Any],
        _loop: asyncio.AbstractEventLoop | None = None,
    ) -> None:
        super().__init__(config, server_state, app_state, _loop)
        self._patience: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as uvicorn has it
        """Begin to wait for the first request."""
        super().connection_made(transport)
        self._wait(ASK_WITHIN_S)

    def data_received(self, data: bytes) -> None:
        """Take in what came; once a request is whole, its answer has its time."""
        super().data_received(data)
        if self.cycle is not None and not self.cycle.more_body and not self.cycle.response_complete:
            self._wait(TAKE_WITHIN_S)

    def on_response_complete(self) -> None:
        """Begin to wait for the next request."""
        super().on_response_complete()
        self._wait(ASK_WITHIN_S)

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait for nothing more."""
        if self._patience is not None:
            self._patience.cancel()
            self._patience = None
        super().connection_lost(exc)

    def _wait(self, seconds: float) -> None:
        if self._patience is not None:
            self._patience.cancel()
        self._patience = self.loop.call_later(seconds, self._give_up)

    def _give_up(self) -> None:
        self.transport.abort()
