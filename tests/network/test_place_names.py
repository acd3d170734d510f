"""What people call a section: by its device or its place, and never the same for two."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from reliability.network.place_names import described_places, field_columns, place_names
from tests.networks import study_of

WORDS = st.sampled_from(["", "a", "b", "section a", "a (b)", "a (a)", "b (a)", "R-1"])


def text_of(devices, locations):
    return {"device_id": np.array(devices, dtype=object), "location": np.array(locations, dtype=object)}


def test_the_device_s_number_comes_before_the_location_and_both_before_the_id():
    ids = np.array(["s1", "s2", "s3"], dtype=object)
    names = place_names(ids, text_of(["R-22", "", ""], ["Mill Road", "Pole 7", ""]))
    assert names.tolist() == ["R-22", "Pole 7", "s3"]


def test_of_two_with_one_name_and_of_a_name_that_is_another_s_id_both_have_their_own_id():
    ids = np.array(["s1", "s2", "s3", "s4"], dtype=object)
    names = place_names(ids, text_of(["R-22", "R-22", "s4", ""], [""] * 4))
    assert names.tolist() == ["R-22 (s1)", "R-22 (s2)", "s4 (s3)", "section s4"]
    names = place_names(ids, text_of(["s4", "", "", "D-9"], [""] * 4))      # nobody is shown as s4, and yet
    assert names.tolist() == ["s4 (s1)", "s2", "s3", "D-9"]


@given(st.lists(st.tuples(WORDS, WORDS), max_size=8))
def test_no_two_names_are_alike(places):
    ids = np.array(["a", "b", "c", "section a", "a (b)", "b (a)", "R-1", "h"][:len(places)], dtype=object)
    names = place_names(ids, text_of([d for d, _ in places], [p for _, p in places]))
    assert len(set(names.tolist())) == len(places)


def test_a_list_to_search_has_everything_that_is_known():
    ids = np.array(["s1", "s2"], dtype=object)
    assert described_places(ids, text_of(["R-22", ""], ["Mill Road", ""])).tolist() == ["R-22 · Mill Road · s1", "s2"]


def test_columns_beside_the_ids_of_files_are_only_those_that_the_study_has():
    text = text_of(["R-22", ""], ["", ""])
    assert {k: v.tolist() for k, v in field_columns(text, np.array([1, 0])).items()} == {"device_id": ["", "R-22"]}


def test_a_network_gives_its_names():
    network = study_of([{"section_id": "m", "parent_id": "", "device": "breaker", "length_km": 1.0, "customers": 1.0},
                        {"section_id": "t", "parent_id": "m", "device": "fuse", "length_km": 1.0, "customers": 1.0,
                         "device_id": "F-9"}]).network
    assert network.names.tolist() == ["m", "F-9"]
    assert network.name_by_id == {"m": "m", "t": "F-9"}
    assert network.has_field_names
