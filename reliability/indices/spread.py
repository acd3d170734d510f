"""How sure: mean, standard error and percentiles of simulated indices, and what their variance comes from."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from reliability.faults.consequences import CALLOUTS
from reliability.indices import definitions
from reliability.indices.simulation import Simulated

PERCENTILES = (10, 50, 90)
RATIOS = {index.key: index.ratio for index in definitions.INDICES if index.ratio}


def yearly_indices(simulated: Simulated, customers: float) -> dict[str, np.ndarray]:
    """System indices of every trial-year by the names of summary.json, (S, trials, years); NaN where none."""
    totals = simulated.totals
    found = definitions.indices(totals, customers)
    result = {index.key: found[index.key] for index in definitions.INDICES if index.simulated and index.key in found}
    result["callouts"] = sum((totals[c] for c in CALLOUTS), start=np.zeros(()))
    return result | {f"callouts_{c}": totals[c] for c in CALLOUTS}


def summaries(indices: Mapping[str, np.ndarray]) -> list[dict[str, dict[str, float]]]:
    """Statistics of every index, a dict a scenario, see `statistics`."""
    return [{name: statistics(values[s]) if name not in RATIOS else
             _ratio_statistics([indices[part][s] for part in RATIOS[name]], values[s])
             for name, values in indices.items()} for s in range(len(indices["saifi"]))]


def differences(indices: Mapping[str, np.ndarray]) -> list[dict[str, dict[str, float]]]:
    """The same of each scenario less the first, year by year under the same faults."""
    return [{name: statistics(values[s] - values[0]) for name, values in indices.items() if name not in RATIOS}
            for s in range(len(indices["saifi"]))]


def statistics(values: np.ndarray) -> dict[str, float]:
    """Of (trials, years): mean, its standard error, yearly percentiles, and the shares of the variance.

    average_p10, average_p90: percentiles of the average year of a trial, which has one draw of the unknowns.

    The standard error is that of independent trials, since the years of one share its draw of
    the unknowns. By the law of total variance the yearly spread is luck (the mean over trials
    of the variance within one) plus unknowns (the variance between trials' means, less what
    luck leaves in a mean of so many years).
    """
    trials, years = values.shape
    means = values.mean(axis=1)
    p10, p50, p90 = np.percentile(values, PERCENTILES)
    low, high = np.percentile(means, (PERCENTILES[0], PERCENTILES[-1]))
    result = {"mean": float(means.mean()), "se": _standard_error(means), "p10": float(p10), "p50": float(p50),
              "p90": float(p90), "average_p10": float(low), "average_p90": float(high),
              "luck_share": float("nan"), "unknown_share": float("nan")}
    if trials > 1 and years > 1:
        luck = float(values.var(axis=1, ddof=1).mean())
        unknown = max(0.0, float(means.var(ddof=1)) - luck / years)
        if luck + unknown > 0:
            result |= {"luck_share": luck / (luck + unknown), "unknown_share": unknown / (luck + unknown)}
    return result


def _ratio_statistics(parts: list[np.ndarray], yearly: np.ndarray) -> dict[str, float]:
    """Statistics of a ratio: its mean is that of the means of its parts, its error by the delta method."""
    top, bottom = (part.mean(axis=1) for part in parts)
    if not bottom.sum() > 0:
        return dict.fromkeys(("mean", "se", "p10", "p50", "p90"), float("nan"))
    ratio = top.sum() / bottom.sum()
    p10, p50, p90 = np.nanpercentile(yearly, PERCENTILES)
    return {"mean": float(ratio), "se": _standard_error((top - ratio * bottom) / bottom.mean()),
            "p10": float(p10), "p50": float(p50), "p90": float(p90)}


def _standard_error(means: np.ndarray) -> float:
    return float(means.std(ddof=1) / np.sqrt(len(means))) if len(means) > 1 else float("nan")
