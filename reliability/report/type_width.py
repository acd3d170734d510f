"""How wide text is in print, near enough to lay out a table: letters of a sans serif in thousandths of their size.

Widths of Arial's letters, from memory, in classes; faces made to replace it have the same.
"""

from __future__ import annotations

FACE = "Arial"
OTHER_LETTER, BOLD = 556, 1.12      # of a letter in no class; bold type over plain, at most but for narrow letters
_CLASSES = {
    191: "'", 222: "ijl‘’", 278: " !,./:;I[\\]ft|\u00a0\u202f", 333: "()-r`“”", 355: '"', 389: "*", 500: "Jckszvxy",
    584: "+<=>~−±×", 611: "FTZ", 667: "&ABEKPSVXY", 722: "CDHNRUw", 778: "GOQ", 833: "Mm", 889: "%", 944: "W",
    1000: "…—",
}
_WIDTH = {letter: width for width, letters in _CLASSES.items() for letter in letters}


def text_width(text: str, size: float, bold: bool = False) -> float:
    """Width of text on one line, in points; size: of the type, in points."""
    units = sum(_WIDTH.get(letter, OTHER_LETTER) for letter in text)
    return units * size / 1000.0 * (BOLD if bold else 1.0)


def longest_word(text: str, size: float, bold: bool = False) -> float:
    """Width of the longest piece that breaks at no space, in points."""
    return max((text_width(word, size, bold) for word in text.split(" ")), default=0.0)
