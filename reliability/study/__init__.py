"""The study that a user brings: opened, checked, edited and saved.

Knows the files of a study folder, CSV, workbooks and TOML, how headers match, the flat form, uploads and the workspace.
Gives a checked `Study` with its sections, network, assumptions, scenarios and records, or a `StudyError` that holds
every problem with its file, row, column, value and remedy. Rooms further on trust a `Study` and check nothing again.
"""

from reliability.schema.problems import Problem, StudyError
from reliability.schema.scenarios import AS_BUILT, Scenario
from reliability.study.folder import open_study
from reliability.study.study import Study
from reliability.study.template import write_template

__all__ = ["AS_BUILT", "Problem", "Scenario", "Study", "StudyError", "open_study", "write_template"]
