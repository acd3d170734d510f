"""Whole numbers in arrays: rows of few told apart without sorting all of them, and many things of each of some."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

SPARSE_NUMBERS = 16     # so many times as far apart as they are many, numbers are sorted


def packed(columns: Sequence[np.ndarray]) -> np.ndarray:
    """One number for each distinct row of columns of small whole numbers from 0 on, in the order of the rows."""
    key = np.zeros(len(columns[0]), dtype=np.int64)
    for column in columns:
        key *= int(column.max(initial=0)) + 1
        key += column
    return key


def distinct(key: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(distinct numbers from 0 on, ascending, index of each into them), not sorted where they are not far apart."""
    most = int(key.max(initial=0))
    if most > SPARSE_NUMBERS * (len(key) + SPARSE_NUMBERS):
        found, at = np.unique(key, return_inverse=True)
        return found, at.ravel().astype(np.int32)
    occurs = np.zeros(most + 1, dtype=bool)
    occurs[key] = True
    found = np.flatnonzero(occurs)
    place = np.empty(most + 1, dtype=np.int32)  # read only where something occurs
    place[found] = np.arange(len(found), dtype=np.int32)
    return found, place[key]


def of_each(count: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(which one it is of, its number there from 0 on) of everything where each of some has so many, in their order."""
    which = np.repeat(np.arange(len(count)), count)
    return which, np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)
