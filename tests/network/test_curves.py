"""Time-current curves against figures worked by hand (model §8), and settings of devices."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reliability.network.curves import (
    CurvePoints,
    last_at_or_below,
    make_elements,
    point_curves,
    points_by_name,
)
from reliability.network.device_settings import (
    ALL_ELEMENTS,
    DELAYED_OPERATION,
    FAST_OPERATION,
    PHASE_ELEMENTS,
    clearing_times_s,
    device_settings,
    least_pickup_a,
)
from reliability.network.fuse_links import next_larger_link
from reliability.network.link_curves import (
    link_curves,
    minimum_melting_s,
    own_curves,
    saving_ceilings_a,
    total_clearing_s,
)
from reliability.schema.curves import DEFINITE, INVERSE
from tests.network.inverse import inverse_time_s

MULTIPLES = np.array([2.0, 5.0, 10.0])


IEEE = {"ieee_very_inverse": [7.028, 1.308, 0.689], "ieee_extremely_inverse": [9.522, 1.297, 0.407],
        "ieee_moderately_inverse": [3.803, 1.688, 1.207]}
# 0.14/(u^0.02 − 1): u^0.02 = 1.013959, 1.032712, 1.047129
IEC = {"iec_standard_inverse": [0.14 / 0.0139595, 0.14 / 0.0327122, 0.14 / 0.0471285],
       "iec_very_inverse": [13.5 / 1.0, 13.5 / 4.0, 13.5 / 9.0],
       "iec_extremely_inverse": [80.0 / 3.0, 80.0 / 24.0, 80.0 / 99.0]}


def test_every_built_in_curve_is_held_against_times_from_outside():
    assert {*IEEE, *IEC} == set(INVERSE) - {DEFINITE}


@pytest.mark.parametrize(("curve", "times"), IEEE.items())
def test_curves_of_ieee_c37_112(curve, times):
    """Model §8 gives very and extremely inverse; moderately: 0.0515/(2^0.02 − 1) + 0.114 = 0.0515/0.013959 + 0.114."""
    assert inverse_time_s(curve, 100.0 * MULTIPLES, 100.0, 1.0) == pytest.approx(times, abs=0.0006)


@pytest.mark.parametrize(("curve", "times"), IEC.items())
def test_curves_of_iec_60255_151(curve, times):
    assert inverse_time_s(curve, 40.0 * MULTIPLES, 40.0, 1.0) == pytest.approx(times, rel=1e-5)


@pytest.mark.parametrize("curve", INVERSE)
def test_the_dial_multiplies_and_the_added_time_is_added(curve):
    one = inverse_time_s(curve, 100.0 * MULTIPLES, 100.0, 1.0)
    assert inverse_time_s(curve, 100.0 * MULTIPLES, 100.0, 0.3, 0.05) == pytest.approx(0.3 * one + 0.05, rel=1e-14)


@pytest.mark.parametrize("curve", INVERSE)
def test_no_time_at_the_pickup_nor_below(curve):
    """u ≤ 1; and the next number over the pickup where it divides to 1."""
    pickup = np.nextafter(200.0, 0.0)
    assert (inverse_time_s(curve, [1.0, 199.0, pickup], pickup, 1.0, 0.05) == math.inf).all()
    assert pickup / np.nextafter(pickup, 0.0) > 1.0
    assert np.isfinite(inverse_time_s(curve, [pickup * (1 + 1e-9)], pickup, 1.0)).all()


def test_a_definite_time_is_its_dial():
    assert inverse_time_s("definite", [101.0, 5000.0], 100.0, 0.25, 0.05) == pytest.approx([0.3, 0.3], rel=1e-15)


def test_points_are_joined_log_log_and_end_as_they_should():
    """Half way in log current between (100 A, 10 s) and (400 A, 0.1 s): 200 A, √(10 · 0.1) = 1 s."""
    curves = point_curves([CurvePoints(np.array([100.0, 400.0]), np.array([10.0, 0.1])),
                           CurvePoints(np.array([7.0, 9.0, 11.0]), np.array([3.0, 2.0, 2.0]), -2.0)])
    times = curves.times(0, np.array([99.99, 100.0, 200.0, 400.0, 1e5]))
    assert times == pytest.approx([math.inf, 10.0, 1.0, 0.1, 0.1], rel=1e-12)
    assert times[[1, 3, 4]].tolist() == [10.0, 0.1, 0.1]
    assert curves.times(np.array([1, 1, 1]), np.array([9.0, 10.0, 22.0])) == pytest.approx([2.0, 2.0, 0.5])


@given(st.lists(st.lists(st.integers(0, 20), max_size=9), max_size=5), st.integers(-1, 21))
def test_searches_in_slices_agree_with_numpy(slices, wanted):
    slices = [sorted(values) for values in slices]
    first = np.cumsum([0, *map(len, slices)])
    found = last_at_or_below(np.array(sum(slices, [0])[1:] or [0]), first[:-1], first[1:],
                             np.full(len(slices), wanted))
    assert found.tolist() == [int(a + np.searchsorted(v, wanted, side="right") - 1)
                              for a, v in zip(first, slices, strict=False)]


def test_links_melt_and_clear_at_the_points_of_the_standard():
    """65K, IEEE C37.42 (from memory): 128–153 A at 300 s, 159–237 A at 10 s, 918–1100 A at 0.1 s; 140K at 600 s."""
    links = link_curves(["65K", "140K"])
    melting = minimum_melting_s(links, 0, np.array([127.999, 128.0, 159.0, 918.0, 1836.0]))
    assert melting == pytest.approx([math.inf, 300.0, 10.0, 0.1, 0.025], rel=1e-12)
    assert minimum_melting_s(links, 0, np.sqrt(918.0 * 159.0)) == pytest.approx(1.0, rel=1e-12)
    clearing = total_clearing_s(links, 0, np.array([152.999, 153.0, 237.0, 1100.0, 2200.0]), 0.013)
    assert clearing == pytest.approx([math.inf, 300.013, 10.013, 0.113, 0.038], rel=1e-12)
    assert minimum_melting_s(links, 1, 310.0) == pytest.approx(600.0)
    assert links.longest_melting_a.tolist() == [153.0, 372.0]


def test_a_links_own_curves_go_before_the_table_and_hold_the_arcing():
    named = points_by_name(pd.DataFrame({
        "curve": ["65K clearing"] * 2 + ["65K melting"] * 2 + ["10E melting"] * 2,
        "current_a": [150.0, 1000, 130, 900, 20, 200], "time_s": [200.0, 0.2, 250, 0.1, 100, 0.1]}))
    own = own_curves(named)
    assert list(own) == ["65K"]
    links = link_curves(["65K", "40K"], own)
    assert minimum_melting_s(links, 0, np.array([129.0, 130, 900, 1800])).tolist() == [math.inf, 250.0, 0.1, 0.1]
    assert total_clearing_s(links, 0, np.array([149.0, 150, 1000]), 0.013).tolist() == [math.inf, 200.0, 0.2]
    assert total_clearing_s(links, 1, 680.0, 0.013) == pytest.approx(0.113)
    with pytest.raises(KeyError):
        link_curves(["10E"], own)


def test_a_link_that_never_melts_as_fast_as_the_backup_clears_is_always_saved():
    own = {"65K": (CurvePoints(np.array([130.0, 900.0]), np.array([250.0, 0.25])),) * 2}
    links = link_curves(["65K"], own)
    assert saving_ceilings_a(links, 0.1, 0.75).tolist() == [math.inf]
    assert saving_ceilings_a(links, 0.125, 0.5) == pytest.approx([900.0])


@pytest.mark.parametrize(("link", "larger"), [("6K", "8K"), ("65K", "80K"), ("40T", "50T"), ("100K", "140K"),
                                              ("200K", "200K"), ("200T", "200T"), ("64K", "65K"), ("10E", "10E")])
def test_the_next_larger_link(link, larger):
    assert next_larger_link(link) == larger


HEAD = ("section_id", "element", "operation", "pickup_a", "curve", "time_dial", "added_time_s")


def settings(*rows: tuple) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=HEAD)


def test_a_fast_operation_takes_the_least_of_all_elements_a_delayed_one_of_the_delayed():
    found = device_settings(settings(
        ("r", "phase", "fast", 400.0, "definite", 0.2, 0.05), ("r", "phase", "delayed", 200.0, "definite", 0.1, 0.0),
        ("r", "ground", "fast", 100.0, "definite", 0.01, 0.1), ("r", "ground", "delayed", 100.0, "definite", 5.0, 1.0)),
        {})
    at = found.of_section["r"]

    def times(kind: int, part: int, added: bool = True) -> list[float]:
        return clearing_times_s(found, at, kind, part, np.array([100.0, 150.0, 300.0, 500.0]), added).round(9).tolist()

    inf = math.inf
    assert times(FAST_OPERATION, PHASE_ELEMENTS) == [inf, inf, 0.1, 0.1]
    assert times(FAST_OPERATION, ALL_ELEMENTS) == [inf, 0.11, 0.1, 0.1]
    assert times(DELAYED_OPERATION, PHASE_ELEMENTS) == [inf, inf, 0.1, 0.1]
    assert times(DELAYED_OPERATION, ALL_ELEMENTS) == [inf, 6.0, 0.1, 0.1]
    assert times(FAST_OPERATION, ALL_ELEMENTS, added=False) == [inf, 0.01, 0.01, 0.01]
    assert least_pickup_a(found)[at] == 100.0


def test_a_device_without_rows_of_a_kind_takes_the_others():
    found = device_settings(settings(("f", "phase", "fast", 400.0, "definite", 0.2, 0.0),
                                     ("d", "ground", "delayed", 200.0, "definite", 3.0, 0.0)), {})
    kinds = np.array([FAST_OPERATION, DELAYED_OPERATION])
    assert clearing_times_s(found, found.of_section["f"], kinds, ALL_ELEMENTS, 500.0).tolist() == [0.2, 0.2]
    assert clearing_times_s(found, found.of_section["d"], kinds, ALL_ELEMENTS, 500.0).tolist() == [3.0, 3.0]
    # a three-phase fault that no element sees
    assert clearing_times_s(found, found.of_section["d"], kinds, PHASE_ELEMENTS, 500.0).tolist() == [math.inf] * 2


def test_devices_with_the_same_settings_share_them():
    row = ("phase", "fast", 400.0, "definite", 0.2, 0.0)
    found = device_settings(settings(("a", *row), ("b", *row), ("c", "phase", "fast", 401.0, "definite", 0.2, 0.0)), {})
    assert found.of_section["a"] == found.of_section["b"] != found.of_section["c"]
    assert (len(found), len(found.elements)) == (2, 2)


def test_a_curve_that_is_not_there_is_an_error_and_no_settings_are_none():
    with pytest.raises(KeyError):
        make_elements(settings(("a", "phase", "fast", 400.0, "other", 0.2, 0.0)), {})
    assert len(device_settings(settings(), {})) == 0
