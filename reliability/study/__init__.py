"""What the user brings: tables, assumptions, scenarios; opened and checked, every problem told at once."""

from reliability.study.folder import open_study
from reliability.study.problems import Problem, StudyError
from reliability.study.study import AS_BUILT, Scenario, Study
from reliability.study.template import write_template

__all__ = ["AS_BUILT", "Problem", "Scenario", "Study", "StudyError", "open_study", "write_template"]
