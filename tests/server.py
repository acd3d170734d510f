"""The app's server as a user starts it, and a tab without a browser: what it sends, and what it is sent back."""

from __future__ import annotations

import contextlib
import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import urlencode

from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import connect

from reliability.study.workspace import ENVIRONMENT

ROOT = Path(__file__).parents[1]


class Server:
    """The app as a user starts it, on a free port."""

    def __init__(self, workspace: Path, environment: Mapping[str, str] | None = None):
        self.workspace = workspace
        self.environment = dict(environment or {})
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.process: subprocess.Popen | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> float:
        """Start and wait until it is healthy; returns the seconds that took."""
        begun = time.monotonic()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "streamlit", "run", "app.py", "--server.port", str(self.port)], cwd=ROOT,
            env={**os.environ, ENVIRONMENT: str(self.workspace), **self.environment}, stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL)
        while time.monotonic() - begun < 60:
            with contextlib.suppress(OSError), urllib.request.urlopen(f"{self.url}/_stcore/health",
                                                                      timeout=1) as answer:
                if answer.status == 200:
                    return time.monotonic() - begun
            time.sleep(0.1)
        raise RuntimeError("the server did not start")

    def stop(self, kill: bool = False) -> None:
        if self.process is not None:
            (self.process.kill if kill else self.process.terminate)()
            self.process.wait(20)
            self.process = None


class Tab:
    """A connection to the server that shows one page of it."""

    def __init__(self, server: Server, page: str = "", **query: str):
        self.state = BackMsg().rerun_script
        self.state.page_name, self.state.query_string = page, urlencode(query)
        self.stack = contextlib.ExitStack()
        self.line = self.stack.enter_context(connect(f"ws://127.0.0.1:{server.port}/_stcore/stream", max_size=None,
                                                     subprotocols=["streamlit"], origin=server.url))
        self.texts: list[str] = []
        self.widgets: dict[str, str] = {}       # id of a button by its label

    def run(self, press: str = "") -> None:
        """Run the page to its end, with a button pressed where one is named."""
        self.send(press)
        assert self.finish()

    def send(self, press: str = "") -> None:
        """Have the page run."""
        message = BackMsg(rerun_script=self.state)
        if press:
            pressed = message.rerun_script.widget_states.widgets.add()
            pressed.id, pressed.trigger_value = self.widgets[press], True
        self.line.send(message.SerializeToString())

    def finish(self, seconds: float = 60) -> bool:
        """Take what the server sends until the run of the page has ended; whether it has, within that time."""
        self.texts = []
        end = time.monotonic() + seconds
        with contextlib.suppress(TimeoutError):
            while True:
                message = ForwardMsg.FromString(self.line.recv(timeout=max(end - time.monotonic(), 0.0)))
                kind = message.WhichOneof("type")
                if kind == "new_session":
                    self.state.page_script_hash = message.new_session.page_script_hash
                elif kind == "delta":
                    self._take(message.delta.new_element)
                elif kind == "script_finished":
                    return True
        return False

    def __enter__(self) -> Tab:
        return self

    def __exit__(self, *_: object) -> None:
        self.stack.close()

    def _take(self, element) -> None:
        kind = element.WhichOneof("type")
        if kind == "button":
            self.widgets[element.button.label] = element.button.id
        elif kind in ("markdown", "alert", "heading", "exception"):
            part = getattr(element, kind)
            self.texts.append(part.message if kind == "exception" else part.body)
