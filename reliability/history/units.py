"""Units whose faults are learned: a lateral with what lies below it up to the next one, or the mains of a feeder."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.network.model import Model
from reliability.network.rates import fault_rates
from reliability.network.tree import Network
from reliability.schema.columns import CUSTOMER_CLASSES, UNDERGROUND
from reliability.schema.devices import DEVICES

MAIN = "main"


@dataclass(frozen=True)
class Units:
    """U units over the n sections of a network.

    of_section: (n,) unit of each section. name: (U,) section_id of a lateral's head, or feeder_id of mains. group: (U,)
    index into group_names. rate: (U,) faults a year at the assumed rates. km: (U,) length. main: (U,) whether mains.
    """

    of_section: np.ndarray
    name: np.ndarray
    group: np.ndarray
    group_names: tuple[str, ...]
    rate: np.ndarray
    km: np.ndarray
    main: np.ndarray

    def __len__(self) -> int:
        return len(self.name)

    def sum(self, values: np.ndarray) -> np.ndarray:
        """Sums (U,) of values (n,) of the sections."""
        return np.bincount(self.of_section, weights=values, minlength=len(self))


def units_of(model: Model, by: str) -> Units:
    """Units of a network, laterals in its order and then mains by feeder; by: see `history.prior_groups`."""
    network = model.network
    heads, on_main = network.candidates, network.unit < 0
    feeders = np.unique(network.feeder[on_main])
    of_section = np.where(on_main, len(heads) + np.searchsorted(feeders, network.feeder),
                          np.searchsorted(heads, network.unit))
    name = np.concatenate([network.ids[heads], network.feeder_ids[feeders].astype(object)])
    rates, size = fault_rates(model), len(name)
    underground = network.text["construction"] == UNDERGROUND
    rate = np.bincount(of_section, rates, size)
    mostly = np.bincount(of_section, rates * underground, size) > rate / 2.0
    kind = np.concatenate([_kinds(network, heads, by), np.full(len(feeders), MAIN, dtype=object)])
    label = np.where(mostly, kind + ", underground", kind).astype(str)
    names, group = np.unique(label, return_inverse=True)
    km = np.bincount(of_section, np.nan_to_num(network.column["length_km"]), size)
    return Units(of_section, name, group, tuple(str(n) for n in names), rate, km, np.arange(size) >= len(heads))


def _kinds(network: Network, heads: np.ndarray, by: str) -> np.ndarray:
    """Kind of each lateral, (heads,) text."""
    if by == "phases":
        phases = np.nan_to_num(network.phases[heads], nan=1.0).astype(int)
        names = [f"laterals of {p} phase{'s' if p > 1 else ''}" for p in phases]
    elif by == "customer_class":
        most = network.below(network.customers_by_class)[heads].argmax(axis=1)
        names = [f"laterals mostly {CUSTOMER_CLASSES[c]}" for c in most]
    elif by == "device":
        names = [f"laterals with {DEVICES[d]}" for d in network.device[heads]]
    elif by == "feeder":
        names = [f"laterals of {f}" for f in network.feeder_ids[network.feeder[heads]]]
    else:
        names = ["laterals"] * len(heads)
    return np.array(names, dtype=object)
