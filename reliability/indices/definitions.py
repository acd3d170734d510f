"""Reliability indices from yearly sums (IEEE Std 1366-2012; its clauses stand in report/definitions.py).

`INDICES` is the table that expected values, simulated years, documents and pages read.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from scipy import special

from reliability.schema.values import Drawn

MINUTES_PER_YEAR = 525_600.0
CEMI_UP_TO = 6


def per_customer(total: Drawn, customers: Drawn) -> np.ndarray:
    """A yearly sum, of any shape, per customer served, a number or of the same shape; NaN where nobody is served."""
    total, customers = np.broadcast_arrays(np.asarray(total, dtype=float), np.asarray(customers, dtype=float))
    return np.divide(total, customers, out=np.full(total.shape, np.nan), where=customers > 0)


def saidi_minutes(customer_hours: Drawn, customers: Drawn) -> np.ndarray:
    """System average interruption duration index, minutes a year."""
    return 60.0 * per_customer(customer_hours, customers)


def caidi_minutes(saidi_min: Drawn, saifi: Drawn) -> np.ndarray:
    """Customer average interruption duration index, minutes; NaN where nothing was interrupted."""
    saidi_min, saifi = np.broadcast_arrays(np.asarray(saidi_min, dtype=float), np.asarray(saifi, dtype=float))
    return np.divide(saidi_min, saifi, out=np.full(saifi.shape, np.nan), where=saifi > 0)


def asai(saidi_min: Drawn) -> np.ndarray:
    """Average service availability index of a year of 8760 h."""
    return 1.0 - np.asarray(saidi_min, dtype=float) / MINUTES_PER_YEAR


def cemi(rates: np.ndarray, customers: np.ndarray, yearly_cv: float) -> dict[int, float]:
    """Share of customers with n or more sustained interruptions a year, n = 1 … 6.

    rates: (n,) sustained interruptions a year of the customers (n,) of each section. Counts
    are Poisson, or negative binomial of shape 1/cv² where a gamma multiplier of mean 1 and
    coefficient of variation `yearly_cv` acts on all rates of a year.
    """
    total = float(np.sum(customers))
    if total <= 0:
        return {n: float("nan") for n in range(1, CEMI_UP_TO + 1)}
    rates, of = np.unique(rates[customers > 0], return_inverse=True)     # many sections see the same
    served = np.bincount(of.ravel(), customers[customers > 0], len(rates))
    at_least = _at_least(rates, yearly_cv)
    return {n: float((served * at_least[n - 1]).sum() / total) for n in range(1, CEMI_UP_TO + 1)}


def _at_least(rates: np.ndarray, yearly_cv: float) -> np.ndarray:
    """Probability of n or more events a year, (CEMI_UP_TO, n), from n = 1 on."""
    most = CEMI_UP_TO
    if yearly_cv > 0:
        shape = yearly_cv ** -2
        share = rates / (shape + rates)
        exactly, last = [np.exp(shape * np.log1p(-share))], special.betainc(most, shape, share)
        for k in range(1, most):
            exactly.append(exactly[-1] * share * ((shape + k - 1) / k))
    else:
        exactly, last = [np.exp(-rates)], special.gammainc(most, rates)
        for k in range(1, most):
            exactly.append(exactly[-1] * rates / k)
    # from the rarest on, so that nothing is taken off what is nearly as large
    rarest_first = np.stack([last, *exactly[:0:-1]])
    return np.minimum(rarest_first.cumsum(axis=0)[::-1], 1.0)


@dataclass(frozen=True)
class Index:
    """An index of the system: its key in summary.json and in tables, label, kind of number (formats.KINDS) and unit.

    of: its value from the customers served and the yearly `sums`, named as in simulation and expected values.
    simulated: whether years are simulated for it. ratio: the two indices of which it is the ratio; its mean is then
    that of their means, and a difference of years says nothing. tile: whether the page that compares scenarios
    shows it large.
    """

    key: str
    label: str
    kind: str
    unit: str
    sums: tuple[str, ...]
    of: Callable[..., np.ndarray]
    simulated: bool = True
    ratio: tuple[str, ...] = ()
    tile: bool = False

    @property
    def heading(self) -> str:
        """Label and unit."""
        return f"{self.label}, {self.unit}" if self.unit else self.label


INDICES: tuple[Index, ...] = (
    Index("saifi", "SAIFI", "index", "1/yr", ("ci",), lambda customers, ci: per_customer(ci, customers), tile=True),
    Index("saidi_min", "SAIDI", "minutes", "min/yr", ("customer_hours",),
          lambda customers, hours: saidi_minutes(hours, customers), tile=True),
    Index("caidi_min", "CAIDI", "minutes", "min", ("ci", "customer_hours"),
          lambda customers, ci, hours: caidi_minutes(saidi_minutes(hours, customers), per_customer(ci, customers)),
          ratio=("saidi_min", "saifi")),
    Index("asai", "ASAI", "asai", "", ("customer_hours",),
          lambda customers, hours: asai(saidi_minutes(hours, customers)), simulated=False),
    Index("maifi", "MAIFI", "index", "1/yr", ("momentary_interruptions",),
          lambda customers, interruptions: per_customer(interruptions, customers)),
    Index("maifi_e", "MAIFI_E", "index", "1/yr", ("momentary_events",),
          lambda customers, events: per_customer(events, customers), tile=True),
    Index("ens_mwh", "ENS", "amount", "MWh/yr", ("load_kwh",), lambda customers, kwh: np.asarray(kwh) / 1000.0),
)


def indices(sums: Mapping[str, Drawn], customers: Drawn) -> dict[str, np.ndarray]:
    """Every index whose yearly sums are there, by key: of the shape of the sums; NaN where one does not exist.

    customers: served, a number or of that shape.
    """
    return {index.key: index.of(customers, *(sums[name] for name in index.sums))
            for index in INDICES if all(name in sums for name in index.sums)}
