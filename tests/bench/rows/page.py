"""A page and a document of the daemon, against the plainest answer of the same server: one reader on one connection."""

import functools
import http.client
import subprocess
import sys
import time
from contextlib import closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from bench.reference import plain_page
from bench.row import Row
from page_process import WAIT_S, PageProcess, page_process

REQUESTS = 500
PAGE, DOCUMENT = "/", "/api/v1/windows/toe_rail"


def asked(server, path):
    """Return whether a server answers on a new connection; there it does so a number of times."""
    with closing(http.client.HTTPConnection(*server.address, timeout=WAIT_S)) as connection:
        for _ in range(REQUESTS):
            connection.request("GET", path)
            answer = connection.getresponse()
            answer.read()
            if answer.status != 200:
                return False
    return True


def latency(server, path):
    """Return the cost of an answer, as its reader waits for it. [s]"""

    def cost():
        begun = time.perf_counter()
        assert asked(server, path)
        return (time.perf_counter() - begun) / REQUESTS

    return cost


def server_cpu(server, path):
    """Return the processor time that the server takes for an answer, whoever else is busy. [s]"""

    def cost():
        begun_s = server.cpu_s
        assert asked(server, path)
        return (server.cpu_s - begun_s) / REQUESTS

    return cost


@contextmanager
def plain_process():
    command = [sys.executable, plain_page.__file__]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            yield PageProcess(process, ("127.0.0.1", int(process.stdout.readline())))
        finally:
            process.terminate()


@contextmanager
def both(kind, path):
    """Yield the cost of a kind of ours and of the plain answer."""
    with TemporaryDirectory() as folder, page_process(Path(folder)) as ours, plain_process() as plain:
        until = time.monotonic() + WAIT_S
        while not (_answered(ours, path) and _answered(plain, "/")):
            assert time.monotonic() < until, "there is no answer"
            time.sleep(0.1)
        yield kind(ours, path), kind(plain, "/")


def _answered(server, path):
    try:
        return asked(server, path)
    except ConnectionError:
        return False


PLAIN = "some bytes by FastAPI and uvicorn"
ROWS = (
    Row("page", "the first page, as its reader waits", PLAIN, functools.partial(both, latency, PAGE), "less"),
    Row("document", "windows as JSON, as its reader waits", PLAIN, functools.partial(both, latency, DOCUMENT), "less"),
    Row("page_work", "the first page, what its server works", PLAIN, functools.partial(both, server_cpu, PAGE), "less",
        guard=True),
    Row("document_work", "windows as JSON, what its server works", PLAIN,
        functools.partial(both, server_cpu, DOCUMENT), "less", guard=True),
)  # fmt: skip
