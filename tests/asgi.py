"""An application asked in this process, as a server would ask it: one request at a time, redirects not followed."""

import asyncio

import httpx


class AsgiClient:
    def __init__(self, app, base_url="http://127.0.0.1:8417", client=("127.0.0.1", 50_000)):
        self._transport = httpx.ASGITransport(app, client=client)
        self._base_url = base_url

    def get(self, url, **more):
        return self._ask("GET", url, **more)

    def post(self, url, **more):
        return self._ask("POST", url, **more)

    def _ask(self, method, url, **more):
        async def ask():
            async with httpx.AsyncClient(transport=self._transport, base_url=self._base_url) as client:
                return await client.request(method, url, **more)

        return asyncio.run(ask())
