"""Who may ask the app's server: this machine by its own names, and only pages that the server itself has served.

A server that listens on this machine alone is still within reach of every page that a browser on it shows. A page of
another host may have its name point here, which the Host of its requests gives away; a page of another local server
names that server's port as its Origin. Both get 403, whatever they ask for, before anything of the app sees it.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from streamlit import config, net_util

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from starlette.types import ASGIApp, Receive, Scope, Send

LOCAL = ("127.0.0.1", "localhost", "[::1]")
_HOST = re.compile(r"([a-z0-9.-]+|\[[0-9a-f:.]+\])(?::([0-9]{1,5}))?")
_PORTS = {"http": 80, "ws": 80, "https": 443, "wss": 443}
_POLICY_VIOLATION = 1008            # of a WebSocket that is closed, RFC 6455, 7.4.1


class RequestCheck:
    """Middleware of the server: lets pass who may ask, and answers everybody else with 403."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        port = int(scope["server"][1])
        if may_ask(_values(scope, b"host"), _values(scope, b"origin"), str(scope["scheme"]), port,
                   config.get_option("server.allowedHosts"), config.get_option("server.corsAllowedOrigins")):
            await self.app(scope, receive, send)
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": _POLICY_VIOLATION})
        else:
            words = f"Refused. This app answers at http://{LOCAL[0]}:{port} on this machine, to its own pages.".encode()
            headers = {"content-type": "text/plain; charset=utf-8", "content-length": f"{len(words)}",
                       "connection": "close"}
            await send({"type": "http.response.start", "status": 403,
                        "headers": [(name.encode(), value.encode()) for name, value in headers.items()]})
            await send({"type": "http.response.body", "body": words})


def may_ask(hosts: Sequence[str], origins: Sequence[str], scheme: str, port: int, names: Collection[str] = (),
            pages: Collection[str] = ()) -> bool:
    """Whether a request with these headers is of this machine and of a page of the app.

    hosts, origins: values of Host and Origin; without an Origin no page is behind the request. port: of the server.
    names: other names of the server, at any port, that its operator allows; pages: Origins that are not its own.
    """
    match = _HOST.fullmatch(hosts[0].casefold()) if len(hosts) == 1 else None
    if match is None:
        return False
    name, at = match[1], int(match[2] or _PORTS[scheme])
    if not (name in LOCAL and at == port) and not (name not in LOCAL and name in names):
        return False
    own = {f"{kind}://{match[0]}" for kind in ("http", "https")}     # https where somebody encrypts in front of it
    return not origins or (len(origins) == 1 and (origins[0].casefold() in own or origins[0] in pages))


def ask_nobody() -> None:
    """Have the framework not look up the machine's addresses, for which it would ask a host on the internet."""
    net_util.get_external_ip = _no_address
    net_util.get_internal_ip = _no_address


def _no_address() -> str | None:
    return None


def _values(scope: Scope, header: bytes) -> list[str]:
    return [value.decode("latin-1") for name, value in scope["headers"] if name == header]
