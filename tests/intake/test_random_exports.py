"""Random exports come back as the study that they were made from: expected indices under every scenario to 1e-9."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from reliability.intake import NO_RECIPE, import_exports
from reliability.study import open_study
from tests.adapter import core_results, differences
from tests.intake.exports import exported
from tests.networks import random_study


def back(folder, study, recipe=NO_RECIPE):
    """The study that the exports in a folder become, with the scenarios of another."""
    imported = import_exports(folder, recipe, study.name)
    imported.save(folder / "study")
    return imported, replace(open_study(folder / "study"), scenarios=study.scenarios)


def drawn(rng, sections: int, full: bool):
    """A random study that can be opened: no device of a single operation, behind which no sectionalizer may stand."""
    study = random_study(rng, sections, full)
    frame = study.sections.copy()
    frame.loc[frame["operations_to_lockout"] == 1, ["operations_to_lockout", "fast_operations"]] = (5.0, 0.0)
    return study.with_sections(frame)


def system(results: dict) -> dict:
    """Figures of the whole system: sections were cut and joined, so that theirs stand under other names."""
    return {name: {k: v for k, v in one.items() if k not in ("sections", "laterals")} for name, one in results.items()}


@pytest.mark.parametrize("seed", range(40))
def test_indices_come_back(tmp_path, seed):
    rng = np.random.default_rng(seed)
    study = drawn(rng, int(rng.integers(3, 40)), bool(seed % 2))
    exports = exported(study, rng, by_parent=seed % 5 == 0)
    imported, again = back(exports.write(tmp_path), study)
    assert differences(system(core_results(again)), system(core_results(study))) == []
    assert len(again.sections) >= len(study.sections)
    assert (imported.report.balance["in"] - imported.report.balance["out"]).abs().max() < 1e-6


@pytest.mark.parametrize("seed", range(12))
def test_rows_of_each_conductor_and_a_shared_bus_come_back(tmp_path, seed):
    rng = np.random.default_rng(100 + seed)
    study = drawn(rng, int(rng.integers(3, 30)), bool(seed % 2))
    exports = exported(study, rng, conductors=seed % 3 > 0, bus=seed % 2 == 0)
    imported, again = back(exports.write(tmp_path), study)
    assert differences(system(core_results(again)), system(core_results(study))) == []
    assert sorted(again.sections["feeder_id"].unique()) == sorted(study.sections["feeder_id"].unique())
    assert imported.report.findings.ids("island") == ()


@pytest.mark.parametrize("seed", range(8))
def test_open_ties_between_feeders_change_nothing_but_their_sections(tmp_path, seed):
    rng = np.random.default_rng(200 + seed)
    study = drawn(rng, 30, bool(seed % 2))
    exports = exported(study, rng)
    frame = exports.tables["segments"]
    pairs = rng.choice(len(frame), (4, 2))
    ties = pd.DataFrame({"segment_id": [f"tie {k}" for k in range(4)], "normal_state": "open",
                         "from_node": frame["to_node"].to_numpy()[pairs[:, 0]],
                         "to_node": frame["from_node"].to_numpy()[pairs[:, 1]]})
    exports.tables["segments"] = pd.concat([frame, ties], ignore_index=True)
    imported, again = back(exports.write(tmp_path), study)
    assert differences(system(core_results(again)), system(core_results(study))) == []
    assert {*imported.ties["name"]} == {*ties["segment_id"][ties["from_node"] != ties["to_node"]]}
    assert imported.report.findings.ids("ring") == ()


@pytest.mark.parametrize("seed", range(10))
def test_merged_or_not_the_indices_are_the_same(tmp_path, seed):
    """Lines of one construction, currents on the line, equipment faults by length: merged across what was a section."""
    rng = np.random.default_rng(300 + seed)
    study = drawn(rng, 25, bool(seed % 2))
    frame = study.sections.copy()
    same = {"line_fault_rate_per_km": np.nan, "temporary_fraction": np.nan, "repair_hours": np.nan,
            "fault_current_source_a": np.nan, "fault_current_end_a": np.nan}
    frame = frame.assign(**same)
    alike = study.with_sections(frame)
    one = exported(alike, rng, areas=False, most_spans=3)
    imported, again = back(one.write(tmp_path), alike)
    ignored = ("ens_mwh",)      # load of sections without customers goes by the share of the device that opened
    assert differences(system(core_results(again)), system(core_results(alike)), ignored=ignored) == []
    assert len(again.sections) <= len(alike.sections)
    assert len(imported.segment_sections) >= len(alike.sections)
