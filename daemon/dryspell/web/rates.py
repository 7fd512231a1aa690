"""How often a stranger may try: a few wrong tokens from one address, then none for a while."""

import time
from collections import OrderedDict
from collections.abc import Callable
from ipaddress import IPv6Address, ip_address

TRIES = 5
REST_S = 300.0
MOST_KEPT = 4096
"""So many addresses are remembered; the one that tried longest ago is forgotten first."""


class Tries:
    """Counts failures by the address they come from.

    Parameters
    ----------
    stopwatch
        Seconds that run on whatever the clock is set to.
    """

    def __init__(self, stopwatch: Callable[[], float] = time.monotonic) -> None:
        self._stopwatch = stopwatch
        self._failed: OrderedDict[str, tuple[int, float]] = OrderedDict()

    def rest_s(self, client: str) -> float:
        """Return for how long an address is to be refused, 0 for not at all."""
        count, since = self._failed.get(_block(client), (0, 0.0))
        return max(0.0, since + REST_S - self._stopwatch()) if count >= TRIES else 0.0

    def failed(self, client: str) -> None:
        """Count a failure."""
        key, now = _block(client), self._stopwatch()
        count, since = self._failed.pop(key, (0, now))
        self._failed[key] = (1, now) if now - since > REST_S else (count + 1, now)
        while len(self._failed) > MOST_KEPT:
            self._failed.popitem(last=False)

    def succeeded(self, client: str) -> None:
        """Forget what failed from an address."""
        self._failed.pop(_block(client), None)


def _block(client: str) -> str:
    """Return what stands for an address: of IPv6 its network, since a host has as many addresses there as it likes."""
    try:
        address = ip_address(client)
    except ValueError:
        return client[:64]
    if isinstance(address, IPv6Address):
        return str(IPv6Address(int(address) >> 64 << 64))
    return str(address)
