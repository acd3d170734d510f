"""The sampler of learned rates: against closed forms, a plain sampler written from the model's text, and itself."""

from __future__ import annotations

import gc

import numpy as np
import pytest
from scipy import special, stats

from reliability.history import sampler
from reliability.history.posterior import Evidence, Length, Posterior
from reliability.history.sampler import sample
from reliability.history.sharing import pools_of
from tests.history.evidences import entries, evidence, fraction_prior, metropolis, prior

LONG = Length(6_000, 1_000, 5_000)
BATCHES = 25
CHAINS = 200


def drawn(e: Evidence, seed: int = 1, length: Length = LONG) -> Posterior:
    return sample(e, prior(e.groups), np.random.default_rng(seed), None, length)


def standard_error(draws: np.ndarray) -> float:
    """Of the mean of draws that hang together, by means of batches."""
    return float(draws.reshape(BATCHES, -1).mean(axis=1).std(ddof=1) / BATCHES ** 0.5)


def assert_moments(draws: np.ndarray, mean: float, spread: float) -> None:
    """The mean within five standard errors, the standard deviation likewise: draws of a small chain."""
    assert draws.mean() == pytest.approx(mean, abs=5 * standard_error(draws))
    square = (draws - mean) ** 2
    assert square.mean() == pytest.approx(spread ** 2, abs=5 * standard_error(square))


def moments(values: np.ndarray, weight: np.ndarray) -> tuple[float, float]:
    """Mean and standard deviation of values under a density on a grid."""
    weight = weight / weight.sum()
    mean = float((values * weight).sum())
    return mean, float(((values - mean) ** 2 * weight).sum() ** 0.5)


class TestOneUnit:
    """Theory: with the mean flat in its logarithm λ has the density 1/λ before the counts, whatever its shape."""

    def test_the_rate_is_gamma_where_both_kinds_are_recorded_alike(self):
        posterior = drawn(evidence([0], [(25, 15, 0)], [20.0], [20.0]))
        lam = (posterior.temporary + posterior.permanent)[:, 0]
        assert_moments(lam, 40 / 20, 40 ** 0.5 / 20)
        low, high = np.quantile(lam, [0.05, 0.95])
        assert (low, high) == pytest.approx(stats.gamma.ppf([0.05, 0.95], 40, scale=1 / 20), rel=0.03)

    def test_the_fraction_is_that_of_the_prior_and_the_known_kinds(self):
        posterior = drawn(evidence([0], [(25, 15, 0)], [20.0], [20.0]))
        p = (np.arange(4_000) + 0.5) / 4_000
        assert_moments(posterior.fraction[:, 0], *moments(p, fraction_prior(p) * p**25 * (1 - p)**15))

    def test_kinds_recorded_in_different_parts(self):
        """By quadrature over p, λ given it being Gamma(n, pA + (1 − p)B)."""
        posterior = drawn(evidence([0], [(9, 31, 0)], [4.0], [40.0]))
        p = (np.arange(4_000) + 0.5) / 4_000
        exposure = 4.0 * p + 40.0 * (1 - p)
        weight = fraction_prior(p) * p**9 * (1 - p)**31 / exposure**40
        assert_moments(posterior.fraction[:, 0], *moments(p, weight))
        weight = weight / weight.sum()
        mean = float(weight @ (40 * p / exposure))
        square = float(weight @ (40 * 41 * p**2 / exposure**2))
        assert_moments(posterior.temporary[:, 0], mean, (square - mean**2) ** 0.5)
        assert posterior.mean_temporary[0] == pytest.approx(mean, rel=0.03)
        assert posterior.mean_permanent[0] == pytest.approx(float(weight @ (40 * (1 - p) / exposure)), rel=0.03)

    def test_blank_kinds(self):
        """By quadrature over p and the two blank shares."""
        posterior = drawn(evidence([0], [(14, 16, 12)], [10.0], [10.0]))
        p, temporary, permanent = ((np.arange(n) + 0.5) / n for n in (300, 120, 120))
        blank = p[:, None, None] * temporary[:, None] + (1 - p)[:, None, None] * permanent
        weight = ((fraction_prior(p) * p**14 * (1 - p)**16)[:, None, None]
                  * ((1 - temporary) ** 14)[:, None] * (1 - permanent) ** 16 * blank**12)
        assert_moments(posterior.fraction[:, 0], *moments(p, weight.sum(axis=(1, 2))))
        assert_moments(posterior.blank[:, 0], *moments(temporary, weight.sum(axis=(0, 2))))
        assert_moments(posterior.blank[:, 1], *moments(permanent, weight.sum(axis=(0, 1))))

    def test_faults_stated_by_the_section_count_for_the_rate_alone(self):
        posterior = drawn(evidence([0], [(0, 0, 0)], [0.0], [0.0], stated=np.array([30.0]),
                                   stated_temporary=np.array([10.0]), stated_permanent=np.array([10.0])))
        assert_moments((posterior.temporary + posterior.permanent)[:, 0], 3.0, 30 ** 0.5 / 10)
        p = (np.arange(4_000) + 0.5) / 4_000
        assert_moments(posterior.fraction[:, 0], *moments(p, fraction_prior(p)))


