"""How precise the trials so far are: the standard error of what scenarios change."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

STANDARD_ERROR_SOUGHT = 0.01       # of the SAIDI difference, relative; our assumption


@dataclass(frozen=True)
class TrialsSeen:
    """Trials so far, and over them the mean and the sum of squared deviations of what is sought, (S − 1,) or (1,)."""

    trials: int = 0
    mean: np.ndarray | float = 0.0
    squares: np.ndarray | float = 0.0


def with_more_trials(seen: TrialsSeen, customer_hours: np.ndarray) -> TrialsSeen:
    """With the trials of another chunk, (S, trials, years).

    Sought are the differences of customer-hours (and so of SAIDI) to the first scenario, with one
    scenario its own. Chunks are merged after Chan, Golub and LeVeque, The American Statistician
    37(3), 1983 (from memory).
    """
    hours = customer_hours.mean(axis=2)
    sought = hours if len(hours) == 1 else hours[1:] - hours[:1]
    mean, more = sought.mean(axis=1), sought.shape[1]
    squares = np.square(sought - mean[:, None]).sum(axis=1)
    trials, apart = seen.trials + more, mean - seen.mean
    return TrialsSeen(trials, seen.mean + apart * more / trials,
                      seen.squares + squares + np.square(apart) * seen.trials * more / trials)


def precise_enough(seen: TrialsSeen) -> bool:
    """Whether the standard errors are as small as sought."""
    if seen.trials < 2:
        return False
    error = np.sqrt(seen.squares / (seen.trials - 1) / seen.trials)
    return bool(np.all(error <= STANDARD_ERROR_SOUGHT * np.abs(seen.mean)))
