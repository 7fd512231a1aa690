"""The daemon with its page on a port of loopback, for tests that ask it as browsers and programs do."""

from contextlib import contextmanager
from dataclasses import replace

import httpx
from pydantic import SecretStr

from dryspell.service import Service
from yard import START, FakeSource, Taken, config, weather

WAIT_S = 30.0
HOURS = 24 * 6
PEOPLE = '[person.kim]\nname = "Kim"\n[person.ada]\nname = "Ada"\n'


class Clock:
    """Stands still until it is set."""

    def __init__(self, at=START):
        self.at = at

    def now(self):
        return self.at


class Served:
    """A daemon that has ticked and planned once."""

    def __init__(self, service, clock, sources, client):
        self.service = service
        self.clock = clock
        self.sources = sources
        self.client = client
        self.url = str(client.base_url)

    def get(self, path, **more):
        return self.client.get(path, **more)

    def post(self, path, **more):
        return self.client.post(path, **more)

    def tick(self, at=None):
        """Look once, and make the plans that are due."""
        self.clock.at = at or self.clock.at
        assert self.service._planner.wait(WAIT_S)  # or a plan of what was before would stand in the way
        seen = self.service.tick()
        assert self.service._planner.wait(WAIT_S)
        return seen

    def fetch(self, **columns):
        """Let other weather be the newest from now on, and look."""
        for source in self.sources.values():
            source.answer = weather(self.clock.at, hours=HOURS, **columns)
        self.service._gatherer.refetch()
        return self.tick()


@contextmanager
def served(folder, more="", *, token=None, hosts=(), prefix="", **columns):
    """Serve the yard's pieces; with a token where one is given."""
    yard = config(folder, more)
    page = {"listen": ("127.0.0.1", 0), "token": token and SecretStr(token), "hosts": hosts, "prefix": prefix}
    yard = replace(yard, page=yard.page.model_copy(update=page))
    clock = Clock()
    sources = {site: FakeSource(weather(hours=HOURS, **columns)) for site in yard.site}
    with Service(yard, clock, sender=Taken(), sources=sources) as service:
        service.page.start()
        assert service.page.wait_until_served(WAIT_S)
        with httpx.Client(base_url=service.page.url, timeout=WAIT_S, trust_env=False) as client:
            daemon = Served(service, clock, sources, client)
            daemon.tick()
            yield daemon
