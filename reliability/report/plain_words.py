"""Text without the keys and columns of a study's files, for documents that go to others than those who keep it."""

from __future__ import annotations

import re

SPOKEN_KINDS = {"refuse": "fuse replacement"}       # kinds of call-out whose key is no plain word
# a parenthesis that holds keys, columns or files only: "(peak_load_a)", "(counts, tie_section_id)"
_KEYS = re.compile(r"\s\((?=[^)]*(?:_|\.csv))[a-z_., ]+\)")
# a sentence that only says which key would do otherwise
_HINT = re.compile(r"\s*A key of the study \([^)]*\)[^.]*\.")


def without_keys(text: str) -> str:
    """The text without parentheses that hold only keys, and without sentences on what a key would do."""
    return _KEYS.sub("", _HINT.sub("", text)).strip()
