"""The nearest known name to one that is not known."""

from __future__ import annotations

import functools
import re
from collections.abc import Iterable

LONGEST_WORD = 60        # letters; a longer word is not a mistyped name
LIKE, SURE = 0.6, 0.75  # likeness of 0 to 1: enough to suggest a name, and close to certain


class Names:
    """Known names, prepared once for many look-ups."""

    def __init__(self, known: Iterable[str]) -> None:
        self.known = list(known)

    @functools.cached_property
    def _folded(self) -> dict[str, str]:
        """Folded name → the first name so spelt; built when first needed, for most studies never."""
        folded: dict[str, str] = {}
        for name in self.known:
            if 0 < len(name) <= LONGEST_WORD:
                folded.setdefault(_fold(name), name)
        return folded

    def nearest(self, word: str, likeness: float = LIKE) -> str | None:
        """The known name most like `word`, or None where none is alike."""
        if not 0 < len(word) <= LONGEST_WORD:
            return None
        folded = _fold(word)
        if folded in self._folded:
            return self._folded[folded]
        from rapidfuzz import process  # loaded when first needed: most studies have no unknown name
        from rapidfuzz.distance import Indel
        found = process.extractOne(folded, self._folded.keys(), scorer=Indel.normalized_similarity,
                                   score_cutoff=likeness)
        return self._folded[found[0]] if found else None

    def suggest(self, word: str, otherwise: str) -> str:
        """A remedy that offers the nearest name, or `otherwise`."""
        name = self.nearest(word)
        return f"did you mean '{name}'?" if name is not None else otherwise


def _fold(name: str) -> str:
    """Without case, punctuation and leading zeros, in which spellings of one name most often differ."""
    return re.sub(r"\b0+(?=\d)", "", re.sub(r"[\W_]+", " ", name.casefold()).strip())
