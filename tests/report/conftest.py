"""The demo study, run once for all tests of the report."""

from __future__ import annotations

import json
from copy import deepcopy
from dataclasses import replace

import pytest

from reliability.pipeline import analyse
from reliability.report.content import Content, content_of
from reliability.report.output import write_results


@pytest.fixture(scope="session")
def results(demo):
    """Results of the demo with few trials."""
    return analyse(demo, trials=40)


@pytest.fixture(scope="session")
def content(results) -> Content:
    """What the report shows of them."""
    return content_of(results)


@pytest.fixture(scope="session")
def written(results, tmp_path_factory):
    """The folder that a run writes."""
    folder = tmp_path_factory.mktemp("demo") / "out"
    write_results(results, folder)
    return folder


@pytest.fixture(scope="session")
def summary_json(written) -> dict:
    """summary.json as somebody else would read it."""
    return json.loads((written / "summary.json").read_text(encoding="utf-8"))


@pytest.fixture
def undrawn(monkeypatch):
    """Pages have an empty picture for each chart: for what is read in words, as charts take most of the time."""
    monkeypatch.setattr("reliability.report.page.pictures", lambda charts, _: ["<svg></svg>"] * len(charts))


@pytest.fixture
def changed(content):
    """A function that returns the content with figures of summary.json changed: {(keys): value}."""
    def change(figures: dict[tuple, object], **parts: object) -> Content:
        summary = deepcopy(dict(content.summary))
        for keys, value in figures.items():
            here = summary
            for key in keys[:-1]:
                here = here[key]
            here[keys[-1]] = value
        return replace(content, summary=summary, **parts)
    return change
