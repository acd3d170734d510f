"""Random exports come back as the study that they were made from: expected indices under every scenario to 1e-9."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reliability.intake import import_exports
from reliability.study import open_study
from tests.adapter import core_results, differences
from tests.intake.exports import exported
from tests.networks import random_study


def back(folder, study):
    """The study that the exports in a folder become, with the scenarios of another."""
    imported = import_exports(folder, name=study.name)
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