# Two laterals and a main behind one recloser. Every record of lateral 1, and none of lateral 0, has an opening of the
# recloser before it, a lockout has four; other openings come one a fault.
A, B = np.array([10.0, 12.0, 0.0]), np.array([11.0, 12.0, 0.0])
LOCKED_OUT = np.array([[0.5, 1.0], [0.0, 0.5], [6.0, 9.0]])
ALONE, COUNTED = np.array([4.0, 2.0, 5.0]), np.array([3.0, 3.0, 8.0])
AT_UNIT = np.array([[5, 4, 3], [9, 3, 2], [0, 0, 0]])
AT_DEVICE = np.array([6, 7, 5])
EVENTS, STEPS = 24, 100
SUSTAINED = AT_UNIT[1].sum()


def three_units() -> Evidence:
    both = entries((1, 0, A[1], B[1]))
    locked = [(u, 0, *LOCKED_OUT[u]) for u in range(3)]
    steps = entries(*((u, 0, COUNTED[u], 0.0) for u in range(3)))
    return evidence(
        [0, 0, 1], AT_UNIT.tolist(), A.tolist(), B.tolist(), 1, at_device=AT_DEVICE[None].astype(float),
        device_entries=entries(*locked), events=np.array([float(EVENTS)]),
        alone=entries(*((u, 0, ALONE[u], 0.0) for u in range(3))), beside=both, steps=np.array([float(STEPS)]),
        pure_steps=steps, pure_squares=steps, steps_at_unit=both,
        steps_at_device=entries(*((u, 0, 4 * t, 4 * p) for u, _, t, p in locked)))


def log_density(x: np.ndarray) -> np.ndarray:
    """Of (chains, 11): logarithms of λ, of the means and of the shape, logits of the fractions, of the blank shares
    and of the common fraction; from the text of the model."""
    x = np.clip(x, -25, 25)      # nothing lies further out
    lam, mean, shape = np.exp(x[:, :3]), np.exp(x[:, 3:5]), np.exp(x[:, 5:6])
    p, blank, common = (special.expit(x[:, a:b]) for a, b in ((6, 8), (8, 10), (10, 11)))
    own_mean = mean[:, [0, 0, 1]]
    rate = shape / own_mean
    value = (shape * np.log(rate) - special.gammaln(shape) + shape * x[:, :3] - rate * lam).sum(axis=1)
    value += np.where((np.abs(x[:, 3:5]) < np.log(1e3)).all(axis=1), 0.0, -np.inf)
    value += np.where((shape > 1e-2) & (shape < 1e4), -x[:, 5:6], -np.inf)[:, 0]       # flat in 1/a
    value -= 2 * ((x[:, 6:8] - x[:, 10:11]) ** 2).sum(axis=1)                          # normal, 0.5
    value += np.log(blank * (1 - blank)).sum(axis=1)                                   # uniform in the share
    value += (4.5 * np.log(common) + 2.5 * np.log(1 - common))[:, 0]
    temporary, permanent = lam * p[:, [0, 0, 1]], lam * (1 - p[:, [0, 0, 1]])

    def recorded(counts: np.ndarray, t: np.ndarray, p: np.ndarray) -> np.ndarray:
        means = (t * (1 - blank[:, 0]), p * (1 - blank[:, 1]), t * blank[:, 0] + p * blank[:, 1])
        return sum(special.xlogy(n, m) - m for n, m in zip(counts, means, strict=True))

    for u in (0, 1):
        value += recorded(AT_UNIT[u], temporary[:, u] * A[u], permanent[:, u] * B[u])
    value += recorded(AT_DEVICE, temporary @ LOCKED_OUT[:, 0], permanent @ LOCKED_OUT[:, 1])
    for count, amounts in ((EVENTS - SUSTAINED, ALONE), (STEPS - SUSTAINED - 4 * AT_DEVICE.sum(), COUNTED)):
        pure = temporary @ amounts
        value += special.xlogy(count, pure) - pure
    return value


