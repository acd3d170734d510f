"""Each index from sums chosen by hand, and what does not exist."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from reliability.indices import definitions
from reliability.indices.expected import feeder_indices, system_indices
from reliability.pipeline import expect
from tests.networks import random_study


def test_indices_by_hand():
    # 200 customers, 300 interruptions, 100 customer-hours
    assert definitions.per_customer(300.0, 200.0) == pytest.approx(1.5)
    assert definitions.saidi_minutes(100.0, 200.0) == pytest.approx(30.0)
    assert definitions.caidi_minutes(30.0, 1.5) == pytest.approx(20.0)
    assert definitions.asai(30.0) == pytest.approx(1.0 - 0.5 / 8760.0)


def test_sums_of_any_shape():
    assert definitions.per_customer(np.array([[2.0, 4.0]]), 4.0).tolist() == [[0.5, 1.0]]
    assert definitions.caidi_minutes(np.array([6.0, 1.0]), 2.0).tolist() == [3.0, 0.5]


def test_one_customer_is_served():
    assert definitions.per_customer(3.0, 1.0) == 3.0


def test_where_nobody_is_served_or_interrupted_there_is_no_index():
    assert np.isnan(definitions.per_customer(np.zeros((2, 3)), 0.0)).all()
    assert definitions.per_customer(np.zeros((2, 3)), 0.0).shape == (2, 3)
    assert np.isnan(definitions.caidi_minutes([0.0, 5.0], [0.0, 1.0])).tolist() == [True, False]
    assert all(np.isnan(share) for share in definitions.cemi(np.ones(2), np.zeros(2), 0.1).values())


def test_cemi_weighs_the_laws_by_customers():
    rates, customers = np.array([0.3, 2.0]), np.array([30.0, 10.0])
    poisson = definitions.cemi(rates, customers, 0.0)
    assert list(poisson) == [1, 2, 3, 4, 5, 6]
    for n, share in poisson.items():
        assert share == pytest.approx(float(stats.poisson(rates).sf(n - 1) @ customers / 40.0), rel=1e-12)
    shape = 1.0 / 0.8 ** 2
    for n, share in definitions.cemi(rates, customers, 0.8).items():
        assert share == pytest.approx(float(stats.nbinom(shape, shape / (shape + rates)).sf(n - 1) @ customers / 40.0))


def test_cemi_has_six_numbers_with_customers_and_without():
    for customers in (np.zeros(2), np.ones(2)):
        assert list(definitions.cemi(np.ones(2), customers, 0.1)) == [1, 2, 3, 4, 5, 6]


def test_cemi_of_one_customer():
    assert definitions.cemi(np.array([1.0]), np.array([1.0]), 0.0)[1] == pytest.approx(1.0 - np.exp(-1.0))


@pytest.mark.parametrize("seed", range(3))
def test_indices_of_the_feeders_add_up_to_those_of_the_system(seed):
    expected = expect(random_study(np.random.default_rng(seed), sections=30)).expected[0]
    feeders, system = feeder_indices(expected), system_indices(expected, 0.2)
    served = sum(f["customers_served"] for f in feeders.values())
    assert served == system["customers_served"]
    for name in ("saifi", "saidi_min", "maifi", "maifi_e"):
        assert sum(f[name] * f["customers_served"] for f in feeders.values() if f["customers_served"]) == pytest.approx(
            served * system[name]), name


@pytest.mark.parametrize("cv", [0.0, 0.05, 0.8, 3.0])
def test_cemi_of_rare_and_of_frequent_interruptions(cv):
    """The laws of a library (that of rare events is only good to 1e-6), from hardly any to several a day."""
    for rate in (0.0, 1e-7, 1e-3, 0.2, 3.0, 60.0, 900.0):
        law = stats.nbinom(cv ** -2, 1.0 / (1.0 + rate * cv ** 2)) if cv else stats.poisson(rate)
        for n, share in definitions.cemi(np.array([rate]), np.array([5.0]), cv).items():
            wanted = float(law.sf(n - 1)) if rate else 0.0
            assert share == pytest.approx(wanted, rel=1e-6, abs=1e-300)
            assert share <= 1.0
