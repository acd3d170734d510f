"""What scenarios bring by group of faults, such as those of a lateral, at any rates, times and prices."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse

from reliability.business.break_even import SHARE_KEY, less_than_as_built
from reliability.business.closed_form import DRAWS_AT_LEAST, ClosedForm, timed_names
from reliability.business.costs import unit_worth
from reliability.business.forms import ClosedForms
from reliability.faults.consequences import CALLOUTS
from reliability.indices.draws import count_draws, some_draws, values_of_trials
from reliability.network.devices import BACKS_UP
from reliability.network.model import Model
from reliability.network.rate_draws import RateDraws
from reliability.network.tree import Network
from reliability.schema.scenarios import Scenario
from reliability.schema.values import Assumptions, Drawn, TrialValues
from reliability.study.cost_table import CostTable
from reliability.tasks import Workers

HOURS = "customer_hours"
EFFECTS_OF_FAULTS = ("ci_avoided", "customer_hours_avoided", "momentary_events_added", "callouts_avoided",
                     "customer_hours_avoided_on", "customer_hours_avoided_off")
SAVING = "saving"


@dataclass(frozen=True)
class FaultGroups:
    """Whose faults are counted together: those that a candidate's own device sees, and what is left of each zone.

    zones: (z,) positions of the breakers and reclosers. zone: (h,) index of the one behind each candidate. group: (n,)
    of each section, the candidates first, then the zones.
    """

    zones: np.ndarray
    zone: np.ndarray
    group: np.ndarray

    def __len__(self) -> int:
        return len(self.zone) + len(self.zones)


def fault_groups(network: Network) -> FaultGroups:
    """The groups of a network; faults behind a recloser inside a lateral never reach the lateral's own device."""
    heads, lateral = network.candidates, network.candidate_index
    nearest = _nearest_backup(network)
    zones, zone_of = np.unique(nearest, return_inverse=True)
    own = (lateral >= 0) & (nearest == nearest[heads[lateral]] if len(heads) else False)
    return FaultGroups(zones, zone_of[heads], np.where(own, lateral, len(heads) + zone_of))


def _nearest_backup(network: Network) -> np.ndarray:
    """Breaker or recloser at or above each section, (n,)."""
    at = network.protective.copy()
    while True:
        passed = np.flatnonzero(~BACKS_UP[network.device[at]])
        if not passed.size:
            return at
        at[passed] = network.protective_above[at[passed]]


