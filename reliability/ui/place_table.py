"""Tables of places on the screen: by the names that people use, the section's id behind them."""

from __future__ import annotations

import pandas as pd

from reliability.network.tree import Network


def named(frame: pd.DataFrame, network: Network, key: str, name: str, *others: str) -> pd.DataFrame:
    """The frame with the names of places first and their ids last, as it is where the study has no names of the field.

    key: column of section ids, which `name` gives the names of. others: further columns of ids, each replaced.
    """
    if not network.has_field_names:
        return frame
    known = network.name_by_id
    changed = frame.assign(**{other: [known.get(str(i), i) for i in frame[other]] for other in others})
    location = {} if "location" in frame else {
        "location": frame[key].map(pd.Series(network.text["location"], index=network.ids.astype(str)))}
    changed = changed.assign(**location).drop(columns=["device_id"], errors="ignore")
    changed.insert(0, name, [known.get(str(i), i) for i in frame[key]])
    front = [name, "location"]
    return changed[[*front, *(c for c in changed.columns if c not in (*front, key)), key]]
