"""Programs of the page that the browser would ask for only once a chart arrives: named to it with the page itself.

It loads and compiles them while it waits for the first figures. A browser or a release of the framework that does not
know them goes on without.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import streamlit

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

PROGRAMS = Path(streamlit.__file__).parent / "static" / "js"
NEEDED = ("PlotlyChart", "Html", "DataFrame", "Slider")      # the charts' is the largest by far


class Preload:
    """Middleware of the server: adds to each page which programs it will need (RFC 8288; modulepreload is HTML's)."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.link = (b"link", ", ".join(map(_link, programs())).encode())

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on."""
        async def with_link(message: Message) -> None:
            if message["type"] == "http.response.start" and _is_page(message["headers"]) and self.link[1]:
                message = {**message, "headers": [*message["headers"], self.link]}
            await send(message)
        await self.app(scope, receive, with_link if scope["type"] == "http" else send)


def programs() -> list[str]:
    """Names of the files of NEEDED."""
    return sorted(found.name for name in NEEDED for found in PROGRAMS.glob(f"{name}.*.js"))


def _link(name: str) -> str:
    return f"<./static/js/{name}>; rel=modulepreload; crossorigin"


def _is_page(headers: Any) -> bool:
    return any(bytes(name).lower() == b"content-type" and bytes(value).startswith(b"text/html")
               for name, value in headers)
