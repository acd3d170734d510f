"""Devices along the frontier, in words: which are named, and where another one leads."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.report.frontier_mix import NOTHING_INSTALLED, changes, devices, mixes, unproven

CURVE = pd.DataFrame({"units_sectionalizer": [0.0, 1.0, 5.0, 4.0, 0.0],
                      "units_lateral recloser": [0.0, 0.0, 3.0, 9.0, 20.0],
                      "units_nowhere": [0.0] * 5, "units": [0.0, 1.0, 8.0, 13.0, 20.0]})


def test_every_point_names_its_devices_most_first():
    assert devices(CURVE) == ["sectionalizer", "lateral recloser"]
    assert mixes(CURVE) == [NOTHING_INSTALLED, "1 sectionalizer", "5 sectionalizers, 3 lateral reclosers",
                            "9 lateral reclosers, 4 sectionalizers", "20 lateral reclosers"]


def test_labels_stand_where_another_device_leads_and_at_the_end():
    assert changes(CURVE) == [3, 4]
    assert changes(CURVE.iloc[:3]) == [2]
    assert changes(CURVE[["units"]]) == []
    assert mixes(CURVE[["units"]]) == [NOTHING_INSTALLED] * 5


def test_points_that_may_be_far_from_the_best_are_counted():
    assert unproven(pd.DataFrame({"gap": [0.0, 5e-3]})) == ""
    said = unproven(pd.DataFrame({"gap": [0.0, 0.01, 0.12]}))
    assert said.startswith("At 2 budgets of 3 more may be avoided than is shown, by up to 12.0 %:")
    assert " than is shown: the time" in unproven(pd.DataFrame({"gap": [np.nan, 0.12]}))
