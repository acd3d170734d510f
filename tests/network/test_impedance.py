"""Fault currents from impedances: conductors against published lines, the sums along a tree by hand."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reliability.network.impedance import (
    X_OVER_R,
    conductor_size,
    conductor_table,
    fault_currents,
    line_impedances,
    source_impedances,
    source_is_possible,
    sums_above,
)
from reliability.network.line_constants import phase_impedances, sequence_impedances

KM_PER_MILE = 1.609344
POLE_HEAD = np.array([(0.0, 29.0), (2.5, 29.0), (7.0, 29.0), (4.0, 25.0)])   # ft; the neutral last
ONE_PHASE = np.array([(0.5, 29.0), (0.0, 24.0)])
ROOT = Path(__file__).parents[2]


def wires(phase: str, neutral: str, phases: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """Resistance and radius of the table's conductors on a pole."""
    rows = conductor_table().loc[[phase] * phases + [neutral]]
    return rows["resistance_ohm_per_mile"].to_numpy(), rows["gmr_ft"].to_numpy()


def test_impedances_of_a_worked_example():
    """W. H. Kersting, Distribution System Modeling and Analysis, example 4.1: 336.4 26/7 ACSR, neutral 4/0 6/1, spacing
    500 of the test feeders; phase impedances and the two sequence impedances, Ω/mile. From memory."""
    matrix = phase_impedances(*wires("336.4", "4/0"), POLE_HEAD)
    said = [[0.4576 + 1.0780j, 0.1560 + 0.5017j, 0.1535 + 0.3849j],
            [0.1560 + 0.5017j, 0.4666 + 1.0482j, 0.1580 + 0.4236j],
            [0.1535 + 0.3849j, 0.1580 + 0.4236j, 0.4615 + 1.0651j]]
    assert matrix == pytest.approx(np.array(said), abs=8e-5)
    positive, zero = sequence_impedances(matrix)
    assert positive == pytest.approx(0.3061 + 0.6270j, abs=1e-4)
    assert zero == pytest.approx(0.7735 + 1.9373j, abs=1e-4)


@pytest.mark.parametrize(("phase", "neutral", "diagonal"), [
    ("556.5", "4/0", [0.3375 + 1.0478j, 0.3465 + 1.0179j, 0.3414 + 1.0348j]),
    ("4/0", "4/0", [0.7436 + 1.2112j, 0.7526 + 1.1814j, 0.7475 + 1.1983j]),
    ("1/0", "1/0", [1.3238 + 1.3569j, 1.3368 + 1.3343j, 1.3294 + 1.3471j]),
    ("2", "2", [1.9157 + 1.4281j, 1.9300 + 1.4115j, 1.9219 + 1.4209j])])
def test_conductors_against_three_phase_lines_of_test_feeders(phase, neutral, diagonal):
    """Diagonals of configurations 601, 602 (13 nodes), 300 and 301 (34 nodes) of the IEEE radial distribution test
    feeders, Ω/mile. From memory."""
    found = np.diag(phase_impedances(*wires(phase, neutral), POLE_HEAD))
    assert found == pytest.approx(np.array(diagonal), abs=8e-5)


@pytest.mark.parametrize(("conductor", "said"), [("1/0", 1.3292 + 1.3475j), ("4", 2.7995 + 1.4855j),
                                                 ("2", 1.9217 + 1.4212j)])
def test_conductors_against_single_phase_lines_of_test_feeders(conductor, said):
    """Configurations 605 (13 nodes), 302 and 304 (34 nodes) of the same, Ω/mile. From memory."""
    found = phase_impedances(*wires(conductor, conductor, 1), ONE_PHASE)
    assert found[0, 0] == pytest.approx(said, abs=8e-5)


def test_the_reference_table_is_what_follows_from_its_conductors():
    table = conductor_table()
    for size, row in table.iterrows():
        positive, zero = sequence_impedances(phase_impedances(*wires(size, row["neutral"]), POLE_HEAD))
        said = row[["r1_ohm_per_km", "x1_ohm_per_km", "r0_ohm_per_km", "x0_ohm_per_km"]].to_numpy(dtype=float)
        assert said * KM_PER_MILE == pytest.approx([positive.real, positive.imag, zero.real, zero.imag], abs=1e-5)


def test_without_a_neutral_the_earth_is_the_return():
    """By hand: 1 Ω/mile and a radius of 1 ft leave the earth's 0.09530 + j 0.12134 × 7.93402."""
    found = phase_impedances(np.array([1.0]), np.array([1.0]), np.zeros((1, 2)), neutrals=0)
    assert found[0, 0] == pytest.approx(1.0953 + 0.12134 * 7.93402j)


@pytest.mark.parametrize(("name", "size"), [
    ("1/0 ACSR", "1/0"), ("#2 acsr 6/1", "2"), ("336.4 26/7 ACSR", "336.4"), ("336,400 CM", "336.4"),
    ("336 MCM ACSR", "336.4"), ("ACSR 4/0", "4/0"),
    ("4 / 0", "4/0"), ("ACSR-477", "477"), ("556.5KCMIL", "556.5"), ("4", "4"), ("4 CU", None),
    ("1/0 AAAC", None), ("750 AL XLPE", None), ("26/7", None), ("", None)])
def test_conductors_are_known_however_they_are_written(name, size):
    assert conductor_size(name) == size


def test_unknown_conductors_are_listed_most_frequent_first():
    positive, _, unknown = line_impedances(np.array(["4 CU", "1/0", "8 STEEL", "4 CU", ""]))
    assert next(iter(unknown.items())) == ("4 CU", 2)
    assert unknown == {"4 CU": 2, "8 STEEL": 1, "": 1}
    assert np.isnan(positive).tolist() == [True, False, True, True, True]


