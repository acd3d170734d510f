"""Whether what each reclosing device recorded fits what all else says of the faults behind it.

Predicted are the momentary events with nothing left open, and the faults that a counter shows, from rates that do not
know them: of each unit's λ given its sustained records alone, with the fractions and means of its group. The device
that fits worst is set aside and the rest fitted again, until none stands out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import scipy

from reliability.history.level import TAILS
from reliability.history.posterior import Evidence, Length, Posterior, Prior, ratio
from reliability.history.recording import Entries
from reliability.history.sampler import sample
from reliability.history.shared_out import shares_of_pools

SHORT = Length(500, 250, 125)     # enough to see what does not fit
SHORTER = Length(250, 125, 125)   # where it goes on from a round before
STANDS_OUT = 0.005                # two-sided probability of a recorded number below which a device stands out (ours)
MEANWHILE = 0.6                   # what deviates so much of the worst is set aside together with it
EVENTS_FIT, COUNTER_FIT = "events", "counter"


@dataclass(frozen=True)
class DeviceFit:
    """Fit by reclosing device.

    table: a row a device and what it records ("events" or "counter"): device (position), what, total (events, or
        openings counted, those before sustained records included), recorded, predicted (faults with nothing left open;
        recorded is what remains of the total without the others), low, high (of a count, at LEVEL), probability
        (two-sided), fits.
    set_aside: (R,) whether what a device recorded is left out of the estimate. rounds: of fitting.
    """

    table: pd.DataFrame
    set_aside: np.ndarray
    rounds: int


def fit_devices(evidence: Evidence, posterior: Posterior, devices: np.ndarray, prior: Prior, seed: int) -> DeviceFit:
    """The fit of every device, and which are to be left out.

    posterior: of all of the evidence, as SHORT as it may be. devices: (R,) positions.
    """
    aside, rounds = np.zeros(len(devices), bool), 0
    while True:
        table = predictions(evidence, posterior, devices, seed)
        rounds += 1
        out = table["probability"].to_numpy() < STANDS_OUT
        worst = np.where(out & ~aside[table["at"]], np.abs(table["deviation"].to_numpy()), 0.0)
        if not worst.any() or rounds > len(devices):
            table["fits"] = ~out
            return DeviceFit(table.drop(columns=["at", "deviation"]), aside, rounds)
        aside[table["at"].to_numpy()[worst >= MEANWHILE * worst.max()]] = True
        posterior = sample(without(evidence, aside), prior, np.random.default_rng([seed, 2, rounds]), None, SHORTER,
                           posterior.last)


def without(evidence: Evidence, aside: np.ndarray) -> Evidence:
    """The evidence without events and counters of the devices set aside, (R,) bool."""
    if not aside.any():
        return evidence

    def rest(entries: Entries) -> Entries:
        kept = ~aside[entries.place]
        return Entries(entries.unit[kept], entries.place[kept], entries.temporary[kept], entries.permanent[kept])

    return replace(evidence, events=np.where(aside, 0.0, evidence.events),
                   steps=np.where(aside, 0.0, evidence.steps), alone=rest(evidence.alone),
                   beside=rest(evidence.beside), pure_steps=rest(evidence.pure_steps),
                   pure_squares=rest(evidence.pure_squares))


def predictions(evidence: Evidence, posterior: Posterior, devices: np.ndarray, seed: int) -> pd.DataFrame:
    """`DeviceFit.table` but for fits, with at (index of the device) and deviation (in standard deviations)."""
    rng = np.random.default_rng([seed, 3])
    e, draws = evidence, len(posterior.shape)
    lam, p = _rates_of_the_sustained(evidence, posterior, rng), posterior.fraction[:, evidence.group]
    rows = []
    recorded = shares_of_pools(evidence, posterior)
    for number, (what, total, entries, amount) in enumerate((
            (EVENTS_FIT, e.events, e.alone, e.alone.temporary),
                                                             (COUNTER_FIT, e.steps, e.pure_steps, recorded.effective))):
        means = np.empty((draws, e.devices))
        for k in range(draws):
            means[k] = entries.by_place(lam[k, entries.unit] * p[k, entries.unit] * amount, e.devices)
        for r in np.flatnonzero(entries.by_place(amount, e.devices) > 0.0):
            count, mean = recorded.pure[number, r], means[:, r]
            below = scipy.special.pdtr(np.floor(count), mean).mean()
            before = scipy.special.pdtr(np.floor(count) - 1, mean).mean() if count >= 1 else 0.0
            middle = (below + before) / 2.0
            drawn = rng.poisson(mean)
            low, high = np.quantile(drawn, TAILS)
            spread = np.sqrt(mean.mean() + mean.var())
            rows.append((devices[r], what, total[r], count, mean.mean(), low, high, 2.0 * min(middle, 1.0 - middle), r,
                         (count - mean.mean()) / spread))
    return pd.DataFrame(rows, columns=["device", "what", "total", "recorded", "predicted", "low", "high", "probability",
                                       "at", "deviation"])


def _rates_of_the_sustained(e: Evidence, posterior: Posterior, rng: np.random.Generator) -> np.ndarray:
    """Draws (K, U) of λ given a unit's sustained records alone, and the fractions, means and shape of its group."""
    entries = e.device_entries
    mean = posterior.mean_temporary[entries.unit], posterior.mean_permanent[entries.unit]
    weight = entries.temporary * mean[0] + entries.permanent * mean[1]
    share = ratio(weight, entries.by_place(weight, e.devices)[entries.place])
    at_device = entries.by_unit(share * e.at_device.sum(axis=1)[entries.place], e.units)
    count = e.at_unit.sum(axis=1) + e.stated + at_device
    temporary = e.unit_temporary + e.stated_temporary + entries.by_unit(entries.temporary, e.units)
    permanent = e.unit_permanent + e.stated_permanent + entries.by_unit(entries.permanent, e.units)
    p = posterior.fraction[:, e.group]
    rate = posterior.shape[:, None] / posterior.mean[:, e.group] + p * temporary + (1.0 - p) * permanent
    return rng.standard_gamma(posterior.shape[:, None] + count) / rate
