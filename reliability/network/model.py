"""The network and the assumptions under which it is looked at, together."""

from __future__ import annotations

from dataclasses import dataclass, replace

from reliability.network.tree import Network
from reliability.schema.values import Assumptions


@dataclass(frozen=True)
class Model:
    """What a rule of protection and a rate need to know: sections as arrays, and every assumption by key."""

    network: Network
    values: Assumptions

    def with_values(self, values: Assumptions) -> Model:
        """The same network under other assumptions."""
        return replace(self, values=values)
