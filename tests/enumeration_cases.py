"""Cases of one or two sections for tests of the enumeration.

One fault a year on `tap` (10 customers) behind `main` (90): SAIFI of a cleared tap is 0.1, of a lockout 1, and a
ride-through is one momentary event for everybody.
"""

from __future__ import annotations

from tests.enumeration import enumerate_study
from tests.networks import study_of

MAIN = {"section_id": "main", "device": "breaker", "customers": 90}
TAP = {"section_id": "tap", "parent_id": "main", "device": "fuse", "length_km": 1.0, "customers": 10, "phases": 1.0}
# R alone rides through, both trip with the fuse blown, or the fuse alone: SAIFI and MAIFI_E
R_ALONE, BOTH, FUSE_ALONE, LOCKOUT = (0.0, 1.0), (0.1, 0.9), (0.1, 0.0), (1.0, 0.0)
SHARES = (0.6, 0.3, 0.1)  # mean phases involved: 0.6 + 0.6 + 0.3 = 1.5


def level(amperes: float) -> dict[str, float]:
    """A section whose fault current is the same all along."""
    return {"fault_current_source_a": amperes, "fault_current_end_a": amperes}


def study(*rows, **values):
    """One fault a year and km, temporary, cleared by the first dead time; one fast operation of three."""
    usual = {"line_fault_rate_per_km": 1.0, "temporary_fraction": 1.0, "clearing_shares": (1.0, 0.0, 0.0),
             "operations_to_lockout": 3, "fast_operations": 1, "fuse_failure": 0.0, "sectionalizer_failure": 0.0,
             "sectionalizer_counts": 1, "phases_involved": SHARES, "fast_clearing_time_s": 0.075}
    return study_of(rows, **(usual | values))


def played(*rows, **values) -> dict:
    """Results as built."""
    return enumerate_study(study(*rows, **values))["As built"]


def indices(*rows, **values) -> tuple[float, float]:
    """SAIFI and MAIFI_E as built."""
    found = played(*rows, **values)
    return found["saifi"], found["maifi_e"]


def relay(curve: str = "definite", pickup: float = 100.0, dial: float | None = None, added: float | None = None,
          element: str = "phase", operation: str = "fast") -> dict:
    """A row of settings.csv of `main`."""
    return {"section_id": "main", "element": element, "operation": operation, "pickup_a": pickup, "curve": curve,
            "time_dial": dial, "added_time_s": added}
