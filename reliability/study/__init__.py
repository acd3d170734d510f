"""What the user brings: tables, assumptions, scenarios; opened and checked, every problem reported at once."""

from reliability.schema.problems import Problem, StudyError
from reliability.schema.scenarios import AS_BUILT, Scenario
from reliability.study.folder import open_study
from reliability.study.study import Study
from reliability.study.template import write_template

__all__ = ["AS_BUILT", "Problem", "Scenario", "Study", "StudyError", "open_study", "write_template"]
