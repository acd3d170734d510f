"""Columns of places in the report's tables: on the page by the names that people use, on the sheet by id as well."""

from __future__ import annotations

import pandas as pd

from reliability.network.place_names import FIELD_NAMES
from reliability.network.tree import Network
from reliability.report.blocks import Column

NAME_ENDING = "_name"                      # behind the key of a column of ids: the column of their names
PLACE_LABELS = {"device_id": "Device's number", "location": "Location"}


def with_names(network: Network, frame: pd.DataFrame, *keys: str) -> pd.DataFrame:
    """The frame with a column of names beside each column of section ids; what is no id stays as it is."""
    return frame.assign(**{key + NAME_ENDING: [network.name_by_id.get(str(i), i) for i in frame[key]] for key in keys})


def place_columns(network: Network, frame: pd.DataFrame, key: str, label: str) -> tuple[Column, ...]:
    """Columns of a place: its id alone where the study has no names of the field; see `with_names`."""
    if not network.has_field_names:
        return (Column(key, label),)
    more = tuple(Column(name, PLACE_LABELS[name], where="sheet") for name in FIELD_NAMES if name in frame)
    return (Column(key + NAME_ENDING, label, where="page"), Column(key, label, where="sheet"), *more)
