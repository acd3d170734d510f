"""The arrays of the network against walking the tree section by section."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.network.devices import CODE
from reliability.network.quantities import quantity
from reliability.network.tree import build_network
from reliability.schema.devices import LATERAL_DEVICES
from tests.networks import random_study, study_of


def walked(study):
    """{section: set of sections at or below it} and {section: path to its root, itself first}."""
    parent = dict(zip(study.sections["section_id"], study.sections["parent_id"], strict=True))
    paths = {}
    for name in parent:
        path, at = [], name
        while at:
            path.append(at)
            at = parent[at]
        paths[name] = path
    return {name: {s for s, path in paths.items() if name in path} for name in parent}, paths


@pytest.fixture(params=range(12))
def case(request):
    study = random_study(np.random.default_rng(request.param), sections=40)
    return study, build_network(study.sections), *walked(study)


def test_equal_texts_are_one_object():
    links = ["", "65K", "40K", "65K", ""]
    rows = [{"section_id": f"s{i}", "parent_id": f"s{i - 1}" if i else "", "device": "fuse" if link else "breaker",
             "fuse_link": "".join(list(link))} for i, link in enumerate(links)]
    texts = build_network(study_of(rows).sections).text["fuse_link"]
    assert texts.tolist() == links
    assert len({id(text) for text in texts}) == len(set(links))


def test_parents_come_first_and_a_subtree_is_one_slice(case):
    _, network, below, _ = case
    assert np.all(network.parent < np.arange(len(network)))
    for i, name in enumerate(network.ids):
        assert set(network.ids[i:i + network.size[i]]) == below[name]


def test_sums_below_and_along_the_path(case):
    study, network, below, paths = case
    customers = dict(zip(study.sections["section_id"], study.sections["customers"], strict=True))
    values = np.random.default_rng(0).random(len(network))
    at = {name: i for i, name in enumerate(network.ids)}
    along = network.along_path(values)
    for i, name in enumerate(network.ids):
        assert network.customers_below[i] == sum(customers[s] for s in below[name])
        assert along[i] == pytest.approx(sum(values[at[s]] for s in paths[name]), rel=1e-12)


def test_ties_blocks_and_laterals(case):
    study, network, below, paths = case
    rows = study.sections.set_index("section_id")
    for i, name in enumerate(network.ids):
        assert network.tie_below[i] == max(rows.loc[list(below[name]), "tie_probability"].fillna(0.0))
        head = next(s for s in paths[name] if rows.loc[s, "device"])
        assert network.ids[network.block[i]] == head
        lateral = [s for s in paths[name] if rows.loc[s, "device"] in LATERAL_DEVICES]
        assert (network.lateral[i] < 0) == (not lateral)
        if lateral:
            assert network.ids[network.lateral[i]] == lateral[-1]


def test_a_load_of_nothing_is_exactly_nothing_beside_large_ones():
    """A subtree's sum is a difference of running sums; what is 0 stays 0."""
    rows = [{"section_id": "a", "device": "breaker", "load_kw": 0.1}]
    rows += [{"section_id": f"s{k}", "parent_id": "a", "load_kw": 1e9 / 3} for k in range(50)]
    rows += [{"section_id": "none", "parent_id": "a", "load_kw": 0.0}]
    network = build_network(study_of(rows).sections)
    below = quantity(network, network.load_kw).below.unserved
    assert below[list(network.ids).index("none")] == pytest.approx(0.0, abs=1e-9)
    assert below[0] == pytest.approx(0.1 + 50e9 / 3, rel=1e-15)


def test_a_chain_of_a_hundred_thousand_sections_is_no_recursion():
    n = 100_000
    frame = study_of([{"section_id": "a", "device": "breaker", "customers": 1}]).sections
    frame = frame.loc[np.zeros(n, dtype=int)].reset_index(drop=True)
    frame["section_id"] = [f"s{i}" for i in range(n)]
    frame["parent_id"] = ["", *frame["section_id"].iloc[:-1]]
    frame["device"] = ["breaker", *[""] * (n - 1)]
    network = build_network(frame)
    assert network.size.tolist() == list(range(n, 0, -1))
    assert np.array_equal(network.along_path(np.ones(n)), np.arange(1, n + 1))
    assert np.all(network.device[1:] == -1)
    assert network.device[0] == CODE["breaker"]
