"""How sure a choice is: its NPV, each lateral's, and what would be chosen again, over draws of what is not known."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.business.limits import Limits, called_in, converts
from reliability.business.options import Options
from reliability.business.rechosen import Rechosen, best_within_limits, best_without_limits, free
from reliability.business.selection import Choice
from reliability.business.unknowns import Sample, sample
from reliability.business.zone_parts import ZonePart, zone_parts
from reliability.study.study import Study
from reliability.tasks import HERE, Workers

STABILITY_DRAWS = 256                 # a power of 2
DRAWS_WITHIN_LIMITS = 32    # of which each is a search of its own; a power of 2
MANY_ROWS = 20_000          # of so many options and more a search takes long
DRAWS_OF_MANY = 8
MOST_OUTCOME_TABLES = 6                 # of the assumptions that need their own, all levels of them together
STABILITY_NUMBERS_AT_ONCE = 2_000_000   # of rows and draws that are looked at together; our choice
WORTH_IT, STAYS = "probability_npv_positive", "stays_chosen_share"
CERTAIN = "No assumption has a range and no rates are learned: nothing varies."
AS_NAMED = "The proposal is a scenario that the study names: it is not chosen again."
NO_CHOICE_FOUND = "No choice was found."


@dataclass(frozen=True)
class Stability:
    """A choice over draws of the ranges and the learned rates, at the expected value of each draw.

    draws: how many, and chosen_again: in how many of them the best choice was looked for again; 0 for none. reason: why
    something was not found, "" where all was. npv: (draws,) of the choice as a whole. rows: (rows of Options,) share of
    the draws in which each option has an NPV above 0, NaN without draws. selection: the selection with the columns
    `WORTH_IT` and `STAYS`. stays: mean over the laterals converted of the share of draws in which they are converted
    again, NaN where that was not found.
    """

    draws: int
    chosen_again: int
    reason: str
    npv: np.ndarray
    rows: np.ndarray
    selection: pd.DataFrame
    stays: float

    def summary(self) -> dict[str, object]:
        """ "stability" of summary.json."""
        return {"draws": self.draws, "draws_chosen_again": self.chosen_again, "reason": self.reason or None,
                **spread_of(self.npv), STAYS: self.stays}


def spread_of(npv: np.ndarray) -> dict[str, float]:
    """80 % range and median of an NPV over draws, and how often it is above 0; NaN without draws."""
    p10, p50, p90 = np.percentile(npv, [10, 50, 90]).tolist() if len(npv) else [np.nan] * 3
    return {"npv_p10": p10, "npv_p50": p50, "npv_p90": p90, WORTH_IT: float((npv > 0).mean()) if len(npv) else np.nan}


def stability(study: Study, options: Options, choice: Choice, limits: Limits, named: bool = False,
              workers: Workers = HERE) -> Stability:
    """How sure a choice among options is.

    named: whether the choice is a scenario that the study names, which is carried out whatever the draw. Where a limit
    holds or SAIDI is the objective, each draw needs a search, and fewer are taken; workers do the searches.
    """
    drawn = sample(study, STABILITY_DRAWS, study.values["seed"], MOST_OUTCOME_TABLES) if choice.feasible else None
    if drawn is None:
        none = np.full(len(options.rows), np.nan)
        return Stability(0, 0, CERTAIN if choice.feasible else NO_CHOICE_FOUND, np.zeros(0), none,
                         choice.selection.assign(**{WORTH_IT: np.nan, STAYS: np.nan}), np.nan)
    options = with_learned_rates(options, study)
    apart, group = _groups(options, choice.chosen)
    group_of = np.full(len(options.rows), -1)
    group_of[choice.chosen] = group
    again = Rechosen.nothing(drawn.size, options) if not named and free(limits, choice.objective) else None
    above, of_groups, npv = np.zeros(len(options.rows)), np.zeros(len(apart)), np.zeros(drawn.size)
    for part, some, at, each in _npvs(options, drawn):
        above[part.rows] += (each > 0.0).sum(axis=0)
        found, of_group = _by_group(each, group_of[part.rows])
        of_groups[found] += (of_group > 0.0).sum(axis=0)
        npv[at] += of_group.sum(axis=1)
        if again is not None:
            again.put(at, part, best_without_limits(some, called_in(limits, some), each))
    if not named and again is None:
        few = DRAWS_WITHIN_LIMITS if len(options.rows) < MANY_ROWS else DRAWS_OF_MANY
        again = best_within_limits(options, limits, choice.objective, drawn.some(np.arange(few)), workers)
    worth_it = dict(zip(apart, of_groups / drawn.size, strict=True))
    stays = {} if again is None else _stays(options, choice, again)
    selection = _with_shares(options, choice.selection, worth_it, stays)
    kept = selection.loc[selection["what"] == "lateral", STAYS]
    return Stability(drawn.size, 0 if again is None else len(again.laterals), AS_NAMED if named else "", npv,
                     above / drawn.size, selection, float(kept.mean()) if len(kept) else np.nan)


def with_stability(choice: Choice, sure: Stability) -> Choice:
    """The choice with how sure it is, in its selection and its totals."""
    totals = {**choice.totals, STAYS: sure.stays} if choice.feasible else choice.totals
    return replace(choice, selection=sure.selection, totals=totals)


def with_learned_rates(options: Options, study: Study) -> Options:
    """Options whose effects know the learned rates of the study."""
    return options if study.rate_draws is None else replace(
        options, effects=replace(options.effects, rates=study.rate_draws))


def _npvs(options: Options, drawn: Sample) -> Iterator[tuple[ZonePart, Options, np.ndarray, np.ndarray]]:
    """(part of the options, those options, positions of some draws, NPV of each of its rows there, (k, rows)).

    In parts that stay at hand.
    """
    parts = zone_parts(options, max(STABILITY_NUMBERS_AT_ONCE // drawn.size, 1))
    for p, at, savings in options.effects.savings_of([part.groups for part in parts], drawn.values, drawn.picked,
                                                     STABILITY_NUMBERS_AT_ONCE):
        some = parts[p].of(options)
        yield parts[p], some, at, some.npv(drawn.some(at).values, savings)


def npv_of_choice(options: Options, chosen: np.ndarray, drawn: Sample) -> np.ndarray:
    """NPV of a choice as a whole at each draw, (K,)."""
    npv = np.zeros(drawn.size)
    for part, _, at, each in _npvs(options, drawn):
        npv[at] += each[:, chosen[part.rows]].sum(axis=1)
    return npv


def _by_group(npv: np.ndarray, group: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(groups of some rows, sums of their NPV (k, groups)); group: (rows,) of each row, −1 for none."""
    order = np.argsort(group, kind="stable")
    order = order[group[order] >= 0]
    start = np.flatnonzero(np.diff(group[order], prepend=-1))
    return group[order[start]], np.add.reduceat(npv[:, order], start, axis=1)


