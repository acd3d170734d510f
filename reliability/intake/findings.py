"""What an import noticed on the way: counted, listed by id, and graded."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

GREEN, AMBER, RED = "green", "amber", "red"
AMBER_BELOW, RED_BELOW = 0.95, 0.80     # shares matched, import.md
SEGMENT, DEVICE, CUSTOMER, OUTAGE, NODE = "segment", "device", "customer", "outage", "node"


@dataclass(frozen=True)
class Noted:
    """One kind of thing that was noticed.

    part: "rows", "topology", "devices", "customers", "outages" or "merging". key: a stable name. of: what the ids name.
    customers, km, minutes: what they carry, NaN where that is not the point.
    """

    part: str
    key: str
    title: str
    state: str
    ids: tuple[str, ...]
    of: str = SEGMENT
    customers: float = float("nan")
    km: float = float("nan")
    minutes: float = float("nan")

    @property
    def count(self) -> int:
        """How many there are."""
        return len(self.ids)


@dataclass
class Findings:
    """Collects what is noticed; what has no id is left out."""

    noted: list[Noted] = field(default_factory=list)

    def add(self, part: str, key: str, title: str, state: str, ids: Iterable[object], of: str = SEGMENT, *,
            customers: float = float("nan"), km: float = float("nan"), minutes: float = float("nan")) -> None:
        """Note it where there are any ids."""
        listed = tuple(map(str, ids))
        if listed:
            self.noted.append(Noted(part, key, title, state, listed, of, customers, km, minutes))

    def ids(self, key: str) -> tuple[str, ...]:
        """Ids noted under a key."""
        return tuple(name for n in self.noted if n.key == key for name in n.ids)

    def __contains__(self, key: str) -> bool:
        return any(n.key == key for n in self.noted)


def state_of(share: float) -> str:
    """Green, amber or red of a share that is matched."""
    return GREEN if not share < AMBER_BELOW else AMBER if share >= RED_BELOW else RED


def state_of_lost(lost: float, total: float) -> str:
    """Amber or red of what is not matched: never green, since it is to be looked at."""
    return RED if total and lost / total > 1.0 - RED_BELOW else AMBER

