"""The documents of studies other than the first demo: one where a selection pays, and one with neither records nor
proposal."""

from __future__ import annotations

import json

import pytest

from reliability.pipeline import analyse
from reliability.report.output import write_results
from tests.networks import study_of
from tests.report.parsed import Page, figures_hold

BARE = [{"section_id": "m", "parent_id": "", "device": "breaker", "length_km": 5.0, "customers": 100.0,
         "load_kw": 200.0},
        {"section_id": "t", "parent_id": "m", "device": "fuse", "length_km": 1.0, "customers": 9.0, "load_kw": 20.0}]


@pytest.mark.parametrize("name", ["wooded town", "neither records nor proposal"])
def test_every_figure_of_their_documents_is_that_of_summary_json(request, tmp_path, name):
    bare = name != "wooded town"
    results = analyse(study_of(BARE, sectionalizer_cost=1e6, lateral_recloser_cost=1e6), trials=5) if bare else (
        request.getfixturevalue("town_results"))
    write_results(results, tmp_path / "out")
    document = json.loads((tmp_path / "out" / "summary.json").read_text(encoding="utf-8"))
    page = Page((tmp_path / "out" / "report.html").read_text(encoding="utf-8"))
    figures_hold(page, document)
    proposed = [s["name"] for s in document["scenarios"]].count("Proposed")
    assert proposed == (not bare)
    text = " ".join(page.words)
    assert ("No conversion is proposed" in text) == (not proposed)
    assert ("There are no outage records to compare with" in text) == bare
