"""Customers' costs: the reader, the line between durations, and the mean over the severity."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy import integrate, stats

from reliability.business.unit_costs import mean_unit_costs
from reliability.schema.columns import CUSTOMER_CLASSES
from reliability.schema.problems import StudyError
from reliability.study import open_study
from reliability.study.cost_table import DURATIONS_HOURS, default_cost_table, parse_cost_table

HEADER = "customer_class,momentary,min_30,h_1,h_4,h_8,h_16\n"
GOOD = HEADER + "residential,1,2,3,4,5,6\nsmall_ci,10,20,30,40,50,60\nlarge_ci,7,7,7,7,7,7\n"
ROOT = {"section_id": "m", "device": "breaker", "customers": 1.0}


def _cost(costs, customer_class: int, hours: float) -> float:
    """The cost of one duration, by the words of the table: straight lines, the last one going on."""
    t, c = costs.durations_hours, costs.cost[customer_class]
    if hours > t[-1]:
        return c[-1] + (hours - t[-1]) * (c[-1] - c[-2]) / (t[-1] - t[-2])
    return float(np.interp(hours, t, c))


def test_default_table_is_read():
    """LBNL-6941E 2015, dollars of 2013; values from memory (schema/reference/README.md)."""
    costs = default_cost_table()
    # the column names say so: momentary, min_30, h_1, h_4, h_8, h_16
    assert costs.durations_hours.tolist() == list(DURATIONS_HOURS) == [0.0, 0.5, 1.0, 4.0, 8.0, 16.0]
    assert costs.cost[CUSTOMER_CLASSES.index("residential")].tolist() == [3.9, 4.5, 5.1, 9.5, 17.2, 32.4]
    assert costs.momentary.tolist() == [3.9, 412.0, 12952.0]


def test_costs_from_nothing_up_are_read(tmp_path):
    text = HEADER + "residential,0,0,0.5,0.5,0.9,1\nsmall_ci,0,0,0,0,0,0\nlarge_ci,7,7,7,7,7,7\n"
    assert parse_cost_table("costs.csv", text.encode()).cost[0].tolist() == [0.0, 0.0, 0.5, 0.5, 0.9, 1.0]


@pytest.mark.parametrize("hours", [0.0, 0.2, 0.5, 0.75, 2.0, 8.0, 16.0, 40.0])
def test_without_spread_the_cost_is_that_of_the_duration(hours):
    costs = default_cost_table()
    mean = mean_unit_costs(costs, np.array([hours]), 0.0)
    assert mean[0] == pytest.approx([_cost(costs, c, hours) for c in range(3)])


def test_an_interruption_of_no_time_costs_what_a_momentary_one_does():
    costs = default_cost_table()
    mean = mean_unit_costs(costs, np.array([0.0, 1.0]), 0.8)
    assert mean[0] == pytest.approx(costs.momentary)


@pytest.mark.parametrize("cv", [0.05, 0.8, 2.5])
@pytest.mark.parametrize("hours", [0.3, 3.0, 20.0])
def test_the_mean_equals_quadrature_over_the_severity(hours, cv):
    costs = default_cost_table()
    sigma = np.sqrt(np.log1p(cv * cv))
    law = stats.lognorm(sigma, scale=np.exp(-sigma * sigma / 2.0))
    mean = mean_unit_costs(costs, np.array([hours]), cv)
    # in the standard normal z of the severity, split where the cost bends
    bends = [(np.log(t / hours) + sigma * sigma / 2.0) / sigma for t in DURATIONS_HOURS[1:]]

    def integral(customer_class: int) -> float:
        def f(z: float) -> float:
            severity = np.exp(sigma * z - sigma * sigma / 2.0)
            return _cost(costs, customer_class, hours * severity) * stats.norm.pdf(z)

        edges = [-12.0, *(b for b in bends if -12.0 < b < 12.0), 12.0 + sigma]
        return sum(integrate.quad(f, a, b, epsabs=0.0, epsrel=1e-11)[0] for a, b in pairwise(edges))

    assert law.mean() == pytest.approx(1.0)
    for c in range(3):
        assert mean[0, c] == pytest.approx(integral(c), rel=1e-9)


def test_mean_over_severity_differs_from_cost_at_the_mean():
    """A cost that bends upwards costs more on average than at the average duration."""
    costs = default_cost_table()
    spread = mean_unit_costs(costs, np.array([2.0]), 1.5)
    still = mean_unit_costs(costs, np.array([2.0]), 0.0)
    assert np.all(spread > 1.02 * still)


def test_own_table_of_the_study(tmp_path):
    study = with_table(tmp_path, "ours.csv")
    (study / "ours.csv").write_text(GOOD)
    assert open_study(study).cost_table.cost[1].tolist() == [10.0, 20.0, 30.0, 40.0, 50.0, 60.0]


def with_table(folder, name):
    """A small study in `folder` that names its cost table."""
    study = folder / "study"
    study.mkdir()
    (study / "study.toml").write_text(f'name = "x"\n[costs]\ninterruption_costs = "{name}"\n')
    (study / "sections.csv").write_text("section_id,parent_id,device,length_km,customers\nb,,breaker,1,1\n")
    return study


@pytest.mark.parametrize("name", ["../ours.csv", "/etc/hostname", "sub/ours.csv", "./inside.csv", "..", "linked.csv"])
def test_a_table_outside_the_study_folder_is_refused(tmp_path, name):
    folder = with_table(tmp_path, name)
    (tmp_path / "ours.csv").write_text(GOOD)
    (folder / "inside.csv").write_text(GOOD)
    (folder / "linked.csv").symlink_to(tmp_path / "ours.csv")
    with pytest.raises(StudyError) as raised:
        open_study(folder)
    expected = ("must lie in the study folder", "leads out of the folder", "not a file")
    assert any(words in raised.value.lines()[0] for words in expected)


def test_every_problem_of_a_table_at_once():
    text = HEADER + "residental,1,2,3,4,5,6\nsmall_ci,10,x,30,,50,60\nlarge_ci,7,6,7,7,7,7\nlarge_ci,7,7,7,7,7,7\n"
    with pytest.raises(StudyError) as raised:
        parse_cost_table("ours.csv", text.encode())
    lines = raised.value.lines()
    assert any("row 2" in x and "'residental'" in x and "residential" in x.split(":", 3)[-1] for x in lines)
    assert any("row 3, column min_30: 'x'" in x for x in lines)
    assert any("row 3, column h_4" in x for x in lines)
    assert any("row 4, column min_30: '6'" in x and "may not cost less" in x for x in lines)
    assert any("row 5" in x and "twice" in x for x in lines)
    assert any("no row for residential" in x for x in lines)


@pytest.mark.parametrize(("header", "found"), [
    ("customer_class,momentary,min_30,h_1,h_4,h_8", "column h_16: the column is missing"),
    ("customer_class,momentary,min_30,h_1,h_4,h_8,h_16,h_24", "column h_24: unknown column"),
    ("customer_class,momentary,min_30,h_1,h_1,h_4,h_8,h_16", "there twice"),
    ("customer_class,momentary,min_3O,h_1,h_4,h_8,h_16", "did you mean 'min_30'"),
    ("customer_class,momentary,min_30,h_1,h_4,h_8,h_16", "there is no row for residential"),
    ("customer_class,momentary,min_30,h_1,h_4,h_8,h_16\nresidential,1", "column h_16"),
])
def test_headers_of_a_table(header, found):
    with pytest.raises(StudyError) as raised:
        parse_cost_table("ours.csv", (header + "\n").encode())
    assert any(found in x for x in raised.value.lines())
