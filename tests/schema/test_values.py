"""The typed assumptions and the table of assumptions say the same."""

from __future__ import annotations

from typing import get_type_hints

from reliability.schema.assumptions import ASSUMPTIONS
from reliability.schema.values import Assumptions

TYPES = {"number": float, "whole": int, "shares": tuple[float, ...], "choice": str, "text": str, "flag": bool}


def test_every_assumption_has_its_type_and_there_is_no_other():
    wanted = {a.key: TYPES[a.kind] | None if a.default is None else TYPES[a.kind] for a in ASSUMPTIONS}
    assert get_type_hints(Assumptions) == wanted
