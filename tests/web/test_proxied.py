"""The page under a path of a proxy that serves other things too, as a real one passes requests on over a socket."""

import http.client
import threading
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import httpx
import pytest

from forms_in import fill_in, words_of
from served import served

TOKEN = "b1f2-a-token-that-nobody-guesses"
PREFIX, NAME = "/varnish", "shed.example"
# RFC 9110, section 7.6.1: what is meant for one connection alone is not passed on.
OF_ONE_CONNECTION = {"connection", "keep-alive", "transfer-encoding", "te", "upgrade"}


class _Proxy(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"

    def _pass_on(self):
        body = self.rfile.read(int(self.headers.get("content-length", 0)))
        if not self.path.startswith(f"{PREFIX}/"):
            self.send_error(404, "not of this page")
            return
        of = self.server
        path = self.path.removeprefix(PREFIX) if of.strips else self.path
        headers = {name: value for name, value in self.headers.items() if name.lower() not in OF_ONE_CONNECTION}
        headers["Host"] = NAME if of.keeps_host else of.upstream
        behind = http.client.HTTPConnection(of.upstream, timeout=30)
        behind.request(self.command, path, body, headers)
        answer = behind.getresponse()
        said = answer.read()
        self.send_response(answer.status)
        for name, value in answer.getheaders():
            if name.lower() not in {*OF_ONE_CONNECTION, "content-length", "date", "server"}:
                self.send_header(name, value)
        self.send_header("Content-Length", str(len(said)))
        self.end_headers()
        self.wfile.write(said)
        behind.close()

    do_GET = do_POST = _pass_on  # noqa: N815  (as the server calls them)

    def log_message(self, *_):
        """Say nothing."""


@contextmanager
def proxied(daemon, *, strips, keeps_host):
    """Give a browser's client that reaches the daemon through a proxy, by its name and under its path."""
    with ThreadingHTTPServer(("127.0.0.1", 0), _Proxy) as proxy:
        proxy.daemon_threads = True
        proxy.strips, proxy.keeps_host = strips, keeps_host
        proxy.upstream = f"{daemon.client.base_url.host}:{daemon.client.base_url.port}"
        threading.Thread(target=proxy.serve_forever, daemon=True).start()
        url = f"http://127.0.0.1:{proxy.server_port}{PREFIX}/"
        as_browsers = {"Origin": f"https://{NAME}", "Sec-Fetch-Site": "same-origin"}
        with httpx.Client(base_url=url, timeout=30, trust_env=False, headers=as_browsers) as client:
            yield client
        proxy.shutdown()


@pytest.mark.parametrize("strips", [True, False], ids=["stripped", "kept"])
@pytest.mark.parametrize("keeps_host", [True, False], ids=["its name", "ours"])
def test_under_the_path_of_a_proxy_people_log_in_and_log_a_coat_and_programs_are_answered(tmp_path, strips, keeps_host):
    with (
        served(tmp_path, token=TOKEN, hosts=(NAME,), prefix=PREFIX) as daemon,
        proxied(daemon, strips=strips, keeps_host=keeps_host) as client,
    ):
        sent_on = client.get("plan")
        assert (sent_on.status_code, sent_on.headers["location"]) == (303, f"{PREFIX}/login?next=%2Fplan")
        inside = fill_in(client, sent_on.url.join(sent_on.headers["location"]), token=TOKEN)
        assert inside.url.path == f"{PREFIX}/plan"
        # RFC 6265, section 5.1.4: a cookie of this page does not go to what else the proxy serves.
        assert {cookie.path for cookie in client.cookies.jar} == {f"{PREFIX}/"}
        logged = fill_in(client, "record/rail/coat?from=today")
        assert logged.url.path == f"{PREFIX}/"
        assert "Coat 4 of Rail is on the record." in words_of(logged.text)
        worker, manifest = client.get("worker.js"), client.get("manifest.webmanifest").json()
        assert (worker.status_code, manifest["start_url"]) == (200, f"{PREFIX}/")
        bearer = {"Authorization": f"Bearer {TOKEN}"}
        assert client.get("api/v1/windows", headers=bearer).json()["schema"].startswith("dryspell.")
        assert client.get("nothing-here").status_code == 404


def test_under_the_path_of_a_proxy_a_strangers_page_changes_nothing(tmp_path):
    with (
        served(tmp_path, hosts=(NAME,), prefix=PREFIX) as daemon,
        proxied(daemon, strips=True, keeps_host=True) as client,
    ):
        client.headers["Origin"] = "https://elsewhere.example"
        assert fill_in(client, "record/rail/coat", follow=False).status_code == 403
        client.headers["Origin"], client.headers["Sec-Fetch-Site"] = f"https://{NAME}", "cross-site"
        assert fill_in(client, "record/rail/coat", follow=False).status_code == 403
        assert daemon.service._store.coats("rail") == []
