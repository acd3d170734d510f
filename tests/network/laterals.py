"""One lateral on one backup that passes every application check, to be changed cell by cell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from reliability.network.application import ApplicationChecks, check_laterals
from reliability.network.application_catalogue import VERDICTS
from reliability.network.model import Model
from reliability.network.tree import build_network
from reliability.schema.scenarios import Scenario
from tests.networks import study_of

# 10·√3·50 kVA / 12.47 kV = 69.4 A of inrush
# 1.25·40 A = 50 A and 2·40 A = 80 A = 1.6·50 A: rating 50 A, actuating current 80 A
BACKUP = {"section_id": "backup", "device": "recloser", "operations_to_lockout": 4.0, "fast_operations": 2.0,
          "minimum_trip_a": 200.0, "dead_time_s": 0.5}
LATERAL = {"section_id": "tap", "parent_id": "backup", "device": "fuse", "fuse_link": "80K", "phases": 1.0,
           "length_km": 2.0, "peak_load_a": 40.0, "fault_current_source_a": 400.0, "fault_current_end_a": 200.0,
           "generation_kw": 0.0, "capacitor_kvar": 0.0, "connected_kva": 50.0}
VALUES = {"load_margin": 1.25, "cold_load_factor": 2.0, "fault_current_margin": 1.25, "minimum_trip_share": 0.8,
          "recognition_s": 0.1, "drop_out_s": 0.2, "memory_s": 25.0, "longest_dead_time_s": 5.0,
          "delayed_clearing_time_s": 1.0, "fast_clearing_time_s": 0.075, "momentary_withstand_a": 12500.0,
          "asymmetry_factor": 1.6, "short_time_withstand_a": 6300.0, "device_bil_kv": 110.0, "bil_kv": 95.0,
          "system_kv": 12.47, "dead_line_threshold_a": 0.3, "inrush_multiple": 10.0, "inrush_restraint": "",
          "underground_share": 0.5, "reclosing_off_share": 0.0, "fault_current_factor": 1.0}
ALL = Scenario("All sectionalizers", None, "sectionalizer")


def checks_of(tap: Mapping[str, object] | None = None, backup: Mapping[str, object] | None = None,
              below: Sequence[Mapping[str, object]] = (), scenario: Scenario = ALL,
              settings: pd.DataFrame | None = None, **values: object) -> ApplicationChecks:
    """Checks of the lateral with some cells of its own, of its backup or sections below it changed.

    settings: overcurrent settings, a frame of `columns.SETTINGS`. A row below that states no parent is below the tap.
    """
    study = study_of([BACKUP | dict(backup or {}), LATERAL | dict(tap or {}),
                      *({"parent_id": "tap", "length_km": 1.0, "phases": 1.0} | dict(row) for row in below)],
                     **(VALUES | values))
    return check_laterals(Model(build_network(study.sections, settings=settings), study.values), scenario)


def verdict(checks: ApplicationChecks, key: str) -> str:
    """Verdict of one check of the one lateral."""
    return VERDICTS[checks.check(key).verdict[0]]


def overall(checks: ApplicationChecks) -> str:
    """Verdict of the one lateral."""
    return VERDICTS[checks.verdict[0]]
