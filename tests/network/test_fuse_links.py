"""Melting of fuse links and the saving ceiling (model §8), against points worked by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reliability.network.fuse_links import link_name, link_table
from reliability.network.link_curves import link_curves, saving_ceilings_a

LINKS = sorted(link_table().index)
PREFERRED = (6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 65, 80, 100, 140, 200)


def saving_ceiling_a(link: str, clearing_s: float, factor: float = 0.75) -> float:
    """Of one link; `factor`: fuse_melting_factor."""
    return float(saving_ceilings_a(link_curves([link]), clearing_s, factor)[0])


def test_the_table_has_types_k_and_t_in_all_ratings():
    """IEEE C37.42, from memory (data/README.md); preferred and intermediate ratings read."""
    assert set(LINKS) == {f"{rating}{speed}" for rating in PREFERRED for speed in "KT"}


@pytest.mark.parametrize(("melting_s", "amperes"), [(0.1, 918.0), (10.0, 159.0), (300.0, 128.0)])
def test_at_the_points_of_the_table(melting_s, amperes):
    """65K melts at the least in 0.1, 10, 300 s at 918, 159, 128 A: clearing in 0.75 of that. C37.42, from memory."""
    assert saving_ceiling_a("65K", 0.75 * melting_s) == pytest.approx(amperes, rel=1e-12)


def test_long_time_point_of_large_links_is_at_600_s():
    """140K: 310 A at 600 s and 430 A at 10 s; halfway in log time, √6000 s, √(310·430) A."""
    assert saving_ceiling_a("140K", 0.75 * 600.0) == pytest.approx(310.0, rel=1e-12)
    assert saving_ceiling_a("140K", 0.75 * math.sqrt(6000.0)) == pytest.approx(math.sqrt(310.0 * 430.0), rel=1e-12)


def test_log_log_between_points():
    """65K at 1 s, halfway between 0.1 s and 10 s in log time: √(918·159) = 382.05 A."""
    assert saving_ceiling_a("65K", 0.75) == pytest.approx(382.05, abs=0.005)


def test_constant_i2t_below_a_tenth_of_a_second():
    """65K cleared in 0.03 s: melting in 0.04 s, 918·√(0.1/0.04) = 918·1.58114 = 1451.5 A."""
    assert saving_ceiling_a("65K", 0.03) == pytest.approx(1451.5, abs=0.05)
    assert saving_ceiling_a("65K", 0.01) == pytest.approx(2.0 * saving_ceiling_a("65K", 0.04), rel=1e-12)


def test_clearing_slower_than_the_table_saves_what_never_melts():
    """65K never melts below 128 A."""
    assert saving_ceiling_a("65K", 1000.0) == pytest.approx(128.0, rel=1e-12)


@given(st.sampled_from(LINKS), st.floats(0.001, 500.0), st.floats(1.0, 3.0))
def test_slower_clearing_never_raises_the_ceiling(link, clearing_s, factor):
    assert saving_ceiling_a(link, clearing_s * factor) <= saving_ceiling_a(link, clearing_s) * (1 + 1e-12)


@pytest.mark.parametrize("speed", "KT")
@pytest.mark.parametrize("clearing_s", [0.02, 0.08, 0.3, 5.0, 100.0])
def test_a_larger_link_has_a_higher_ceiling(speed, clearing_s):
    ceilings = [saving_ceiling_a(f"{rating}{speed}", clearing_s) for rating in PREFERRED]
    assert np.all(np.diff(ceilings) > 0)


@pytest.mark.parametrize("clearing_s", [0.02, 0.08, 0.3, 5.0])
def test_type_t_is_slower_than_type_k(clearing_s):
    """T and K agree at the long-time point alone."""
    assert all(saving_ceiling_a(f"{r}T", clearing_s) > saving_ceiling_a(f"{r}K", clearing_s) for r in PREFERRED)


@pytest.mark.parametrize("text", ["65K", "65k", " 65 K ", "K65", "k 65", "65.0K"])
def test_forms_of_a_link_name(text):
    assert link_name(text) == "65K"


@pytest.mark.parametrize("text", ["", "65", "K", "65KT", "K65K", "64K", "65E", "-65K", "6 5K", "65K x", "1e2K", "nan"])
def test_what_is_no_link(text):
    assert link_name(text) is None


@pytest.mark.parametrize("factor", [0.25, 0.5, 0.75, 1.0])
def test_the_melting_factor_shortens_the_time_in_which_a_fuse_is_saved(factor):
    """65K melts in 0.1 s at 918 A, in 0.025 s at 1836 A: saved there by a backup that clears in factor × that."""
    assert saving_ceiling_a("65K", 0.1 * factor, factor) == pytest.approx(918.0, rel=1e-12)
    assert saving_ceiling_a("65K", 0.025 * factor, factor) == pytest.approx(1836.0, rel=1e-12)


def test_unknown_link_is_an_error():
    with pytest.raises(KeyError):
        link_curves(["64K"])


def test_links_in_an_array_each_have_their_own():
    found = saving_ceilings_a(link_curves(["65K", "40T"]), 0.075, 0.75)
    assert found.tolist() == pytest.approx([918.0, 1040.0])


def test_no_links_at_all():
    assert saving_ceilings_a(link_curves([]), 0.08, 0.75).shape == (0,)
