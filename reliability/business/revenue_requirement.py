"""What customers' bills must bring in each year for what a scenario installs, by cost of service.

Rate base is what was spent less straight-line depreciation. A year's requirement is the return on the rate base at the
beginning of the year (interest on its debt share, allowed return on its equity share), depreciation, income tax on the
return on equity grossed up by 1/(1 − tax), and inspection, less the crew work saved. Energy margin and incentives are
left out: they are the utility's gain, not its cost. Discounted at the cost of capital, returns and depreciation are
worth what was spent, so that the levelised requirement is spending, taxes and inspection less crew work, spread evenly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.business.cashflow import Business, flows
from reliability.business.finance import discount_factors
from reliability.schema.values import Assumptions

MONTHS = 12


@dataclass(frozen=True)
class RevenueRequirement:
    """Money of years 1 … Y, arrays (Y,), positive what customers pay; Y: the horizon, or as long as anything is on the
    books.

    rate_base: at the beginning of the year. interest, equity_return, tax, depreciation, inspection; saved: crew work.
    cost_of_capital: weighted, a year.
    """

    rate_base: np.ndarray
    interest: np.ndarray
    equity_return: np.ndarray
    tax: np.ndarray
    depreciation: np.ndarray
    inspection: np.ndarray
    saved: np.ndarray
    cost_of_capital: float

    @property
    def capital_related(self) -> np.ndarray:
        """Returns, tax and depreciation."""
        return self.interest + self.equity_return + self.tax + self.depreciation

    @property
    def total(self) -> np.ndarray:
        """The requirement; below 0 where more is saved than capital and inspection cost."""
        return self.capital_related + self.inspection - self.saved

    def levelised(self, yearly: np.ndarray) -> float:
        """The even yearly amount of the same present worth at the cost of capital."""
        discounts = discount_factors(self.cost_of_capital, len(yearly))
        return float(yearly @ discounts / discounts.sum())


def revenue_requirement(business: Business, scenario: int) -> RevenueRequirement:
    """Revenue requirement of a scenario, from its expected cash flow; business: as the utility sees it.

    Crew work saved beyond the horizon is not counted, nor inspection.
    """
    columns = flows(business, scenario)
    return of_spending(columns["capex"], columns["inspection"][1:], columns["callout_saving"][1:], business.values)


def of_spending(spent: np.ndarray, inspection: np.ndarray, saved: np.ndarray,
                values: Assumptions) -> RevenueRequirement:
    """Revenue requirement of money spent at the ends of years 0 … H, (H + 1,), with yearly costs and savings (H,)."""
    life = values["book_life_years"] or values["horizon_years"]
    bought = np.flatnonzero(spent)
    years = max(len(inspection), int(bought[-1]) + life if bought.size else 0)
    depreciation = np.array([spent[max(y - life, 0):min(y, len(spent))].sum() for y in range(1, years + 1)]) / life
    added = np.zeros(years)
    added[:min(years, len(spent))] = spent[:years]
    rate_base = np.cumsum(added - np.append(0.0, depreciation[:-1]))
    equity, tax = values["equity_share"], values["tax_rate"]
    interest = rate_base * (1.0 - equity) * values["debt_rate"]
    on_equity = rate_base * equity * values["equity_rate"]
    return RevenueRequirement(
        rate_base, interest, on_equity, on_equity * tax / (1.0 - tax), depreciation, _to(years, inspection),
        _to(years, saved), (1.0 - equity) * values["debt_rate"] + equity * values["equity_rate"])


def _to(years: int, yearly: np.ndarray) -> np.ndarray:
    """Amounts with zeros for further years."""
    return np.append(yearly, np.zeros(years - len(yearly)))


def revenue_summary(business: Business, scenario: int) -> dict[str, object]:
    """ "revenue_requirement" of summary.json: amounts a year and by year, and the effect on a customer's bill.

    bill_effect_per_customer_month: the levelised requirement over the customers served; bill_effect_share: of the
    average bill. None where there are no customers, or no bill is stated.
    """
    found, bill = revenue_requirement(business, scenario), business.values["average_bill_per_month"]
    levelised, served = found.levelised(found.total), business.customers_served
    monthly = levelised / served / MONTHS if served else None
    return {
        "first_year": float(found.total[0]), "levelised": levelised,
        "levelised_capital": found.levelised(found.capital_related),
        "levelised_inspection": found.levelised(found.inspection), "levelised_saved": found.levelised(found.saved),
        "years": len(found.total), "cost_of_capital": found.cost_of_capital,
        "bill_effect_per_customer_month": monthly,
        "bill_effect_share": monthly / bill if monthly is not None and bill else None,
        "by_year": {name: getattr(found, name).tolist() for name in (
            "rate_base", "interest", "equity_return", "tax", "depreciation", "inspection", "saved", "total")},
    }
