"""Scrambled Sobol' sequences: points that fill a cube more evenly than random ones.

The same points as those of `scipy.stats.qmc.Sobol`, to the last bit (a test holds them to it), without loading
`scipy.stats`, which takes longer than most studies draw.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

BITS = 30
DIRECTIONS = Path(__file__).with_name("sobol_directions.txt")


class SobolSequence:
    """One scrambled sequence in so many dimensions; whoever asks again goes on where it stands.

    Scrambled by a random lower triangular matrix for each dimension and a shift (Matoušek, 1998; from memory).
    """

    def __init__(self, dimensions: int, rng: np.random.Generator) -> None:
        plain, [rng] = _directions(dimensions), rng.spawn(1)
        at = np.arange(BITS, dtype=np.uint32)
        shift = rng.integers(2, size=(dimensions, BITS), dtype=np.uint32) @ (np.uint32(1) << at)
        mixed = np.tril(rng.integers(2, size=(dimensions, BITS, BITS), dtype=np.uint32))
        mixed[:, at, at] = 1
        self._directions = _mixed(plain, mixed)
        self._last, self._given = shift, 0

    def points(self, count: int) -> np.ndarray:
        """The next points, (count, dimensions), from 0 up to 1."""
        number = np.arange(self._given, self._given + count)
        # from one point to the next a single direction is turned: that of the lowest bit set in the number
        turned = np.log2(np.maximum(number & -number, 1)).astype(np.int64)
        found = self._directions.T[turned]
        if not self._given:
            found[0] = 0
        found[0] ^= self._last
        found = np.bitwise_xor.accumulate(found, axis=0)
        self._last, self._given = found[-1], self._given + count
        return found * 0.5 ** BITS


def _mixed(plain: np.ndarray, matrices: np.ndarray) -> np.ndarray:
    """Direction numbers (d, BITS) whose bits, first the highest, are multiplied by a matrix (d, BITS, BITS) of bits."""
    down = np.arange(BITS - 1, -1, -1, dtype=np.uint32)
    bits = (plain[:, :, None] >> down) & np.uint32(1)
    # sums of at most BITS products are exact
    product = bits.astype(np.float32) @ matrices.astype(np.float32).transpose(0, 2, 1)
    return (product.astype(np.uint32) & np.uint32(1)) @ (np.uint32(1) << down)


@cache
def _table() -> tuple[tuple[int, ...], ...]:
    """Polynomial and initial numbers of each dimension from the second."""
    lines = DIRECTIONS.read_text(encoding="ascii").splitlines()
    return tuple(tuple(map(int, line.split())) for line in lines if not line.startswith("#"))


@cache
def _directions(dimensions: int) -> np.ndarray:
    """Direction numbers (d, BITS) before scrambling. Raises ValueError for more dimensions than the table has."""
    if dimensions > len(_table()) + 1:
        raise ValueError(f"{dimensions} dimensions, of which {len(_table()) + 1} are known")
    found = np.ones((dimensions, BITS), dtype=np.uint32)
    for row, (polynomial, *initial) in zip(found[1:], _table()[:dimensions - 1], strict=True):
        degree, numbers = len(initial), list(initial)
        for k in range(degree, BITS):
            new = numbers[k - degree]
            for back in range(1, degree + 1):
                if polynomial >> (degree - back) & 1:
                    new ^= numbers[k - back] << back
            numbers.append(new)
        row[:] = numbers[:BITS]
    return found << np.arange(BITS - 1, -1, -1, dtype=np.uint32)
