"""Small study folders made on the fly."""

from __future__ import annotations

from pathlib import Path

import pytest

from reliability.study import Problem, StudyError, open_study

SECTIONS = """\
section_id,parent_id,device,length_km,customers
main,,breaker,2,10
tap,main,fuse,1.5,20
"""
NAME = 'name = "a study"\n'


@pytest.fixture
def folder(tmp_path):
    """A function that writes files into a study folder and gives the folder; the smallest study by default.

    A file given as None is left out.
    """
    def make(**files: str | bytes | None) -> Path:
        files = {"sections.csv": SECTIONS, "study.toml": NAME} | {k.replace("__", "."): v for k, v in files.items()}
        for name, content in files.items():
            (tmp_path / name).unlink(missing_ok=True)
            if content is not None:
                (tmp_path / name).write_bytes(content if isinstance(content, bytes) else content.encode())
        return tmp_path
    return make


@pytest.fixture
def study(folder):
    """A function from files to the study they are."""
    return lambda **files: open_study(folder(**files))


@pytest.fixture
def problems(folder):
    """A function from files to the problems they have, none where they are a study."""
    def find(**files) -> list[Problem]:
        try:
            open_study(folder(**files))
        except StudyError as error:
            return error.problems
        return []
    return find
