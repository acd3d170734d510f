"""The application checks of a selection: of all laterals, those selected with the settings chosen for each."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reliability.network.application import ApplicationChecks, check_laterals
from reliability.network.model import Model
from reliability.schema.devices import SECTIONALIZER
from reliability.schema.scenarios import Scenario

USUAL = Scenario("Sectionalizers", None, SECTIONALIZER)


def checks_of_selection(model: Model, selection: pd.DataFrame, others: Scenario = USUAL) -> ApplicationChecks:
    """All laterals checked for sectionalizers, those of a selection with the settings chosen for each.

    selection: see `selection.selection_frame`. others: whose counts and settings the other laterals are checked with.
    """
    network = model.network
    chosen = selection[selection["device"] == SECTIONALIZER]
    at = lateral_places(network.ids[network.candidates].astype(str), chosen["section_id"])
    counts, fast = np.full((2, len(network.candidates)), np.nan)
    counts[at], fast[at] = chosen["counts"], chosen["fast_operations_of_backup"]
    return check_laterals(model, others, counts, fast)


def lateral_places(lateral_ids: np.ndarray, wanted: pd.Series) -> np.ndarray:
    """Positions of laterals by their ids. Raises KeyError for ids that are no laterals."""
    ids = wanted.astype(str).to_numpy()
    at = pd.Index(lateral_ids).get_indexer(pd.Index(ids, dtype=object))
    if (at < 0).any():
        raise KeyError(f"no lateral is headed by {', '.join(ids[at < 0][:10].tolist())}")
    return at