def test_currents_by_hand():
    """12 kV, 4 000 A three-phase and 3 000 A to ground at the source with X/R of 3/4; 2 km of 336.4, then 1 km of #4;
    faults to ground through 10 Ω."""
    volts = 12_000 / 3 ** 0.5
    direction = 0.8 + 0.6j
    z1 = volts / 4000 * direction
    z0 = 3 * volts / 3000 * direction - 2 * z1
    first1, first0 = z1 + 2 * (0.19018 + 0.38960j), z0 + 2 * (0.48064 + 1.20375j)
    last1, last0 = first1 + 1.59697 + 0.51934j, first0 + 2.02609 + 1.72923j
    source = source_impedances(np.array([4000.0, np.nan]), np.array([3000.0, np.nan]), np.array([12.0, 12.0]), 0.75)
    found = fault_currents(np.array([-1, 0]), np.array([2.0, 1.0]), np.array(["336.4", "#4 ACSR"]), source, 12.0, 10.0)
    said = [3 * volts / abs(2 * a + b + 30) for a, b in ((z1, z0), (first1, first0), (last1, last0))]
    assert found.source_a == pytest.approx(said[:2])
    assert found.end_a == pytest.approx(said[1:])
    three = [volts / abs(z) for z in (z1, first1, last1)]
    assert found.three_phase_source_a == pytest.approx(three[:2])
    assert found.three_phase_end_a == pytest.approx(three[1:])
    assert found.three_phase_source_a[0] == pytest.approx(4000)
    assert found.unknown == {}


def test_without_resistance_the_current_at_the_source_is_the_one_stated():
    source = source_impedances(np.array([4000.0, np.nan, 5000.0]), np.array([4500.0, 3000.0, np.nan]),
                               np.full(3, 12.47), np.nan)
    found = fault_currents(np.full(3, -1), np.zeros(3), np.full(3, ""), source, 12.47)
    assert found.source_a == pytest.approx([4500, 3000, 5000])
    assert found.end_a == pytest.approx(found.source_a)
    assert found.three_phase_end_a == pytest.approx([4000, 3000, 5000])
    assert source[0].imag / source[0].real == pytest.approx(np.full(3, X_OVER_R))


def test_nothing_is_known_below_a_conductor_that_is_not():
    """Beside it all is, and a section without a length needs no conductor."""
    source = source_impedances(np.full(5, 4000.0), np.full(5, np.nan), np.full(5, 12.47))
    found = fault_currents(np.array([-1, 0, 1, 0, 3]), np.array([1.0, 1.0, 1.0, 0.0, 1.0]),
                           np.array(["1/0", "4 CU", "1/0", "", "1/0"]), source, 12.47)
    assert np.isnan(found.source_a).tolist() == [False, False, True, False, False]
    assert np.isnan(found.end_a).tolist() == [False, True, True, False, False]
    assert found.source_a[4] == found.end_a[0]
    assert found.unknown == {"4 CU": 1}


def test_parents_in_any_order_and_a_deep_line():
    """A line of 5 000 sections in a shuffled order: the k-th from the source has k + 1 of them at and above it."""
    n = 5000
    order = np.random.default_rng(0).permutation(n)
    parent = np.empty(n, dtype=int)
    parent[order[1:]], parent[order[0]] = order[:-1], -1
    depth = np.empty(n)
    depth[order] = np.arange(1, n + 1)
    assert sums_above(parent, np.ones(n)).tolist() == depth.tolist()


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="circle"):
        sums_above(np.array([1, 2, 0, -1]), np.ones(4))
    with pytest.raises(ValueError, match="at most 1"):
        source_impedances(np.array([1000.0]), np.array([1600.0]), np.array([12.47]))
    source = np.ones(1), np.ones(1)
    for length, resistance in ((-1.0, 0.0), (1.0, -1.0)):
        with pytest.raises(ValueError, match="negative"):
            fault_currents(np.array([-1]), np.array([length]), np.array(["4"]), source, 12.47, resistance)


def test_currents_of_a_source_that_go_together():
    three, ground = np.array([1000, 1000, np.nan, 0, -1, np.nan]), np.array([1500, 1501, 900, 500, np.nan, np.nan])
    assert source_is_possible(three, ground).tolist() == [True, False, True, False, False, True]


def test_currents_fall_along_the_lines_of_the_demo():
    """With conductors made up for its sections: mains 336.4, laterals 1/0, tails and branches #4."""
    with (ROOT / "data/demo/sections.csv").open(encoding="utf-8") as file:
        rows = pd.DataFrame(list(csv.DictReader(file)))
    place = {name: k for k, name in enumerate(rows["section_id"])}
    parent = np.array([place.get(name, -1) for name in rows["parent_id"]])
    main, small = rows["section_id"].str.contains("-M"), rows["section_id"].str.contains("[as]", regex=True)
    conductor = np.where(main, "336.4 ACSR", np.where(small, "#4 ACSR", "1/0 ACSR"))
    stated = pd.to_numeric(rows["fault_current_source_a"]).to_numpy()
    unknown, kv = np.full(len(rows), np.nan), np.full(len(rows), 12.47)
    source = source_impedances(unknown, np.where(parent < 0, stated, np.nan), kv)
    found = fault_currents(parent, rows["length_km"].astype(float).to_numpy(), conductor, source, 12.47, 5.0)
    assert (found.end_a < found.source_a).all()
    assert (found.source_a[parent >= 0] == found.end_a[parent[parent >= 0]]).all()
    assert (found.three_phase_end_a > found.end_a).all()
    assert 100 < found.end_a.min() < found.source_a.max() < 1500       # 7.2 kV through 5 Ω are 1 440 A
