"""The app on a workspace of its own, for every test."""

from __future__ import annotations

import base64
import json
import re
from html import unescape
from pathlib import Path

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from reliability.study import open_study, workspace, write_template
from reliability.study.save import save

APP = Path(__file__).parents[2] / "app.py"
FIGURE = re.compile(r'<dt>(.*?)</dt><dd class="figure-value">(.*?)</dd>(?:<dd class="figure-change \w+">(.*?)</dd>)?')
ONE_OUTAGE = (b"event_id,section_id,started,restored,customers\n"
           b"1,tap-01,2024-05-01T10:00,2024-05-01T12:30,25\n")
PAGES = ("overview", "import", "study", "history", "laterals", "choice", "compare", "business", "report", "method")


@pytest.fixture(autouse=True)
def _own_workspace(tmp_path, monkeypatch):
    monkeypatch.setenv(workspace.ENVIRONMENT, str(tmp_path / "workspace"))


@pytest.fixture
def small() -> str:
    """Name of a small study in the workspace with few trials, so that a page answers quickly."""
    return make_small("small")


def make_small(name: str, text_of_settings=lambda text: text) -> str:
    """The template as a study of the workspace, with 30 trials; `text_of_settings` may change its study.toml."""
    folder = workspace.root() / name
    write_template(folder)
    text = (folder / "study.toml").read_text(encoding="utf-8").replace("# trials = …", "trials = 30")
    (folder / "study.toml").write_text(text_of_settings(text), encoding="utf-8")
    open_study(folder)
    return name


def app(page: str = "overview", study: str | None = "demo", **query: str) -> AppTest:
    """The app, opened at a page as a link to it would."""
    test = AppTest.from_file(str(APP), default_timeout=120)
    for key, value in {"study": study, **query}.items():
        if value is not None:
            test.query_params[key] = value
    test.run()
    return go(test, page) if page != "overview" else sound(test)


def go(test: AppTest, page: str) -> AppTest:
    """Switch to a page."""
    return sound(test.switch_page(f"reliability/ui/{page}_page.py").run())


def sound(test: AppTest) -> AppTest:
    """The same, having made sure that nothing went wrong."""
    assert not test.exception, [e.value for e in test.exception]
    return test


def said(test: AppTest) -> str:
    """All text on the page."""
    parts = [e.value for kind in (test.title, test.markdown, test.subheader, test.caption, test.error, test.warning,
                                  test.info, test.success) for e in kind]
    return "\n".join(map(str, parts))


def metrics(test: AppTest) -> list[tuple[str, str, str]]:
    """Name, value and change of every figure in large type, in their order."""
    found = []
    for body in (e.proto.body for e in test.get("html")):
        found += [(unescape(name), unescape(value), unescape(change)) for name, value, change in FIGURE.findall(body)]
    return found


def tile_bodies(test: AppTest) -> list[str]:
    """Markup of each tile."""
    return "".join(e.proto.body for e in test.get("html")).split('<div class="tile ')[1:]


def parts_of_tiles(test: AppTest, name: str) -> list[str]:
    """Texts of a part of the tiles, such as how sure each gain is, in the order of the tiles."""
    found = re.findall(rf'<p class="{name}">(.*?)</p>', "".join(e.proto.body for e in test.get("html")))
    return [unescape(re.sub("<[^>]*>", "", text)) for text in found]


def figures(test: AppTest) -> list[dict]:
    """Every chart as plotly's own description."""
    return [json.loads(e.proto.spec) for e in test.get("plotly_chart")]


def put(name: str, files: dict[str, bytes]) -> None:
    """Change a study behind the app's back."""
    save(workspace.root() / name, files)


def values_of(encoded) -> np.ndarray:
    """Numbers of a chart, which plotly may have packed."""
    if isinstance(encoded, dict):
        return np.frombuffer(base64.b64decode(encoded["bdata"]), dtype=encoded["dtype"]).astype(float)
    return np.array(encoded, dtype=float)
