"""Paths of the reference tables that come with the package.

reference/README.md says what each holds and where it comes from.
"""

from __future__ import annotations

from pathlib import Path

_FOLDER = Path(__file__).parent / "reference"
CONDUCTORS = _FOLDER / "conductors.csv"
CONSUMER_PRICES = _FOLDER / "consumer_prices.csv"
FUSE_LINKS = _FOLDER / "fuse_links.csv"
INTERRUPTION_COSTS = _FOLDER / "interruption_costs.csv"
SECTIONALIZER_RATINGS = _FOLDER / "sectionalizer_ratings.csv"
