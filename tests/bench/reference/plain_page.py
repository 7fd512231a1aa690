"""The plainest answer there is: `python tests/bench/reference/plain_page.py` serves some bytes at / on loopback.

FastAPI and uvicorn as they come, in a process that does nothing else. The first line that it prints is its port.
"""

import socket

import uvicorn
from fastapi import FastAPI, Response

BODY = b"plain answer\n" * 100


def main():
    app = FastAPI()

    @app.get("/")
    async def page():
        return Response(BODY, media_type="text/plain")

    with socket.create_server(("127.0.0.1", 0)) as listening:
        listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)  # as ours does
        print(listening.getsockname()[1], flush=True)
        uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False)).run([listening])


if __name__ == "__main__":
    main()
