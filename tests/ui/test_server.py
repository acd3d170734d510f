"""The server answers its own pages on this machine and nobody else, and asks nobody itself."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from streamlit import net_util
from streamlit.web.server.server_util import is_url_from_allowed_origins
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from reliability.ui.request_check import ask_nobody, may_ask
from tests.server import Server, Tab
from tests.ui.conftest import ONE_OUTAGE, PAGES, make_small, put

# Notes every look at the network of a process and of those that it starts, and what it loads to draw with: Python
# loads this file by its name first.
HOOK = '''
import json, os, sys

DRAWING = {"matplotlib", "plotly"}

def note(event, arguments):
    if event == "import":
        package = arguments[0].partition(".")[0]
        arguments = (package,) if package in DRAWING else ()
        DRAWING.discard(package)
    if arguments and event.startswith(("socket.", "http.client.", "urllib.", "import")) and event != "socket.__new__":
        with open(os.environ["NETWORK_LOG"], "a") as log:
            log.write(json.dumps([event, [repr(a) for a in arguments]]) + "\\n")

sys.addaudithook(note)
'''
ROUTES = [("GET", "/"), ("GET", "/compare"), ("GET", "/_stcore/health"), ("GET", "/_stcore/script-health-check"),
          ("GET", "/_stcore/metrics"), ("GET", "/_stcore/host-config"), ("GET", "/media/x.csv"),
          ("PUT", "/_stcore/upload_file/a/b"), ("POST", "/_stcore/upload_file/a/b"), ("OPTIONS", "/_stcore/health"),
          ("DELETE", "/_stcore/upload_file/a/b"), ("OPTIONS", "/_stcore/upload_file/a/b"), ("GET", "/component/x/y.js"),
          ("GET", "/_stcore/bidi-components/x/y.js"), ("GET", "/static/x.js"), ("GET", "/app/static/x"),
          ("POST", "/auth/logout"), ("GET", "/oauth2callback"), ("HEAD", "/"), ("GET", "/nowhere")]
OTHER_HOSTS = ("evil.example", "evil.example:{port}", "127.0.0.1", "localhost", "127.0.0.1:{other}",
               "localhost:{other}", "127.0.0.1:{port}.evil.example", "127.0.0.1.evil.example:{port}",
               "x@127.0.0.1:{port}", "127.1:{port}", "0.0.0.0:{port}", "localhost.:{port}", "[::1]:{other}", "")
OTHER_ORIGINS = ("http://evil.example", "http://evil.example:{port}", "http://127.0.0.1:{other}", "http://127.0.0.1",
                 "http://localhost:{port}", "http://localhost:{other}", "null", "file://", "",
                 "http://127.0.0.1:{port}.evil.example", "http://127.0.0.1:{port}/")


REFUSED = (403, True)


@dataclass
class Watched:
    """A running server, and what it noted of the network so far."""

    server: Server
    log: Path

    def filled(self, text: str) -> str:
        return text.format(port=self.server.port, other=self.server.port + 1)

    def asked(self, method: str, path: str, **headers: str) -> tuple[int, bool]:
        """Status of the answer, and whether it is that of the door, which a HEAD has without words."""
        all_headers = {"Host": f"127.0.0.1:{self.server.port}", "Content-Length": "0", "Connection": "close", **headers}
        lines = [f"{name}: {value}" for name, value in all_headers.items()]
        with socket.create_connection(("127.0.0.1", self.server.port), timeout=10) as line:
            line.sendall("\r\n".join([f"{method} {path} HTTP/1.1", *lines, "", ""]).encode())
            answer = b"".join(iter(lambda: line.recv(65536), b""))
        return int(answer.split()[1]), method == "HEAD" or b"Refused. This app answers at" in answer

    def stream(self, **headers: str) -> int:
        """Status of the answer to whoever would open the stream of a page."""
        port = self.server.port
        try:
            with socket.create_connection(("127.0.0.1", port), timeout=10) as line, connect(
                    f"ws://{headers.get('host') or f'127.0.0.1:{port}'}/_stcore/stream", sock=line,
                    subprotocols=["streamlit"], origin=headers.get("origin")):
                return 101
        except InvalidStatus as refused:
            return refused.response.status_code

    def noted(self) -> list[tuple[str, list[str]]]:
        return [(event, arguments) for event, arguments in map(json.loads, self.log.read_text().splitlines())]


@pytest.fixture(scope="module")
def watched(tmp_path_factory) -> Iterator[Watched]:
    """A server that notes every look at the network, with a workspace of its own."""
    home = tmp_path_factory.mktemp("watched")
    (home / "sitecustomize.py").write_text(HOOK)
    server = Server(home / "workspace", {"PYTHONPATH": str(home), "NETWORK_LOG": str(home / "log")})
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("RELIABILITY_WORKSPACE", str(server.workspace))
        make_small("small")
        put("small", {"outages.csv": ONE_OUTAGE})        # so that the page of the records has charts
    server.start()
    yield Watched(server, home / "log")
    server.stop()


@pytest.mark.parametrize("host", OTHER_HOSTS)
def test_a_request_under_another_name_is_refused_whatever_it_asks_for(watched, host):
    host = watched.filled(host)
    assert {route: watched.asked(*route, Host=host) for route in ROUTES} == dict.fromkeys(ROUTES, REFUSED)
    upgrade = {"Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Version": "13",
               "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ=="}
    assert watched.asked("GET", "/_stcore/stream", Host=host, **upgrade)[0] == 403


@pytest.mark.parametrize("origin", OTHER_ORIGINS)
def test_a_page_that_is_not_the_app_s_is_refused_whatever_it_asks_for(watched, origin):
    """Pages of another host, of another local server, of a file; the same server under its other name as well."""
    origin = watched.filled(origin)
    assert {route: watched.asked(*route, Origin=origin) for route in ROUTES} == dict.fromkeys(ROUTES, REFUSED)
    assert watched.stream(origin=origin) == 403


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost", "[::1]", "LOCALHOST"])
def test_the_app_s_own_pages_are_answered_under_every_name_of_this_machine(watched, name):
    host = f"{name}:{watched.server.port}"
    own = {"Host": host, "Origin": f"http://{host}"}
    assert watched.asked("GET", "/_stcore/health", Host=host) == (200, False)
    assert watched.asked("GET", "/compare", **own) == (200, False)
    assert not watched.asked("PUT", "/_stcore/upload_file/a/b", **own)[1]     # the framework wants a token for it
    if name == "127.0.0.1":
        assert watched.stream(origin=f"http://{host}") == 101


@pytest.fixture(scope="module")
def visited(watched) -> Watched:
    """The server once every page has been shown."""
    for page in PAGES:
        with Tab(watched.server, page if page != "overview" else "", study="small") as tab:
            tab.run()
            assert any("A study to start from" in text for text in tab.texts)
    return watched


def test_no_page_loads_what_draws_on_paper(visited):
    """It takes a second, and a page draws with plotly."""
    loaded = [arguments for event, arguments in visited.noted() if event == "import"]
    assert ["'plotly'"] in loaded
    assert ["'matplotlib'"] not in loaded


def test_no_page_and_no_refusal_has_the_server_ask_anybody(visited):
    """Every page, and an attempt of each kind that is refused; the server and the processes that it starts."""
    watched = visited
    assert watched.asked("GET", "/", Host="evil.example") == REFUSED
    assert watched.stream(origin="http://evil.example") == 403
    assert watched.stream(origin=f"http://127.0.0.1:{watched.server.port + 1}") == 403
    noted = watched.noted()
    assert [event for event, arguments in noted if event == "socket.bind" and str(watched.server.port) in arguments[1]]
    harmless = ("socket.bind", "socket.listen", "import")
    assert [(event, arguments) for event, arguments in noted if event not in harmless] == []


@pytest.mark.parametrize(("hosts", "origins", "scheme", "port", "fine"), [
    (["127.0.0.1:8501"], [], "http", 8501, True),
    (["localhost"], ["http://localhost"], "http", 80, True),
    (["localhost"], ["https://localhost"], "https", 443, True),
    (["127.0.0.1:8501"], ["https://127.0.0.1:8501"], "ws", 8501, True),
    (["127.0.0.1:8501"], ["http://127.0.0.1:8501"] * 2, "http", 8501, False),
    (["127.0.0.1:8501"] * 2, [], "http", 8501, False),
    ([], [], "http", 8501, False),
    (["plans.example"], ["https://plans.example"], "http", 8501, True),
    (["plans.example:9000"], [], "http", 8501, True),
    (["plans.example"], ["https://intranet.example"], "http", 8501, True),
    (["plans.example"], ["https://other.example"], "http", 8501, False),
    (["www.plans.example"], [], "http", 8501, False),
])
def test_what_an_operator_allows_besides_is_answered_as_well(hosts, origins, scheme, port, fine):
    """Behind a server of one's own, whose names stand in server.allowedHosts and server.corsAllowedOrigins."""
    assert may_ask(hosts, origins, scheme, port, ["127.0.0.1", "plans.example"], ["https://intranet.example"]) == fine


def test_the_framework_looks_up_no_address_of_this_machine(monkeypatch):
    """Not where it is asked for an origin either, which the door does not let come to that."""
    asked = []
    monkeypatch.setattr("requests.get", lambda url, **_: asked.append(url))
    for name in ("get_external_ip", "get_internal_ip"):
        monkeypatch.setattr(net_util, name, getattr(net_util, name))     # as it was, after the test
    ask_nobody()
    assert not is_url_from_allowed_origins("http://evil.example")
    assert asked == []
