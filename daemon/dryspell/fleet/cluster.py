"""Workers that judge: processes of this machine, or whatever joined a Dask cluster somewhere."""

import logging
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from dryspell import __version__
from dryspell.errors import FleetError
from dryspell.fleet.columns import Answer
from dryspell.fleet.judge import Job, OtherVersionError, judge_all

if TYPE_CHECKING:
    from distributed import Client, Future

CONNECT_S = 15
JOIN_S = 60
"""So long a cluster may be without any worker at the start."""
COUNT_EVERY_S = 2.0
"""Workers may join and leave a cluster; to ask how many there are costs as much as to hand out a load."""
RETRIES = 2
AHEAD = 3
"""Loads handed out for each thread of the workers: one at work, and what keeps it busy meanwhile."""
_LOOPBACK = "127.0.0.1"
_NO_PAGES: Mapping[str, list[str]] = {f"distributed.{of}.http.routes": [] for of in ("scheduler", "worker")}
"""Nothing about the work is told over HTTP."""
_NO_PROFILE: Mapping[str, bool] = {"distributed.worker.profile.enabled": False}
"""Nobody asks a worker where its time goes, and what it notes of that every second grows for an hour."""
_KEPT_BYTES = 32 << 20
"""So much free memory a worker of this machine keeps. Dask has its workers give back what is beyond 64 KiB at once, and
to take it anew, page by page, was more than half of the time of a question with 20 members."""
_MEMORY: Mapping[str, int] = {
    f"distributed.nanny.pre-spawn-environ.MALLOC_{of}_THRESHOLD_": _KEPT_BYTES for of in ("TRIM", "MMAP")
}


@contextmanager
def local_client(workers: int) -> "Iterator[Client]":
    """Start processes on this machine and yield a client of theirs; they end with it.

    They listen on loopback alone, and by TLS with certificates made for the occasion: who reaches a worker can run
    anything there, and other users of this machine reach loopback as well.
    """
    import dask  # noqa: PLC0415  (an extra, as is the next)
    from distributed import Client, LocalCluster  # noqa: PLC0415

    with (
        dask.config.set({**_NO_PAGES, **_NO_PROFILE, **_MEMORY}),
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            processes=True,
            host=_LOOPBACK,
            protocol="tls://",
            security=True,
            dashboard_address=None,
            scheduler_kwargs={"dashboard_address": f"{_LOOPBACK}:0"},
            silence_logs=logging.CRITICAL,
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client


@contextmanager
def client_at(address: str) -> "Iterator[Client]":
    """Join a cluster and yield a client; certificates for tls:// are those of Dask's own configuration.

    Raises
    ------
    FleetError
        There is no scheduler at the address, or no worker has joined it.
    """
    from distributed import Client  # noqa: PLC0415  (an extra)

    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise FleetError(f"no Dask cluster can be joined at {address}: {error}") from None
    with client:
        try:
            client.wait_for_workers(1, timeout=JOIN_S)
        except TimeoutError:
            raise FleetError(f"the Dask cluster at {address} has had no worker for {JOIN_S} s") from None
        yield client


class Workers:
    """Hands loads of jobs to workers and takes answers as they come.

    A load of a worker that was killed goes to another one; it is given up where it took several with it.
    """

    def __init__(self, client: "Client") -> None:
        from distributed import as_completed  # noqa: PLC0415  (an extra)

        self._client = client
        self._done = as_completed(loop=client.loop)
        self._threads, self._count_again_at = 1, 0.0
        self._given: dict[Future[list[list[Answer]]], tuple[int, int]] = {}

    @property
    def free(self) -> bool:
        """Whether more can be handed out without it lying about."""
        if time.monotonic() >= self._count_again_at:
            threads: Mapping[str, int] = self._client.nthreads()
            self._threads = max(sum(threads.values()), 1)
            self._count_again_at = time.monotonic() + COUNT_EVERY_S
        return len(self._given) < AHEAD * self._threads

    @property
    def busy(self) -> bool:
        """Whether there is anything to wait for."""
        return bool(self._given)

    def give(self, jobs: Sequence[Job], batch: int, load: int) -> None:
        """Hand out jobs together, which are some load of a batch."""
        future = self._client.submit(judge_all, jobs, pure=False, retries=RETRIES)
        self._given[future] = (batch, load)
        self._done.add(future)

    def take(self) -> tuple[int, int, Sequence[Sequence[Answer]] | str]:
        """Wait for a load and return its batch and number, with the answers of each job or why there are none.

        Raises
        ------
        FleetError
            The workers cannot judge at all.
        """
        from distributed.scheduler import KilledWorker  # noqa: PLC0415  (an extra)

        future = next(self._done)
        batch, load = self._given.pop(future)
        try:
            return batch, load, future.result()
        except KilledWorker as error:
            return batch, load, f"took {error.allowed_failures + 1} workers with it: out of memory, it may be"
        except OtherVersionError as error:
            raise FleetError(f"the cluster has another version of dryspell: {error}") from None
        except Exception as error:
            wanted = f"every worker needs dryspell {__version__} with the extra fleet, and the Python of this machine"
            raise FleetError(f"the cluster cannot judge ({type(error).__name__}: {error}); {wanted}") from error
        finally:
            future.release()
