"""The business case of each scenario against "As built": capital, cash flow, and its figures of merit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from reliability.business import finance
from reliability.business.costs import (
    AMOUNTS,
    BENEFIT_PARTS,
    BENEFITS_BY_PERSPECTIVE,
    INTERRUPTION,
    InterruptionCosts,
    amounts_by_section,
    expected_interruption_cost,
    total_money,
    totals,
    yearly_money,
)
from reliability.business.verdict import scope, verdict
from reliability.faults.consequences import CALLOUTS
from reliability.faults.outcomes import OutcomeTable
from reliability.indices.draws import values_of_trials
from reliability.indices.expected import Expected
from reliability.indices.simulation import Simulated
from reliability.network.devices import BACKS_UP, CODE
from reliability.network.protection import Protection
from reliability.network.tree import Network
from reliability.schema.devices import BY_NAME, LATERAL_DEVICES
from reliability.schema.units import MINUTES_PER_HOUR
from reliability.schema.values import Assumptions, Drawn, TrialValues, drawn
from reliability.study.cost_table import CostTable

SAVING_OF_PART = dict(zip(BENEFIT_PARTS, ("callout_saving", "energy_saving", "incentive", "interruption_cost_saving"),
                          strict=True))
ROUNDING = 1e-9  # of an amount; less avoided than that is rounding, not protection
BASE = "What the other scenarios are compared with."
CASHFLOW_COLUMNS = ("scenario", "year", "capex", *SAVING_OF_PART.values(), "inspection", "net", "discounted")


@dataclass(frozen=True)
class Capital:
    """What a scenario installs: units by device (one a phase), and breakers and reclosers whose settings change."""

    units: Mapping[str, float]
    settings: int

    @property
    def total_units(self) -> float:
        """Units installed."""
        return sum(self.units.values())

    def spares(self, values: TrialValues) -> Drawn:
        """Units bought as spares."""
        return self.total_units * drawn(values, "spare_units_share")

    def cost(self, values: TrialValues) -> Drawn:
        """Money spent in year 0, spares included."""
        units = sum(n * drawn(values, BY_NAME[device].price) for device, n in self.units.items())
        units = units * (1.0 + drawn(values, "spare_units_share"))
        return units + self.settings * drawn(values, "backup_settings_cost")

    def inspection(self, values: TrialValues) -> Drawn:
        """Money spent every year on looking at the converted units."""
        return self.total_units * drawn(values, "inspection_cost_per_year")


@dataclass(frozen=True)
class Business:
    """Expected amounts and capital of S scenarios, "As built" first.

    by_section: for each scenario, yearly amounts by name of `costs.AMOUNTS`, (n,), caused by
    the faults on each section.
    """

    network: Network
    values: Assumptions
    currency: str
    scenarios: tuple[str, ...]
    protections: tuple[Protection, ...]
    by_section: tuple[Mapping[str, np.ndarray], ...]
    capital: tuple[Capital, ...]

    @property
    def customers_served(self) -> float:
        """Customers of the network."""
        return float(self.network.customers.sum())


def assess(table: OutcomeTable, expected: tuple[Expected, ...], values: Assumptions, costs: CostTable,
           currency: str = "", known: InterruptionCosts | None = None) -> Business:
    """Everything that the figures below are taken from.

    table, expected: of the same scenarios, "As built" first. costs: customers' costs, from
    `read_cost_table`; only looked at where the perspective counts them. known: what these come to, where that is known.
    """
    interruption: list[np.ndarray | None] = [None] * len(expected)
    if INTERRUPTION in BENEFITS_BY_PERSPECTIVE[values["perspective"]]:
        interruption = list((known or expected_interruption_cost(table, values, costs)).by_section)
    return Business(
        table.network, values, currency, tuple(s.name for s in table.scenarios), table.protections,
        tuple(amounts_by_section(e, i) for e, i in zip(expected, interruption, strict=True)),
        tuple(capital_of(table.network, p, table.protections[0]) for p in table.protections),
    )


def capital_of(network: Network, protection: Protection, as_built: Protection) -> Capital:
    """Units of the converted laterals, and breakers and reclosers whose fast operations changed."""
    heads = np.flatnonzero(protection.converted)
    units = np.bincount(protection.device[heads], network.phases[heads], minlength=len(CODE))
    changed = BACKS_UP[as_built.device] & (protection.fast != as_built.fast)
    return Capital({d: float(units[CODE[d]]) for d in LATERAL_DEVICES}, int(changed.sum()))


def yearly_savings(business: Business, scenario: int) -> dict[str, float]:
    """First-year money saved against "As built" by part of `BENEFIT_PARTS`, before inspection."""
    before, after = (yearly_money(totals(business.by_section[s]), business.values, business.customers_served)
                     for s in (0, scenario))
    return {part: float(before[part] - after[part]) for part in BENEFIT_PARTS}


def flows(business: Business, scenario: int) -> dict[str, np.ndarray]:
    """Columns of cashflow.csv of one scenario, (H + 1,): costs positive, net = savings − capex − inspection.

    Savings grow with the escalation rate from the second year on; inspection does not (model §7).
    """
    values, capital = business.values, business.capital[scenario]
    years = int(values["horizon_years"])
    grown = np.append(0.0, finance.growth_factors(values["escalation_rate"], years))
    result = {"capex": capital.cost(values) * np.append(1.0, _again(values, years))}
    result |= {SAVING_OF_PART[part]: saving * grown for part, saving in yearly_savings(business, scenario).items()}
    result["inspection"] = np.append(0.0, np.full(years, capital.inspection(values)))
    saved = sum((result[c] for c in SAVING_OF_PART.values()), start=np.zeros(()))
    result["net"] = saved - result["capex"] - result["inspection"]
    result["discounted"] = result["net"] * np.append(1.0, finance.discount_factors(values["discount_rate"], years))
    return {name: column + 0.0 for name, column in result.items()}     # no −0


def cashflow_frame(business: Business) -> pd.DataFrame:
    """cashflow.csv: a row a scenario and year 0 … H (contract.md)."""
    frames = []
    for s, name in enumerate(business.scenarios):
        columns = flows(business, s)
        frames.append(pd.DataFrame({"scenario": name, "year": np.arange(len(columns["net"]))} | columns))
    return pd.concat(frames, ignore_index=True)[list(CASHFLOW_COLUMNS)]


def present_worth(values: TrialValues, yearly_saving: Drawn, capex: Drawn, inspection: Drawn) -> Drawn:
    """Net present value of yearly savings (first-year money) that grow, less capital and inspection.

    All three alike in shape, draws of the rates (K,) along the last axis; linear in each, so that parts of a network
    may be valued apart. capex: of year 0; what is replaced within the horizon is added here.
    """
    years = int(drawn(values, "horizon_years"))
    discounts = finance.discount_factors(drawn(values, "discount_rate"), years)
    grown = finance.growth_factors(drawn(values, "escalation_rate"), years)
    return (yearly_saving * (grown * discounts).sum(axis=-1) - inspection * discounts.sum(axis=-1)
            - capex * (1.0 + (_again(values, years) * discounts).sum(axis=-1)))


def _again(values: TrialValues, years: int) -> np.ndarray:
    """Capital of years 1 … H over that of year 0, (…, H): what is replaced."""
    life = values["device_life_years"]
    return finance.replacement_prices(drawn(values, "escalation_rate"), years, life if isinstance(life, int) else None)


def npv_by_trial(business: Business, simulated: Simulated) -> np.ndarray:
    """Net present value of each trial's horizon under its own draw of the unknowns, (S, trials).

    NaN for a scenario that was not simulated.
    """
    values: TrialValues = {k: v[:, None] if isinstance(v, np.ndarray) else v
                           for k, v in values_of_trials(business.values, simulated.draws).items()}
    years = simulated.years
    grown = finance.growth_factors(np.ravel(drawn(values, "escalation_rate")), years)
    discounts = finance.discount_factors(np.ravel(drawn(values, "discount_rate")), years)
    again = np.reshape(_again(values, years), (-1, years))
    with_replacements = 1.0 + (again * discounts).sum(axis=1)
    no_cost = np.zeros(simulated.totals["ci"].shape[1:])

    def yearly_cost(scenario: str) -> np.ndarray:
        at = simulated.scenarios.index(scenario)
        amounts = {name: simulated.totals[name][at] if name in simulated.totals else no_cost for name in AMOUNTS}
        return total_money(amounts, values, business.customers_served)

    result = np.full((len(business.scenarios), simulated.trials), np.nan)
    as_built = yearly_cost(business.scenarios[0])
    for s, (name, capital) in enumerate(zip(business.scenarios, business.capital, strict=True)):
        if name not in simulated.scenarios:
            continue
        net = (as_built - yearly_cost(name)) * grown - capital.inspection(values)
        result[s] = (net * discounts).sum(axis=1) - np.ravel(capital.cost(values)) * with_replacements
    return result


def business_summary(business: Business, simulated: Simulated | None = None) -> list[dict[str, object]]:
    """The case of every scenario for summary.json; None where a figure does not exist.

    Of a simulation that left out what the perspective counts no range is given.
    """
    missing = INTERRUPTION in BENEFITS_BY_PERSPECTIVE[business.values["perspective"]] and (
        simulated is not None and INTERRUPTION not in simulated.totals)
    trials = npv_by_trial(business, simulated) if simulated is not None and not missing else None
    return [_summary(business, s) | _spread(None if trials is None or s == 0 else trials[s])
            for s in range(len(business.scenarios))]


def _summary(business: Business, scenario: int) -> dict[str, object]:
    values, capital = business.values, business.capital[scenario]
    columns = flows(business, scenario)
    rate, years = float(values["discount_rate"]), int(values["horizon_years"])
    capex = float(columns["capex"][0])
    discounts = np.append(1.0, finance.discount_factors(rate, years))
    benefit = float(sum(columns[c] for c in SAVING_OF_PART.values()) @ discounts)
    cost = float((columns["capex"] + columns["inspection"]) @ discounts)
    before, after = (_avoidable(totals(business.by_section[s])) for s in (0, scenario))
    yearly_capital = float(columns["capex"] @ discounts) * finance.capital_recovery_factor(rate, years)
    net_present = float(columns["discounted"].sum())
    return {
        "perspective": values["perspective"],
        "capex": capex,
        "units": capital.total_units,
        "spare_units": float(capital.spares(values)),
        "backup_settings_changed": capital.settings,
        "inspection_per_year": float(capital.inspection(values)),
        "savings_per_year": {SAVING_OF_PART[p]: v for p, v in yearly_savings(business, scenario).items()},
        "npv": net_present,
        "npv_without_savings": -cost,
        "irr": finance.irr(columns["net"]),
        "bcr": benefit / cost if cost > 0 else None,
        "payback_years": finance.payback_years(columns["net"]),
        "discounted_payback_years": finance.payback_years(columns["net"], rate),
        "annualised_capital": yearly_capital,
        **{f"cost_per_{what}_avoided":
           yearly_capital / (was - after[what]) if scenario and was - after[what] > ROUNDING * was else None
           for what, was in before.items()},
        "verdict": verdict(business.scenarios[scenario], net_present, benefit, cost, business.currency,
                           scope(values["perspective"], years)) if scenario else BASE,
    }


def _avoidable(amounts: Mapping[str, float]) -> dict[str, float]:
    """Customer interruptions, customer-minutes and call-outs of a year."""
    return {"ci": amounts["ci"], "cmi": MINUTES_PER_HOUR * amounts["customer_hours"],
            "callout": sum(amounts[c] for c in CALLOUTS)}


def _spread(npv: np.ndarray | None) -> dict[str, float | None]:
    """Percentiles of the net present value over the trials, and how often it is above 0."""
    if npv is None or not len(npv) or np.isnan(npv[0]):
        return dict.fromkeys(("npv_p10", "npv_p50", "npv_p90", "probability_npv_positive"))
    p10, p50, p90 = np.percentile(npv, [10, 50, 90]).tolist()
    return {"npv_p10": p10, "npv_p50": p50, "npv_p90": p90, "probability_npv_positive": float((npv > 0).mean())}
