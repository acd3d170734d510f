"""Coordination on the page of laterals: the curves of the lateral looked at, its shares, and the feeder's."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.faults.coordination_view import (
    OUTCOME_WORDS,
    feeders_frame,
    growth_frame,
    split_by_outcome,
    splits_by_factor,
)
from reliability.network.protection import protection
from reliability.study import open_study, workspace
from tests.ui.conftest import app, figures, put, values_of

SETTINGS = (b"section_id,element,operation,pickup_a,curve,time_dial,added_time_s\n"
            b"main-1,phase,fast,300,ieee_very_inverse,0.05,0.04\n"
            b"main-1,phase,delayed,300,ieee_very_inverse,1.0,0.04\n")


def table_with(test, column: str):
    return next(d.value for d in test.dataframe if column in d.value)


def curves_on(test) -> dict:
    return next(f for f in figures(test) if "Time, s" in str(f["layout"].get("yaxis", {}).get("title")))


def state(name: str):
    study = open_study(workspace.root() / name)
    return study, protection(study.model)


@pytest.mark.parametrize("settings", [False, True])
def test_curves_and_shares_of_the_lateral_are_those_of_the_core(small, settings):
    if settings:
        study, found = state(small)
        recloser = found.reclosing_device[np.flatnonzero(study.network.ids == "tap-03")[0]]
        put(small, {"settings.csv": SETTINGS.replace(b"main-1", str(study.network.ids[recloser]).encode())})
    test = app("laterals", small, lateral="tap-03")
    names = [t["name"] for t in curves_on(test)["data"]]
    assert any("melting" in n for n in names)
    assert any("total clearing" in n for n in names)
    assert any("delayed" in n for n in names) == settings
    study, found = state(small)
    sections = study.network.unit == int(np.flatnonzero(study.network.ids == "tap-03")[0])
    growth = growth_frame(splits_by_factor(study.model, found), sections)
    shown = table_with(test, "factor, ×")
    for key, name in OUTCOME_WORDS.values():
        if name in shown:
            told = shown[name].str.replace("\u202f", "").astype(float).to_numpy()
            np.testing.assert_allclose(told, 100.0 * growth[key].to_numpy(), rtol=6e-3)
        else:
            assert (growth[key] == 0).all()


def test_the_feeder_s_faults_are_those_of_the_core(small):
    test = app("laterals", small)
    study, found = state(small)
    rows = feeders_frame(study.network, split_by_outcome(study.model, found))
    rows = rows[rows["feeder_id"] == test.selectbox("map_feeder").value]
    chart = next(f for f in figures(test) if "Faults a year" in str(f["layout"].get("xaxis", {}).get("title")))
    for trace, operation in zip(chart["data"], ("fast", "delayed"), strict=True):
        total = rows.loc[rows["operation"] == operation, "faults_per_year"].sum()
        assert values_of(trace["x"]).sum() == pytest.approx(total)
    km = table_with(test, "line, fast, km")["line, fast, km"].str.replace("\u202f", "").astype(float)
    assert km.sum() == pytest.approx(rows.loc[rows["operation"] == "fast", "km"].sum(), rel=0.01)
