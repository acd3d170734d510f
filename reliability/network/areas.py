"""Operating areas: which one each section lies in (column `area` of sections.csv)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reliability.network.tree import Network

NO_AREA = "(no area stated)"


@dataclass(frozen=True)
class Areas:
    """names: (a,) in the order in which the network has them, those of sections without one last. of_section: (n,)."""

    names: tuple[str, ...]
    of_section: np.ndarray

    def __len__(self) -> int:
        return len(self.names)


def areas_of(network: Network) -> Areas | None:
    """Areas of a network; None where no section states one. A feeder may span several."""
    text = network.text["area"].astype(str)
    if not (text != "").any():
        return None
    stated = dict.fromkeys(text[text != ""].tolist())
    names = (*stated, NO_AREA) if (text == "").any() else tuple(stated)
    code = {name: k for k, name in enumerate(names)}
    return Areas(names, np.array([code[name or NO_AREA] for name in text.tolist()], dtype=np.int64))
