"""Coordination in the report: its figures are those of the frames, its pictures of the laterals proposed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reliability.faults.coordination_view import OUTCOME_KEYS, OUTCOME_WORDS
from reliability.formats import shown
from reliability.report import charts_coordination
from reliability.report.blocks import Missing, Table
from reliability.report.chart import Line, PlotChart, Rectangles
from reliability.report.content import MOST_CURVES
from reliability.report.documents import report
from reliability.report.page import page
from reliability.report.sections_coordination import coordination
from tests.report.parsed import Page


def tables_of(content) -> dict[str, Table]:
    return {b.key: b for b in coordination(content).blocks if isinstance(b, Table)}


def test_feeders_are_the_sums_of_their_parts(content):
    for key in ("km", "faults_per_year"):
        frame = tables_of(content)[f"coordination-{key}"].frame
        for row in frame.to_dict("records"):
            parts = content.coordination.feeders
            parts = parts[(parts["feeder_id"] == row["feeder_id"]) & (parts["operation"] == row["operation"])]
            for short, name in OUTCOME_WORDS.values():
                assert row[short] == pytest.approx(parts.loc[parts["outcome"] == name, key].sum())


@pytest.mark.usefixtures("undrawn")
def test_figures_on_the_page_are_those_of_the_frame(content):
    """Every row of the growth table, cell by cell, as the page writes it."""
    table, text = tables_of(content)["coordination-growth"], Page(page(report(content))).text
    squeezed = "".join(text.split())
    for row in table.frame.to_dict("records"):
        cells = [shown(row[c.key], c.kind) for c in table.on_page]
        assert "".join("".join(cells).split()) in squeezed


def test_the_laterals_proposed_stand_in_their_order_with_their_shares(content):
    table, chosen = tables_of(content)["coordination"], content.selected.frame
    ids = chosen.loc[chosen["what"] == "lateral", "section_id"].tolist()
    assert table.frame["lateral_id"].tolist() == [i for i in ids for _ in range(2)]
    of = content.coordination.laterals.set_index(["lateral_id", "operation"])
    for row in table.frame.to_dict("records"):
        assert [row[k] for k in OUTCOME_KEYS] == of.loc[(row["lateral_id"], row["operation"]),
                                                        list(OUTCOME_KEYS)].tolist()
    hidden = set(OUTCOME_KEYS) - {c.key for c in table.columns}
    assert not (table.frame[list(hidden)] > 0).any(axis=None)


def test_pictures_are_those_of_the_first_laterals_proposed(content):
    drawn = [b for b in coordination(content).blocks if isinstance(b, PlotChart)]
    ids = content.selected.frame.loc[content.selected.frame["what"] == "lateral", "section_id"].tolist()
    names = content.study.network.name_by_id
    assert [c.title for c in drawn] == [f"Coordination at {names[i]}" for i in ids[:MOST_CURVES]]
    assert len({c.key for c in drawn}) == len(drawn) > 0


def test_a_picture_shows_the_curves_and_shades_the_intervals(content):
    for found in content.coordination.curves:
        chart = charts_coordination.curves(found)
        lines = {s.name: s for s in chart.series if isinstance(s, Line)}
        melting = np.asarray(lines[f"Link {found.link}, melting × 0.75"].y)
        seen = ~np.isnan(melting)
        np.testing.assert_array_equal(melting[seen], found.melting_s[seen])
        outside = found.melting_s[~seen]
        assert ((outside < charts_coordination.LEAST_S) | (outside > charts_coordination.MOST_S)).all()
        areas = [s for s in chart.series if isinstance(s, Rectangles) and s.fill is not None]
        shaded = [(s.name, left) for s in areas for left in s.left]
        expected = [(OUTCOME_WORDS[i.outcome][1].capitalize(), i.low_a) for i in found.intervals]
        assert sorted(shaded) == sorted(expected)
        assert all(OUTCOME_WORDS[i.outcome][1] in chart.description for i in found.intervals)


def test_without_a_selection_the_curves_are_named_as_missing(content):
    blocks = coordination(replace(content, selected=None)).blocks
    assert [b.what for b in blocks if isinstance(b, Missing)] == [
        "Curves of laterals: no lateral is proposed for conversion in this run."]
