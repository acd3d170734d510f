"""Studies and their business side for the tests of this room."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.business.break_even import BreakEven, break_even
from reliability.business.cashflow import Business, assess, flows
from reliability.business.options import Options, build_options
from reliability.faults.outcomes import OutcomeTable, build_outcomes
from reliability.indices.draws import one_trial, values_of_trials
from reliability.indices.expected import Expected, expected_values
from reliability.network.model import Model
from reliability.network.tree import Network
from reliability.schema.scenarios import Scenario
from reliability.schema.values import Assumptions
from reliability.study.cost_table import CostTable, default_cost_table
from reliability.study.study import Study
from tests.networks import random_study, study_of

# Settings that go with a lateral's old device (contract.md, scenarios).
OF_THE_DEVICE = ("saving_ceiling_a", "rated_current_a", "actuating_current_a", "counts", "operations_to_lockout",
                 "fast_operations")

COSTS = default_cost_table()
# Incentives with which conversions pay on the small feeders of these tests.
GAINFUL = {"incentive_per_saidi_minute": 1200.0, "incentive_per_saifi": 3000.0}


@dataclass(frozen=True)
class Case:
    """A study and everything computed from it."""

    study: Study
    network: Network
    table: OutcomeTable
    expected: tuple[Expected, ...]
    business: Business
    costs: CostTable

    @property
    def break_even(self) -> BreakEven:
        """Where the gains in SAIDI of its scenarios turn."""
        return break_even(self.study.model, self.study.scenarios)


def case_of(study: Study) -> Case:
    """Table, expected values and business of a study."""
    network = study.network
    table = build_outcomes(Model(network, study.values), study.scenarios)
    expected = expected_values(table, study.values)
    costs = study.cost_table
    return Case(study, network, table, expected, assess(table, expected, study.values, costs, study.currency), costs)


def random_case(seed: int, sections: int = 30, full: bool = False, **values: object) -> Case:
    """A random study; `values` override assumptions, `full` as in `random_study`."""
    return case_of(random_study(np.random.default_rng(seed), sections, full, **values))


def feeders_of_laterals(laterals: int, seed: int = 0, scenarios: tuple[Scenario, ...] = (), **values: object) -> Study:
    """Two feeders, each a breaker, a recloser further out, and fused laterals, some with a fuse inside.

    Fast tripping saves the fuses below the ceiling, so that conversions help in some places and not in others.
    """
    rng = np.random.default_rng(seed)
    rows: list[dict[str, object]] = []
    for f in ("a", "b"):
        for k, device in enumerate(("breaker", "", "recloser")):
            rows.append({"section_id": f"{f}{k}", "parent_id": f"{f}{k - 1}" if k else "", "device": device,
                         "length_km": 2.0, "customers": 40.0, "load_kw": 80.0, "feeder_id": f,
                         "operations_to_lockout": 4.0 if k == 0 else 3.0,
                         "fault_current_source_a": 4000.0 - 1000 * k, "fault_current_end_a": 3000.0 - 1000 * k})
    mains = [r["section_id"] for r in rows]
    for i in range(laterals):
        main = mains[int(rng.integers(len(mains)))]
        customers = float(rng.integers(5, 120))
        small = float(rng.integers(0, 4))
        rows.append({"section_id": f"t{i}", "parent_id": main, "device": "fuse", "feeder_id": main[0],
                     "length_km": float(rng.uniform(0.5, 6.0)), "customers": customers + small,
                     "customers_residential": customers, "customers_small_ci": small, "load_kw": 2 * customers,
                     "phases": float(rng.integers(1, 4)), "fault_current_source_a": 2000.0,
                     "fault_current_end_a": 600.0, "saving_ceiling_a": float(rng.uniform(300.0, 1500.0))})
        if i % 3 == 0:
            rows.append({"section_id": f"t{i}x", "parent_id": f"t{i}", "device": "fuse", "feeder_id": main[0],
                         "length_km": 1.0, "customers": 10.0, "load_kw": 20.0, "phases": 1.0,
                         "fault_current_source_a": 1200.0, "fault_current_end_a": 600.0, "saving_ceiling_a": 900.0})
    return study_of(rows, scenarios, **values)


def options_of(laterals: int, seed: int = 0, fast: tuple[int, ...] = (), **values: object) -> tuple[Study, Options]:
    """`feeders_of_laterals` where conversions pay, and its options; `fast` are the settings to offer."""
    study = feeders_of_laterals(laterals, seed, **(GAINFUL | values))
    return study, build_options(study.model, COSTS, fast)


def carried_out(study: Study, selection: pd.DataFrame) -> Study:
    """The study's network with the rows of selection.csv built into it, as its own "As built"."""
    sections = study.sections.copy().set_index("section_id", drop=False)
    for row in selection.itertuples():
        if row.what == "lateral":
            old = sections.loc[row.section_id, "device"]
            if old != row.device:
                sections.loc[row.section_id, list(OF_THE_DEVICE)] = np.nan
                sections.loc[row.section_id, ["device", "fuse_link"]] = [row.device, ""]
            sections.loc[row.section_id, "counts"] = row.counts
        else:
            sections.loc[row.section_id, "fast_operations"] = row.fast_operations_of_backup
    return replace(study.with_sections(sections.reset_index(drop=True)), scenarios=study.scenarios[:1])


def with_values(values: Assumptions, changes: Mapping[str, float]) -> Assumptions:
    """Assumptions with some changed; an element of shares ("clearing_shares.0") scales them to sum to 1."""
    return one_trial(values_of_trials(values, {k: np.array([float(v)]) for k, v in changes.items()}), 0)


def npvs_the_long_way(case: Case, values: Assumptions) -> np.ndarray:
    """Table, expected values and cash flow at the given values, in the perspective that they state, (S,)."""
    table = build_outcomes(Model(case.network, values), case.study.scenarios)
    business = assess(table, expected_values(table, values), values, COSTS)
    return np.array([flows(business, s)["discounted"].sum() for s in range(len(business.scenarios))])
