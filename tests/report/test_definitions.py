"""Clauses of the standard: one table, and the developers' glossary repeats it. What the method says of ranges holds."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reliability.business.expected_npv import ExpectedNpv
from reliability.indices.draws import draw_uncertain, values_of_trials
from reliability.pipeline import expect
from reliability.report import sections_business
from reliability.report.blocks import Table
from reliability.report.definitions import AT_THE_MEANS, CLAUSES, LEARNED_INTERVALS, METHOD_PARAGRAPHS, SEPARATE_DRAWS
from reliability.report.formulas import FORMULAS
from reliability.report.summary import summary
from reliability.study.study import Study

ROOT = Path(__file__).parents[2]
LINE = [{"section_id": "m", "parent_id": "", "device": "breaker", "length_km": 5.0, "customers": 100.0},
        {"section_id": "t", "parent_id": "m", "device": "fuse", "length_km": 6.0, "customers": 40.0}]


def test_the_glossary_repeats_the_clauses_of_the_report():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `[^|]*\| ([^|]+) \|.*\| 1366, ([^|]+) \|$", guide, re.MULTILINE)
    told = {"CELID-t" if s == "CELID" else "Major event day" if s.startswith("T_MED") else s: c for s, c in rows}
    shared = {term: clause for term, clause in CLAUSES.items() if term in told}
    assert len(shared) >= 9
    assert {term: told[term] for term in shared} == shared


def test_formulas_name_the_same_clauses():
    sources = {what: source for what, _, source in FORMULAS}
    for term in ("SAIFI", "SAIDI", "CAIDI", "ASAI", "CEMI-n"):
        assert sources[term] == f"IEEE Std 1366-2012, {CLAUSES[term]}; clause numbers from memory"
    assert "3.4.1, 3.4.2" in sources["MAIFI, MAIFI_E"]


@pytest.fixture(scope="module")
def of_ranges():
    """Expected NPV of converting a lateral over draws of both failure probabilities, and the draws."""
    study = Study.from_frames(pd.DataFrame(LINE), temporary_fraction=0.0, perspective="society",
                              fuse_failure=(0.0, 0.05, 0.3), sectionalizer_failure=(0.0, 0.05, 0.3),
                              scenarios=[{"name": "All", "laterals": "all"}])
    draws = draw_uncertain(np.random.default_rng(5), study.uncertain, 4000)
    npv = ExpectedNpv(study.model, study.scenarios, study.cost_table)
    return study, draws, lambda values: npv(values_of_trials(study.values, values))[:, 1]


def test_failure_probabilities_are_drawn_independently_and_ranges_are_wider_for_it(of_ranges):
    """What SEPARATE_DRAWS says: where failures cost alike, as with no temporary faults, shared draws would spread
    differences less, about nearly the same mean."""
    _, draws, npv = of_ranges
    fuse, new = draws["fuse_failure"], draws["sectionalizer_failure"]
    assert abs(np.corrcoef(fuse, new)[0, 1]) < 0.05
    apart, together = npv(draws), npv({"fuse_failure": new, "sectionalizer_failure": new})
    (low, high), (low_together, high_together) = (np.percentile(x, (10, 90)) for x in (apart, together))
    assert high_together - low_together < 0.8 * (high - low)
    assert together.mean() == pytest.approx(apart.mean(), abs=0.1 * (high - low))


def test_expected_figures_are_at_the_mean_of_each_range_and_no_mean_over_them(of_ranges):
    """What AT_THE_MEANS says: of a price times a number of call-outs drawn the mean is another."""
    study, _, _ = of_ranges
    study = study.with_assumptions(discount_rate=(0.01, 0.02, 0.5))
    results = expect(study)
    npv = ExpectedNpv(study.model, results.study.scenarios, study.cost_table)
    at_means = npv(values_of_trials(study.values, {}))[0, 1]
    draws = draw_uncertain(np.random.default_rng(5), study.uncertain, 4000)
    over = npv(values_of_trials(study.values, draws))[:, 1].mean()
    assert summary(results)["scenarios"][1]["business"]["npv"] == pytest.approx(at_means)
    assert abs(over / at_means - 1.0) > 0.02


def test_the_method_and_the_tables_say_so(content):
    assert {SEPARATE_DRAWS, LEARNED_INTERVALS} <= set(METHOD_PARAGRAPHS)
    assert any(said.startswith(AT_THE_MEANS) for said in METHOD_PARAGRAPHS)
    made = sections_business.business(content)
    notes = [b.note for b in made.blocks if isinstance(b, Table) and b.key.startswith("merit-")]
    assert len(notes) == 2
    assert all(AT_THE_MEANS in note for note in notes)