@pytest.mark.slow
def test_three_units_behind_a_recloser_agree_with_a_plain_random_walk():
    posterior = drawn(three_units(), length=Length(22_000, 2_000, 20_000))
    rng = np.random.default_rng(5)
    start = rng.normal(0.0, 0.5, (CHAINS, 11))
    chains = metropolis(log_density, start, 1_500, 500, 6)
    p = special.expit(chains[:, :, 6:8])
    lam = np.exp(chains[:, :, :3])
    sampled = {"temporary": (posterior.temporary, lam * p[:, :, [0, 0, 1]]),
               "permanent": (posterior.permanent, lam * (1 - p[:, :, [0, 0, 1]])),
               "fraction": (posterior.fraction, p), "blank": (posterior.blank, special.expit(chains[:, :, 8:10]))}
    for name, (ours, theirs) in sampled.items():
        for j in range(ours.shape[1]):
            mean, spread = theirs[:, :, j].mean(), theirs[:, :, j].std()
            apart = theirs[:, :, j].mean(axis=0).std() / CHAINS ** 0.5
            assert ours[:, j].mean() == pytest.approx(mean, abs=5 * np.hypot(standard_error(ours[:, j]), apart)), name
            assert ours[:, j].std() == pytest.approx(spread, rel=0.08), name


def test_the_same_seed_gives_the_same_digits_and_another_one_others():
    short = Length(60, 20, 20)
    one, same, other = (drawn(three_units(), seed, short) for seed in (3, 3, 4))
    for name in ("temporary", "permanent", "fraction", "mean", "shape", "blank", "mean_temporary"):
        assert np.array_equal(getattr(one, name), getattr(same, name))
    assert not np.array_equal(one.temporary, other.temporary)


class TestSharing:
    POOL = np.array([0] * 3 + [2] * 5 + [3] * 2)
    WEIGHTS = np.array([0.5, 1.5, 2.0, 1.0, 0.0, 3.0, 2.0, 4.0, 0.0, 0.0])
    COUNTS = np.array([7, 4, 30, 6])

    def test_counts_are_shared_in_proportion_and_add_up(self):
        """Theory: means n·w, variances n·w·(1 − w) and covariances −n·w·v of a multinomial, by 4000 draws."""
        rng, pools = np.random.default_rng(1), pools_of(self.POOL, 4)
        drawn = np.array([pools.share(rng, self.COUNTS, self.WEIGHTS) for _ in range(4_000)])
        assert (drawn[:, :3].sum(axis=1) == 7).all()
        assert (drawn[:, 3:8].sum(axis=1) == 30).all()
        for count, at in ((7, slice(0, 3)), (30, slice(3, 8))):
            share = self.WEIGHTS[at] / self.WEIGHTS[at].sum()
            np.testing.assert_allclose(drawn[:, at].mean(axis=0), count * share, atol=5 * (count / 4 / 4_000) ** 0.5)
            expected = count * (np.diag(share) - np.outer(share, share))
            np.testing.assert_allclose(np.cov(drawn[:, at].T), expected, atol=0.1 * count / 4)

    def test_what_has_no_weight_gets_nothing(self):
        drawn = pools_of(self.POOL, 4).share(np.random.default_rng(1), self.COUNTS, self.WEIGHTS)
        assert drawn[4] == 0
        assert (drawn[8:] == 0).all()

    def test_pools_without_entries_or_counts(self):
        pools = pools_of(np.array([], dtype=int), 2)
        assert pools.share(np.random.default_rng(1), np.array([3, 1]), np.array([])).tolist() == []
        assert pools_of(self.POOL, 4).share(np.random.default_rng(1), np.zeros(4, int), self.WEIGHTS).sum() == 0


def test_a_chain_leaves_nothing_behind_for_a_search_for_garbage():
    """A run searches seldom, and an iteration's arrays are as long as the units are many."""
    gc.collect()
    gc.disable()
    try:
        drawn(evidence([0], [(25, 15, 0)], [20.0], [20.0]), length=Length(20, 10, 5))
        assert not any(isinstance(found, sampler._Densities) for found in gc.get_objects())
    finally:
        gc.enable()
