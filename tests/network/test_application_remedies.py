"""What is to be done about a check that is not passed: there for every check, and for every verdict."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from reliability.network.application_catalogue import CHECKS, FAIL, PASS, REVIEW, UNKNOWN
from reliability.network.application_remedies import REMEDIES, open_points_of
from reliability.schema.columns import SECTIONS
from tests.network.laterals import checks_of

DECIDING = [kind.key for kind in CHECKS if kind.decides]


def test_each_check_that_decides_has_two_remedies_and_the_columns_they_name_exist():
    assert set(REMEDIES) == set(DECIDING)
    names = {c.name for c in SECTIONS} | {"inrush_restraint"}
    for texts in REMEDIES.values():
        assert len(texts) == 2
        words = {w for text in texts for w in text.replace("(", " ").replace(")", " ").replace(",", " ").split()}
        assert {w.strip(".;") for w in words if "_" in w} <= names


@pytest.mark.parametrize("key", DECIDING)
@pytest.mark.parametrize("verdict", [REVIEW, UNKNOWN, FAIL])
def test_what_is_not_passed_is_said_with_reason_and_remedy(key, verdict):
    checks = checks_of()
    changed = tuple(dataclasses.replace(c, verdict=np.array([verdict], dtype=np.int8), reason=np.array(["why"], object))
                    if c.kind.key == key else c for c in checks.checks)
    (point,) = open_points_of(dataclasses.replace(checks, checks=changed), 0)
    assert point.labels == (dict(zip(DECIDING, [k.label for k in CHECKS if k.decides], strict=True))[key],)
    assert point.verdict == {REVIEW: "review", UNKNOWN: "unknown", FAIL: "fail"}[verdict]
    assert point.reasons == ("why",)
    assert point.remedy == REMEDIES[key][verdict == UNKNOWN]


def test_nothing_is_said_of_what_passes_and_of_findings():
    checks = checks_of(reclosing_off_share=0.3)
    assert checks.check("reclosing_off").verdict[0] != PASS
    assert open_points_of(checks, 0) == []


def test_a_peak_load_that_is_missing_is_asked_for_once():
    (point,) = open_points_of(checks_of({"peak_load_a": np.nan}), 0)
    assert len(point.labels) == 5
    assert "peak load" in point.remedy
    assert point.reasons == ("peak load at the lateral's head is not known",)


def test_what_else_is_missing_is_asked_for_too():
    checks = checks_of({"peak_load_a": np.nan, "connected_kva": np.nan}, {"minimum_trip_a": np.nan})
    remedies = " ".join(point.remedy for point in open_points_of(checks, 0))
    assert "connected_kva" in remedies
    assert "minimum_trip_a" in remedies


def test_the_gravest_comes_first():
    checks = checks_of({"generation_kw": 50.0}, {"minimum_trip_a": 50.0, "dead_time_s": np.nan})
    assert [point.verdict for point in open_points_of(checks, 0)] == ["fail", "unknown", "review"]
