"""Read by every Python that a test starts: it ends where it would reach beyond loopback."""

import no_network

no_network.watch(end_process=True)