def _groups(options: Options, chosen: np.ndarray) -> tuple[list[tuple[int, int]], np.ndarray]:
    """((lateral converted or −1, zone) of each row of the selection, which of them each chosen option is part of)."""
    rows, put = options.rows, converts(options)
    new = np.unique(rows["lateral"].to_numpy()[chosen & put])
    lateral = rows["lateral"].to_numpy()[chosen]
    owner = np.where(np.isin(lateral, new), lateral, -1)
    pairs, group = np.unique(np.column_stack([owner, rows["zone"].to_numpy()[chosen]]), axis=0, return_inverse=True)
    return [(int(a), int(b)) for a, b in pairs], group.ravel()


def _stays(options: Options, choice: Choice, again: Rechosen) -> dict[tuple[int, int], float]:
    """Share of draws in which a lateral is converted again, or a zone has its setting again, by pair of `_groups`."""
    converted, setting = again.laterals.mean(axis=0), again.setting
    rows = options.rows
    lateral, zone, which = (rows[name].to_numpy() for name in ("lateral", "zone", "setting"))
    own = np.flatnonzero(choice.chosen & (lateral < 0))
    of_zones = {(-1, int(zone[i])): float((setting[:, zone[i]] == which[i]).mean()) for i in own}
    return of_zones | {(h, int(z)): float(converted[h]) for h, z in enumerate(options.zone)}


def _with_shares(options: Options, selection: pd.DataFrame, worth_it: dict[tuple[int, int], float],
                 stays: dict[tuple[int, int], float]) -> pd.DataFrame:
    """The selection with what each of its rows has by (lateral or −1, zone)."""
    ids = options.network.ids
    lateral = {str(name): i for i, name in enumerate(ids[options.heads])}
    zone = {str(name): i for i, name in enumerate(ids[options.zones])}
    keys = [(lateral[str(row.section_id)] if row.what == "lateral" else -1, zone[str(row.backup_id)])
            for row in selection[["what", "section_id", "backup_id"]].itertuples()]
    return selection.assign(**{WORTH_IT: [worth_it.get(key, np.nan) for key in keys],
                               STAYS: [stays.get(key, np.nan) for key in keys]})
