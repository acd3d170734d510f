"""The order of travel: a walk outwards that drives every line once, what branches off before what goes on."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given

from reliability.network.travel import travel_order
from tests.networks import random_studies, study_of


def _reach(network, i: int) -> float:
    """Length of the longest way from the beginning of a section to an end below it."""
    length = float(np.nan_to_num(network.column["length_km"])[i])
    below = [_reach(network, int(c)) for c in np.flatnonzero(network.parent == i)]
    return length + max(below, default=0.0)


@given(random_studies())
def test_it_is_a_depth_first_walk_with_the_longest_branch_last(study):
    network = study.network
    place = travel_order(network)
    assert sorted(place.tolist()) == list(range(len(network)))
    for i in range(len(network)):
        below = place[i:i + int(network.size[i])]       # a whole branch is done before anything else
        assert below.min() == place[i]
        assert below.max() == place[i] + network.size[i] - 1
        branches = sorted(np.flatnonzero(network.parent == i).tolist(), key=lambda c: place[c])
        reaches = [_reach(network, c) for c in branches]
        assert all(a <= b + 1e-9 for a, b in pairwise(reaches))


def test_laterals_near_the_source_come_before_those_beyond_whatever_the_order_of_the_rows():
    rows = [{"section_id": "m1", "device": "breaker", "length_km": 1.0},
            {"section_id": "m2", "parent_id": "m1", "length_km": 5.0},
            {"section_id": "far", "parent_id": "m2", "device": "fuse", "length_km": 1.0},
            {"section_id": "m3", "parent_id": "m2", "length_km": 4.0},
            {"section_id": "near", "parent_id": "m1", "device": "fuse", "length_km": 2.0}]
    network = study_of(rows).network
    assert network.ids[np.argsort(travel_order(network))].tolist() == ["m1", "near", "m2", "far", "m3"]
