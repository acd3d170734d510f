"""Reference tables that come with the package: their place, wherever the package stands.

What each holds and where it is from is written in reference/README.md.
"""

from __future__ import annotations

from pathlib import Path

_FOLDER = Path(__file__).parent / "reference"
FUSE_LINKS = _FOLDER / "fuse_links.csv"
INTERRUPTION_COSTS = _FOLDER / "interruption_costs.csv"
SECTIONALIZER_RATINGS = _FOLDER / "sectionalizer_ratings.csv"
