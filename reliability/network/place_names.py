"""Names by which people know a section: the number of its device, or where it stands, else its id.

The one place that decides it. Files keep `section_id`, with `device_id` and `location` beside it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import numpy as np

FIELD_NAMES = ("device_id", "location")
SEPARATOR = " · "                   # between what describes a place
ROUNDS = 4                          # of telling equal names apart; more would be needed only where ids imitate them


def place_names(ids: np.ndarray, text: Mapping[str, np.ndarray]) -> np.ndarray:
    """A name of each section, (n,) text, no two alike: device_id, else location, else section_id.

    A name that several sections have, or that is another section's id, has the section's own id behind it.
    ids: (n,) section ids. text: (n,) each of FIELD_NAMES by name, "" where the study states none.
    """
    own = ids.astype(str).astype(object)
    device, location = (text[name].astype(object) for name in FIELD_NAMES)
    stated = np.where(device != "", device, location)
    names = np.where(stated != "", stated, own)
    an_id, pairs = set(own.tolist()), list(zip(names.tolist(), own.tolist(), strict=True))
    unclear = _repeated(names) | np.array([name != i and name in an_id for name, i in pairs], dtype=bool)
    for _ in range(ROUNDS):
        at = np.flatnonzero(unclear)
        if not len(at):
            return names
        names[at] = [f"section {i}" if name == i else f"{name} ({i})"
                     for name, i in zip(names[at].tolist(), own[at].tolist(), strict=True)]
        unclear = _repeated(names)
    return own


def _repeated(names: np.ndarray) -> np.ndarray:
    """Which of some names (n,) others have as well, (n,) bool."""
    times = Counter(names.tolist())
    return np.array([times[name] > 1 for name in names.tolist()], dtype=bool)


def described_places(ids: np.ndarray, text: Mapping[str, np.ndarray]) -> np.ndarray:
    """All that is known of each section's place, (n,) text: device_id, location and section_id, SEPARATOR between.

    For lists in which somebody searches by any of them.
    """
    parts = [*(text[name].astype(object) for name in FIELD_NAMES), ids.astype(str).astype(object)]
    described = [SEPARATOR.join(dict.fromkeys(filter(None, row))) for row in zip(*parts, strict=True)]
    return np.array(described, dtype=object)


def field_columns(text: Mapping[str, np.ndarray], at: np.ndarray) -> dict[str, np.ndarray]:
    """Columns device_id and location of the sections at positions `at`, (m,) each; none where the study states none."""
    return {name: text[name][at] for name in FIELD_NAMES if (text[name] != "").any()}