@dataclass(frozen=True)
class GroupEffects:
    """Effects of S scenarios, "As built" first, on G groups of faults, as a function of the assumptions.

    The same sums serve any rates, times, probabilities and prices; what changes protection makes new ones. rates:
    learned from records, where these are drawn.
    """

    model: Model
    scenarios: Sequence[Scenario]
    groups: FaultGroups
    costs: CostTable
    rates: RateDraws | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """(S, G)."""
        return len(self.scenarios), len(self.groups)

    def prepare(self, workers: Workers) -> None:
        """Make the sums of the model's values now, parts of them by workers."""
        self._forms.prepare(self.model.values, workers)

    def effects(self, values: Assumptions, picked: np.ndarray | None = None) -> dict[str, np.ndarray]:
        """`SAVING` (money a year) and `EFFECTS_OF_FAULTS` a year against "As built", (S, G) each.

        picked: (1,) a draw of the learned rates, None for their means, at which those by the state of reclosing are in
        any case.
        """

        def less(worth: Mapping[str, Drawn]) -> np.ndarray:
            return self._less(values, lambda _: worth, picked)[0]

        on, off = self._hours_by_state(values)
        return {SAVING: less(self._worth(values)), "ci_avoided": less({"ci": 1.0}),
                "customer_hours_avoided": less({HOURS: 1.0}),
                "momentary_events_added": 0.0 - less({"momentary_events": 1.0}),
                "callouts_avoided": less(dict.fromkeys(CALLOUTS, 1.0)),
                "customer_hours_avoided_on": on, "customer_hours_avoided_off": off}

    def savings(self, values: TrialValues, picked: np.ndarray | None = None) -> np.ndarray:
        """Money saved a year against "As built" over K draws, (K, S, G); picked: (K,) draws of the learned rates."""
        return self._less(values, self._worth, picked)

    def savings_of(self, parts: Sequence[np.ndarray], values: TrialValues, picked: np.ndarray | None,
                   at_once: int) -> Iterator[tuple[int, np.ndarray, np.ndarray]]:
        """(which of some parts, positions of some draws, money saved by the groups of that part (k, S, groups)).

        parts: groups (positions) each. at_once: how many numbers of a part are found at a time, or of one draw if more.
        """
        scenarios, groups = self.shape
        for at, some, form, pairs in self._at_draws(values, picked):
            for p, part in enumerate(parts):
                whole = len(part) == groups
                of_part, of_pairs = (form, pairs) if whole else _of_groups(form, pairs, part)
                step = max(DRAWS_AT_LEAST, at_once // max(scenarios * len(part), 1))
                for start in range(0, len(at), step):
                    here = np.arange(start, min(start + step, len(at)))
                    drawn_here = None if picked is None else picked[at[here]]
                    yield p, at[here], self._found(of_part, of_pairs, some_draws(some, here), self._worth, drawn_here)

    def forget(self) -> None:
        """Give up the sums, which are made again where they are asked for."""
        for name in ("_forms", "_forms_without_shares", "_learned"):
            vars(self).pop(name, None)

    def _less(self, values: TrialValues, worth: Callable[[TrialValues], Mapping[str, Drawn]],
              picked: np.ndarray | None) -> np.ndarray:
        """Amounts times their worth less than under "As built", (K, S, G)."""
        result = np.zeros((self._draws(values, picked), *self.shape))
        for at, some, form, pairs in self._at_draws(values, picked):
            result[at] = self._found(form, pairs, some, worth, None if picked is None else picked[at])
        return result

    @staticmethod
    def _draws(values: TrialValues, picked: np.ndarray | None) -> int:
        return max(count_draws(values), 1 if picked is None else len(picked))

    def _at_draws(self, values: TrialValues, picked: np.ndarray | None
                  ) -> Iterator[tuple[np.ndarray, TrialValues, ClosedForm, _Pairs | None]]:
        """(positions of some draws, their values, the form that holds there, whose units its own are: groups if None).
        """
        learned = None if picked is None else self._learned
        for at, some, form, _ in (self._forms if learned is None else learned.forms).of(values,
                                                                                        self._draws(values, picked)):
            yield at, some, form, None if learned is None else learned.pairs

    def _found(self, form: ClosedForm, pairs: _Pairs | None, values: TrialValues,
               worth: Callable[[TrialValues], Mapping[str, Drawn]], picked: np.ndarray | None) -> np.ndarray:
        """Amounts times their worth less than under "As built", (k, S, groups), at draws for which the form holds."""
        if pairs is None or self.rates is None or picked is None:
            found = form.amounts(values, worth(values))
        else:
            temporary, permanent = (of[picked][:, pairs.unit] for of in (self.rates.temporary, self.rates.permanent))
            by_pair = form.amounts(values, worth(values), (temporary, permanent)).reshape(-1, len(pairs.unit))
            found = np.asarray((pairs.to_group @ by_pair.T).T).reshape(len(picked), form.scenarios, -1)
        found[:, 0] = 0.0
        return found

    def _worth(self, values: TrialValues) -> dict[str, Drawn]:
        return unit_worth(values, float(self.model.network.customers.sum()))

    @cached_property
    def _forms(self) -> ClosedForms:
        return ClosedForms(self.model, self.scenarios, self.costs, self._names, self.groups.group, as_built=True,
                           whole=False)

    @property
    def _names(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys((HOURS, *timed_names(self.model.values))))

    @cached_property
    def _forms_without_shares(self) -> ClosedForms:
        """Customer-hours where no device states a share of its own of faults while reclosing is off."""
        network = self.model.network
        if not np.isfinite(network.column[SHARE_KEY]).any():
            return self._forms
        everywhere = network.with_columns({SHARE_KEY: np.full(len(network), np.nan)})
        return ClosedForms(Model(everywhere, self.model.values), self.scenarios, self.costs, (HOURS,),
                           self.groups.group, as_built=True, whole=False)

    def _hours_by_state(self, values: Assumptions) -> tuple[np.ndarray, np.ndarray]:
        """Customer-hours avoided with reclosing on everywhere, and off, (S, G) each."""
        found = np.zeros((2, *self.shape))
        for at, some, form, _ in self._forms_without_shares.of(values_of_trials(values,
                                                                                {SHARE_KEY: np.array([0.0, 1.0])})):
            found[at] = form.amounts(some, {HOURS: 1.0})
        before = found[:, :1]
        hours = np.concatenate([before, before - found[:, 1:]], axis=1)
        on, off = less_than_as_built(hours)
        return on, off

    @cached_property
    def _learned(self) -> _Learned | None:
        """What learned rates add, None without."""
        if self.rates is None:
            return None
        size = self.rates.temporary.shape[1]
        pairs, pair = np.unique(self.groups.group * size + self.rates.unit_of, return_inverse=True)
        forms = ClosedForms(self.model, self.scenarios, self.costs, self._names, pair.ravel(), whole=False)
        to_group = sparse.csr_array((np.ones(len(pairs)), (pairs // size, np.arange(len(pairs)))),
                                    (len(self.groups), len(pairs)))
        return _Learned(forms, _Pairs(pairs % size, to_group))


@dataclass(frozen=True)
class _Pairs:
    """Pairs of group and learned unit, p. unit: (p,) of each. to_group: (groups, p) sums of pairs."""

    unit: np.ndarray
    to_group: sparse.csr_array

    def of(self, groups: np.ndarray) -> tuple[np.ndarray, _Pairs]:
        """(positions of the pairs of some groups, those pairs)."""
        rows = self.to_group[groups]
        own = sparse.csr_array((rows.data, np.arange(rows.nnz), rows.indptr), (len(groups), rows.nnz))
        return rows.indices, _Pairs(self.unit[rows.indices], own)


@dataclass(frozen=True)
class _Learned:
    """Closed forms by pair of group and learned unit."""

    forms: ClosedForms
    pairs: _Pairs


def _of_groups(form: ClosedForm, pairs: _Pairs | None, groups: np.ndarray) -> tuple[ClosedForm, _Pairs | None]:
    """The form of some groups, and whose units its own are."""
    if pairs is None:
        return form.of_units(groups), None
    at, own = pairs.of(groups)
    return form.of_units(at), own
