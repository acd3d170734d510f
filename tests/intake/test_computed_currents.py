"""Fault currents of an import computed from sources and conductors."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reliability.intake.importing import import_exports
from reliability.intake.recipe import Recipe
from reliability.network.impedance import fault_currents, source_impedances

SEGMENTS = """\
segment_id,from_node,to_node,length_km,phases,conductor,device
main,S,A,2.0,ABC,336.4 ACSR,breaker
on,B,A,1.0,ABC,336.4 ACSR,
tap,C,A,0.8,B,#4 ACSR,fuse
old,A,D,0.5,A,6 CU,fuse
beyond,D,E,0.5,A,#4 ACSR,fuse
"""
SOURCES = "node_id,feeder_id,fault_current_a,fault_current_three_phase_a,x_over_r,system_kv\n"
CUSTOMERS = "transformer_id,segment_id,customers\nt1,tap,5\nt2,on,7\n"


def made(folder: Path, source: str, segments: str = SEGMENTS, **recipe: float):
    for name, text in (("segments", segments), ("sources", SOURCES + source), ("customers", CUSTOMERS)):
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return import_exports(folder, Recipe(stated=False, **recipe))


def noted(found, key: str) -> tuple[str, ...]:
    return next((n.ids for n in found.report.findings.noted if n.key == key), ())


@pytest.mark.parametrize("resistance", [0.0, 5.0])
def test_currents_of_the_study_are_those_of_the_conductors(tmp_path, resistance):
    found = made(tmp_path, "S,F1,3000,4000,6,12.47\n", fault_resistance_ohm=resistance)
    sections = found.tables["sections"].set_index("section_id")
    names = ["main", "on", "tap", "old", "beyond"]
    source = source_impedances(np.full(5, 4000.0), np.full(5, 3000.0), np.full(5, 12.47), 6.0)
    said = fault_currents(np.array([-1, 0, 0, 0, 3]), np.array([2.0, 1.0, 0.8, 0.5, 0.5]),
                          np.array(["336.4", "336.4", "4", "6 CU", "4"]), source, 12.47, resistance)
    rows = sections.loc[names]
    for column, want in (("fault_current_source_a", said.source_a), ("fault_current_end_a", said.end_a)):
        known = [0, 1, 2]
        assert rows[column].to_numpy(float)[known] == pytest.approx(want[known])
        assert rows[column].isna().tolist() == [False, False, False, True, True]
    assert noted(found, "conductor_unknown") == ("6 CU: 1",)


def test_stated_currents_stay(tmp_path):
    rows = SEGMENTS.splitlines()
    stated = [rows[0] + ",fault_current_from_a,fault_current_to_a", rows[1] + ",2900,2000",
              *(row + ",," for row in rows[2:])]
    found = made(tmp_path, "S,F1,3000,4000,6,12.47\n", "\n".join(stated) + "\n")
    sections = found.tables["sections"].set_index("section_id")
    assert sections.loc["main", "fault_current_source_a"] == 2900
    assert pd.isna(sections.loc["tap", "fault_current_source_a"])


@pytest.mark.parametrize(("source", "key"), [
    ("S,F1,7000,4000,6,12.47\n", "source_current"), ("S,F1,3000,4000,6,\n", "source_without_current")])
def test_sources_that_do_not_serve_are_listed_and_nothing_is_computed(tmp_path, source, key):
    found = made(tmp_path, source)
    assert noted(found, key) == ("S",)
    assert "fault_current_source_a" not in found.tables["sections"]


def test_without_a_current_at_the_source_nothing_is_computed(tmp_path):
    found = made(tmp_path, "S,F1,,,,12.47\n")
    assert "fault_current_source_a" not in found.tables["sections"]
    assert not noted(found, "conductor_unknown")


def test_each_source_has_its_voltage(tmp_path):
    """Twice the voltage and the same current: twice the impedance of the source, and more current at the end."""
    both = SEGMENTS + "other,T,U,2.0,ABC,336.4 ACSR,breaker\n"
    found = made(tmp_path, "S,F1,3000,4000,6,12.47\nT,F2,3000,4000,6,24.94\n", both)
    ends = found.tables["sections"].set_index("section_id")["fault_current_end_a"].astype(float)
    starts = found.tables["sections"].set_index("section_id")["fault_current_source_a"].astype(float)
    assert starts[["main", "other"]].to_numpy() == pytest.approx([3000, 3000])
    assert ends["other"] > 1.2 * ends["main"]
