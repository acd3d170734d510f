"""Reliability of fused and sectionalized laterals on electric distribution feeders.

What a script needs stands here; the rest of the package loads when it is first asked for:

    from reliability import Study, analyse, open_study
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from reliability.pipeline import Results, analyse, expect
    from reliability.schema.problems import StudyError
    from reliability.schema.scenarios import Scenario
    from reliability.study.folder import open_study
    from reliability.study.study import Study

__version__ = "0.5.0"
__all__ = ["Results", "Scenario", "Study", "StudyError", "analyse", "expect", "open_study"]

_HOME = {
    "Results": "reliability.results", "Scenario": "reliability.schema.scenarios", "Study": "reliability.study.study",
    "StudyError": "reliability.schema.problems", "analyse": "reliability.pipeline", "expect": "reliability.pipeline",
    "open_study": "reliability.study.folder",
}


def __getattr__(name: str) -> object:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module '{__name__}' has no attribute '{name}'")


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
