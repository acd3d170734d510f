"""Property tests draw the same examples every time; `engine` runs a check on both programs.

EXAMPLES=500 in the environment draws that many examples a property, other ones each time.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from reliability.pipeline import analyse
from reliability.report.summary import summary
from reliability.study import open_study
from tests.adapter import core_results
from tests.enumeration import enumerate_study

settings.register_profile("fixed", derandomize=True, deadline=None, max_examples=25, database=None,
                          suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
settings.register_profile("many", settings.get_profile("fixed"), derandomize=False, print_blob=True,
                          max_examples=int(os.environ.get("EXAMPLES", "25")))
settings.load_profile("many" if "EXAMPLES" in os.environ else "fixed")

# what a test starts as a process of its own need not be compiled each time
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

ENGINES = {"enumeration": enumerate_study, "core": core_results}


@pytest.fixture(params=sorted(ENGINES))
def engine(request):
    """A function from a study to its results by scenario name (see tests/enumeration.py)."""
    return ENGINES[request.param]


@pytest.fixture(scope="session")
def demo():
    """The demo study."""
    return open_study(Path(__file__).parents[1] / "data" / "demo")


@pytest.fixture(scope="session")
def town():
    """The second demo study."""
    return open_study(Path(__file__).parents[1] / "data" / "wooded_town")


@pytest.fixture(scope="session")
def town_results(town):
    """Its results with few trials."""
    return analyse(town, trials=40)


@pytest.fixture(scope="session")
def town_summary(town_results):
    """summary.json of them."""
    return summary(town_results)
