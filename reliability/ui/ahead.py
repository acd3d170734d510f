"""The study of a page that somebody asks for, opened while the browser still loads the programs of the page."""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING
from urllib.parse import parse_qs

from reliability.ui import warm

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

_busy = threading.Lock()            # a study is being opened; another one waits for its page


class OpenAhead:
    """Middleware of the server behind the check who may ask: begins with what the page asked for will show."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on; one of a browser for a page also has its study opened."""
        if is_page(scope):
            asked = parse_qs(scope["query_string"].decode("latin-1")).get("study", [""])
            threading.Thread(target=_begin, args=(asked[-1],), name="ahead", daemon=True).start()
        await self.app(scope, receive, send)


def is_page(scope: Scope) -> bool:
    """Whether a request is a browser's for a page, not for what belongs to one."""
    return scope["type"] == "http" and scope["method"] == "GET" and any(
        name == b"accept" and b"text/html" in value for name, value in scope["headers"])


def _begin(name: str) -> None:
    warm.wait()
    if _busy.acquire(blocking=False):
        try:
            warm.open_study(name)
        finally:
            _busy.release()
