"""A web service on this machine that takes alerts, or does not."""

import base64
import json
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


class Receiver:
    """Listens on a port of its own; `status` is what it answers, `hang` keeps it from answering until it is set."""

    def __init__(self, port=0):
        receiver = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self):
                body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                if receiver.hang is not None:
                    receiver.reached.set()
                    receiver.hang.wait(60)
                if receiver.status == 200:
                    receiver.got.append((body["title"], body["message"]))
                    receiver.pictures += [
                        (each["filename"], each["mimetype"], base64.b64decode(each["base64"]))
                        for each in body.get("attachments", ())
                    ]
                self.send_response(receiver.status)
                self.end_headers()

            def log_message(self, *_):
                pass

        self.got = []
        self.pictures = []
        self.status = 200
        self.hang = None
        self.reached = threading.Event()
        self._server = ThreadingHTTPServer(("127.0.0.1", port), Handler)
        self._server.handle_error = lambda *_: None
        self.port = self._server.server_port
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.01,), daemon=True)
        self._thread.start()

    @property
    def url(self):
        return f"json://127.0.0.1:{self.port}/alerts"

    def close(self):
        if self.hang is not None:
            self.hang.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()
