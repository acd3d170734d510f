"""What a run computes, and its tables as data frames."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from reliability.business.break_even import (
    BreakEven,
    MomentaryValue,
    break_even,
    has_both_states,
    momentary_value,
    table_of_both_states,
)
from reliability.business.calibrated import Calibrated
from reliability.business.cashflow import Business, assess, cashflow_frame
from reliability.business.chosen_checks import checks_of_selection
from reliability.business.costs import SOCIETY, UTILITY, InterruptionCosts, expected_interruption_cost
from reliability.business.laterals import laterals_frame
from reliability.business.options import Options
from reliability.business.selection import Choice
from reliability.business.stability import Stability
from reliability.faults.outcomes import OutcomeTable
from reliability.formats import count
from reliability.history import History
from reliability.indices.customer_groups import customer_groups
from reliability.indices.expected import Expected, system_indices
from reliability.indices.frame import indices_frame
from reliability.indices.reweighed import Reweighed, ReweighedHours, reweighed, reweighed_hours
from reliability.indices.simulation import Simulated
from reliability.network.application import ApplicationChecks, application_frame
from reliability.network.tree import Network
from reliability.schema.problems import shorten
from reliability.schema.scenarios import proposed_position
from reliability.schema.values import as_assumptions
from reliability.study.cost_table import CostTable
from reliability.study.plan_view import PlanView, plan_view
from reliability.study.study import Study

# of the expected values, whatever is simulated
OF_EXPECTED = ("break_even", "perspectives", "momentary_value", "system", "customer_groups")


@dataclass(frozen=True)
class Plan:
    """What is worth converting: every option, the best choice within the study's limits, and its alternatives.

    frontier: the largest SAIDI reduction at each budget. programme: the choice spread over years, with a sentence on it
    in programme_note. drivers: the assumptions on which the net present value of the scenarios depends most. stability:
    how sure the choice is. calibrated: the choice where rates and times are as the records have them, None where no
    factor is offered.
    """

    options: Options
    choice: Choice
    frontier: pd.DataFrame
    programme: pd.DataFrame
    programme_note: str
    drivers: pd.DataFrame
    stability: Stability | None = None
    calibrated: Calibrated | None = None

    def __repr__(self) -> str:
        return f"Plan: {count(len(self.choice.selection), 'row')} selected for {self.choice.objective}"


@dataclass(frozen=True)
class Results:
    """Everything a run computes; scenarios in the order of `study.scenarios`.

    checks: of every lateral for a sectionalizer. alike: results of another state of the study that differs in rates,
    times and prices alone, whose matrices serve this one too. simulated, plan, history: None where they were not
    computed or, of history, the study has no records. Money is in the study's currency. The frames are those of the
    files of a run; `indices`, `laterals`, `cashflow` and `application` are made once and must not be changed by the
    caller.
    """

    study: Study
    table: OutcomeTable
    expected: tuple[Expected, ...]
    business: Business
    checks: ApplicationChecks
    simulated: Simulated | None = None
    plan: Plan | None = None
    history: History | None = None
    alike: Results | None = None

    def __repr__(self) -> str:
        parts = [count(len(self.study.scenarios), "scenario")]
        if self.simulated is not None:
            parts.append(f"{count(self.simulated.trials, 'trial')} of {count(self.simulated.years, 'year')}")
        parts += [name for name in ("plan", "history") if getattr(self, name) is not None]
        return f"Results of '{shorten(self.study.name, 60)}': {', '.join(parts)}"

    def with_parts(self, simulated: Simulated, plan: Plan, history: History | None) -> Results:
        """The same with what a run adds; what was already found of the expected values alone is not computed again."""
        return self._but(simulated=simulated, plan=plan, history=history)

    def without_rows(self) -> Results:
        """The same without the rows of the outcome table, which are large, where all that asks for them is known."""
        if not vars(self).keys() >= set(OF_EXPECTED):
            return self
        return self._but(table=self.table.take(np.empty(0, dtype=int)))

    def _but(self, **parts: object) -> Results:
        other = replace(self, **parts)      # type: ignore[arg-type]
        vars(other).update({name: found for name, found in vars(self).items() if name in OF_EXPECTED})
        return other

    def find_of_expected(self) -> None:
        """Compute OF_EXPECTED now, for whoever has time while other processes work."""
        for name in OF_EXPECTED:
            getattr(self, name)

    @property
    def network(self) -> Network:
        """The study's sections as arrays."""
        return self.study.network

    @property
    def costs(self) -> CostTable:
        """Customers' cost of an interruption."""
        return self.study.cost_table

    @property
    def proposed(self) -> int | None:
        """Position of the scenario "Proposed", None where nothing is proposed."""
        return proposed_position(self.study.scenarios)

    @cached_property
    def plan_view(self) -> PlanView | None:
        """The network in plan, None where the study has no routes."""
        return None if self.study.routes is None else plan_view(self.network, self.study.routes)

    @cached_property
    def break_even(self) -> BreakEven:
        """Where the gains in SAIDI of the scenarios change sign; computed when it is first asked for."""
        return break_even(self.study.model, self.study.scenarios,
                          None if self.alike is None else self.alike.both_states, self.table)

    @cached_property
    def matrices(self) -> Reweighed | None:
        """What gives the expected values of states that differ in rates, times and prices; see `reweighed`."""
        return reweighed(self.table, self.study.values)

    @cached_property
    def both_states(self) -> ReweighedHours | None:
        """The same of the table with reclosing on and off, for customer-hours."""
        study = self.study
        both = self.table if has_both_states(self.table, study.values) else table_of_both_states(study.model,
                                                                                                 study.scenarios)
        return reweighed_hours(both, study.values)

    @cached_property
    def interruption_costs(self) -> InterruptionCosts:
        """What interruptions cost the customers a year, whatever the perspective."""
        return expected_interruption_cost(self.table, self.study.values, self.costs)

    @cached_property
    def perspectives(self) -> dict[str, Business]:
        """The business case by perspective, the study's own among them; only prices differ."""
        seen = {view: {**self.study.values, "perspective": view} for view in (UTILITY, SOCIETY)}
        society = assess(self.table, self.expected, as_assumptions(seen[SOCIETY]), self.costs, self.study.currency,
                         self.interruption_costs)
        return {UTILITY: replace(society, values=as_assumptions(seen[UTILITY])), SOCIETY: society,
                str(self.study.values["perspective"]): self.business}

    @cached_property
    def momentary_value(self) -> MomentaryValue:
        """Society's net present value over the value of a momentary event; computed when it is first asked for."""
        return momentary_value(self.business, self.interruption_costs)

    @cached_property
    def system(self) -> tuple[dict[str, object], ...]:
        """What `indices.expected.system_indices` gives of each scenario."""
        return tuple(system_indices(expected, float(self.study.values["yearly_cv"])) for expected in self.expected)

    @cached_property
    def customer_groups(self) -> tuple[pd.DataFrame, ...]:
        """What `indices.customer_groups` gives of each scenario against the first."""
        first, plans = self.expected[0], self.table.protections
        return tuple(customer_groups(first, expected, plans[0], plan)
                     for expected, plan in zip(self.expected, plans, strict=True))

    @cached_property
    def indices(self) -> pd.DataFrame:
        """A row a scenario: `scenario` and expected figures of a year.

        saifi, maifi, maifi_e (per customer and year); saidi_min (min per customer and year); caidi_min (min);
        asai (0–1); ens_mwh (MWh/yr); callouts (per year), refuse_callouts, reset_callouts, patrol_callouts,
        repair_callouts.

        After a simulation also, for each of these but asai, in the same unit: _mean, _se (standard error of the mean),
        and _p10, _p50, _p90 of a year. NaN where an index does not exist.
        """
        return indices_frame([s.name for s in self.study.scenarios], self.expected, self.simulated)

    @cached_property
    def laterals(self) -> pd.DataFrame:
        """laterals.csv, a row a lateral and scenario: what the faults on the lateral cause in a year.

        lateral_id, scenario, feeder_id; device_id, location (of its head, where the study states any); device (at its
        head); customers (on the lateral); customer_interruptions,
        customer_minutes, momentary_events (customers'), callouts and those by kind, refuse_callouts, reset_callouts,
        patrol_callouts, repair_callouts (all per year); cost (money per year, in the study's perspective); and where
        the scenario converts the lateral capex and npv (money), rank (1: the highest npv of the scenario) and
        break_even_reclosing_off_share (0–1 of the faults while reclosing is off at which the gain in minutes is nil).
        """
        return laterals_frame(self.business, self.break_even)

    @cached_property
    def cashflow(self) -> pd.DataFrame:
        """cashflow.csv, a row a scenario and year from 0 to the horizon, money against "As built".

        scenario; year; capex; callout_saving, energy_saving, incentive, interruption_cost_saving (of the perspective);
        inspection; net (savings − capex − inspection); discounted (net at its present value).
        """
        return cashflow_frame(self.business)

    @property
    def selection(self) -> pd.DataFrame:
        """selection.csv, a row a device installed or a backup changed by the best choice within the limits.

        what, section_id, feeder_id; device_id, location (where the study states any); backup_id, device; counts;
        fast_operations_of_backup; units (one a phase); capex, npv (money); and per year
        customer_interruptions_avoided, customer_minutes_avoided, momentary_events_added (customers'),
        callouts_avoided; break_even_reclosing_off_share (0–1, see `laterals`); probability_npv_positive (of the row by
        itself) and stays_chosen_share (0–1 of the draws in which it is chosen again), over draws of the ranges
        and learned rates, blank where nothing is uncertain. Rows add up to the whole choice: where the settings of a
        backup change too, a lateral's row is the gain of its own faults under the whole choice, which is not that of
        the lateral converted alone, and the settings' row is the rest of the zone. Raises ValueError where the results
        have no plan.
        """
        return self._plan().choice.selection.copy()

    @cached_property
    def chosen_checks(self) -> ApplicationChecks:
        """Application checks of all laterals, those selected with the settings chosen for each. Raises ValueError where
        the results have no plan."""
        return checks_of_selection(self.study.model, self._plan().choice.selection, self.checks.scenario)

    @property
    def checks_as_proposed(self) -> ApplicationChecks:
        """Application checks of all laterals: those proposed as they are to be set, the others as `checks` has them."""
        return self.checks if self.plan is None else self.chosen_checks

    @cached_property
    def application(self) -> pd.DataFrame:
        """application.csv, a row a lateral: whether a sectionalizer works there, from planning data.

        Laterals of the selection are judged as they are to be set there, the others as the first scenario sets them.
        lateral_id; device_id, location (where the study states any); verdict (pass, review, unknown or fail);
        proposed rated_current_a (A), counts, actuating_current_a (A), and counts_in_model, the counts assumed in the
        outcome table; unseen_share (0–1 of the faults beyond it that it does not see); the verdict of each check in a
        column of its own; not_passed (labels of the checks not passed, separated by "; ").
        """
        return application_frame(self.checks_as_proposed)

    @property
    def sensitivity(self) -> pd.DataFrame:
        """drivers.csv, a row a scenario and assumption, the widest swing first: sensitivity of the NPV.

        scenario, assumption (its key), label, unit; value, low, high (in that unit), range ("stated",
        "default", "±20%" or "from records"); npv, npv_low, npv_high, swing (money); first_order, total (Sobol' indices,
        0–1, over the ranges) and their standard errors first_order_error, total_error; break_even (in the unit),
        break_even_in_range (true or false). Raises ValueError where the results have no plan.
        """
        return self._plan().drivers.copy()

    def _plan(self) -> Plan:
        if self.plan is None:
            raise ValueError("these results have no plan: analyse() makes one, expect() does not")
        return self.plan
