"""Will a sectionalizer work there: every lateral checked, with the evidence and one verdict.

A planning estimate that sorts laterals, not a coordination study: settings are verified
against the time-current curves of the devices before anything is installed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from reliability.formats import percent, shown
from reliability.network.application_catalogue import FAIL, PASS, REVIEW, UNKNOWN, VERDICTS, WHOLE_NUMBERS, Check, worst
from reliability.network.application_fuse import existing_ceilings_a, fuse_checks, outraced_inside
from reliability.network.application_proposal import Proposal, propose
from reliability.network.application_reach import Reach, reach, unseen_share
from reliability.network.application_rules import device_checks
from reliability.network.application_site import site_checks
from reliability.network.conversions import conversions
from reliability.network.devices import COUNTS, MELTS
from reliability.network.model import Model
from reliability.network.place_names import field_columns
from reliability.network.protection import Protection, protection
from reliability.network.tree import Network
from reliability.schema.devices import SECTIONALIZER
from reliability.schema.scenarios import Scenario
from reliability.schema.values import Assumptions

LARGER, SMALLER, NO_LINK = "larger than asked", "smaller than asked", "where no link of its kind serves"


@dataclass(frozen=True)
class ApplicationChecks:
    """What the checks say of m laterals under one scenario, arrays (m,) in the order of their heads.

    network: n sections. values: assumptions by key that they were made at. proposal: heads, backups, settings.
    unseen_share: 0 to 1 of the faults that the device answers for, NaN where unknown. ceiling_a: saving ceiling of
    the existing fuse, NaN where unknown. checks: one entry a check. verdict: index into
    VERDICTS, the worst of the checks that decide: fail over unknown over review over pass.
    applicable: bool, whether the scenario's device can go there with the scenario's settings.
    """

    network: Network
    values: Assumptions
    scenario: Scenario
    proposal: Proposal
    unseen_share: np.ndarray
    ceiling_a: np.ndarray
    checks: tuple[Check, ...]
    verdict: np.ndarray
    applicable: np.ndarray

    def __len__(self) -> int:
        return len(self.proposal.head)

    @property
    def lateral_ids(self) -> np.ndarray:
        """section_id of each lateral's head, (m,) text."""
        return self.network.ids[self.proposal.head].astype(str)

    def check(self, key: str) -> Check:
        """The check of that key; KeyError where there is none."""
        return {check.kind.key: check for check in self.checks}[key]


@dataclass(frozen=True)
class Standing:
    """What checks of the laterals of a network have in common, whatever is proposed: what stands there today.

    outraced: (m,) whether a delayed operation of the backup clears before a fuse in the lateral melts.
    """

    stretch: Reach
    ceilings_a: np.ndarray
    as_built: Protection
    fuse: tuple[Check, ...]
    outraced: np.ndarray


def standing_today(model: Model) -> Standing:
    """What `check_laterals` finds of a network as built."""
    as_built = protection(model)
    return Standing(reach(model), existing_ceilings_a(model, as_built), as_built, fuse_checks(model, as_built),
                    outraced_inside(model, as_built))


def check_laterals(model: Model, scenario: Scenario, counts: np.ndarray | None = None,
                   fast_operations: np.ndarray | None = None, standing: Standing | None = None) -> ApplicationChecks:
    """Check a sectionalizer at the head of every lateral of the network.

    values: every assumption by key. scenario: its counts are checked where it sets them, and
    its `fast_operations` stand on the backups; which laterals it converts does not matter.
    counts, fast_operations of the backup: (m,), lateral by lateral, in place of the scenario's
    where they are not NaN. A lateral that already has a sectionalizer is checked with the
    settings that it states. standing: of the model, where it is known already.

    A lateral is applicable unless a check fails or its backup does not admit the counts of the
    scenario; unknown and review leave the decision to whoever reads them. The checks are those
    of a sectionalizer, so a scenario of another device finds every lateral applicable.
    """
    network, values = model.network, model.values
    if counts is None and isinstance(scenario.laterals, Mapping):
        counts = counts_asked(network, scenario)
    proposal, today = propose(model, scenario, counts, fast_operations), standing or standing_today(model)
    checks = (*device_checks(model, proposal, today.stretch, today.outraced),
              *site_checks(model, proposal, today.as_built), *today.fuse)
    verdict = worst(checks)
    # the counts that the model would use may be more than the backup admits where the proposed ones are not
    admitted = ~(proposal.counts_in_model > proposal.most_counts)
    other_device = scenario.device not in (None, SECTIONALIZER)
    applicable = ((verdict != FAIL) & admitted) | other_device
    return ApplicationChecks(network, values, scenario, proposal, unseen_share(today.stretch, proposal.actuating_a),
                             today.ceilings_a, checks, verdict, applicable)


def settle_scenarios(model: Model,
                     scenarios: Sequence[Scenario]) -> tuple[Scenario, ...]:
    """The scenarios with the laterals of each that is `applicable_only` named: those that are applicable.

    Decided once, at `values`: whoever then draws or moves an assumption varies what happens on
    the laterals converted, not which ones are.
    """
    return tuple(_settled(model, s) if s.applicable_only else s for s in scenarios)


def _settled(model: Model, scenario: Scenario) -> Scenario:
    network, asked = model.network, conversions(model.network, scenario)
    checks = check_laterals(model, replace(scenario, device=SECTIONALIZER), counts_asked(network, scenario))
    fit = np.isin(asked.head, checks.proposal.head[checks.applicable]) | ~COUNTS[asked.device]
    names = network.ids[asked.head[fit]].astype(str).tolist()
    kept = {name: scenario.laterals[name] for name in names} if isinstance(scenario.laterals, Mapping) else tuple(names)
    return replace(scenario, laterals=kept, applicable_only=False)


def counts_asked(network: Network, scenario: Scenario) -> np.ndarray:
    """Counts that a scenario states for each lateral, NaN for none, (m,)."""
    asked, counts = conversions(network, scenario), np.full(len(network.candidates), np.nan)
    counts[np.searchsorted(network.candidates, asked.head)] = asked.counts
    return counts


def application_frame(checks: ApplicationChecks) -> pd.DataFrame:
    """application.csv: a row a lateral, its settings, and the verdict of each check by key."""
    settings = checks.proposal
    names = np.array(VERDICTS, dtype=object)
    return pd.DataFrame({
        "lateral_id": checks.lateral_ids,
        **field_columns(checks.network.text, settings.head),
        "verdict": names[checks.verdict],
        "rated_current_a": settings.rated_a,
        "counts": pd.array(settings.counts, dtype="Int64"),
        "counts_in_model": pd.array(settings.counts_in_model, dtype="Int64"),
        "actuating_current_a": settings.actuating_a,
        "unseen_share": checks.unseen_share,
        **{check.kind.key: names[check.verdict] for check in checks.checks},
        "not_passed": open_points(checks),
    })


def wrong_links(checks: ApplicationChecks) -> pd.DataFrame:
    """Laterals whose fuse holds another link than coordination asks for, as the study stands: a row each.

    Columns lateral_id, fuse_link, rating_a, asked_a (NaN where no link of the kind does), finding. Beside the
    assumption `wrong_link_share`, which stands for errors that no record shows.
    """
    check = checks.check("fuse_coordination")
    at = np.flatnonzero(check.verdict == REVIEW)
    rating, asked = check.value[at], check.limit[at]
    finding = np.where(np.isnan(asked), NO_LINK, np.where(rating > asked, LARGER, SMALLER))
    return pd.DataFrame({"lateral_id": checks.lateral_ids[at], "rating_a": rating, "asked_a": asked,
                         "fuse_link": checks.network.text["fuse_link"][checks.proposal.head[at]],
                         "finding": finding})[["lateral_id", "fuse_link", "rating_a", "asked_a", "finding"]]


def wrong_links_said(checks: ApplicationChecks) -> str:
    """How many fuses hold a wrong link, of those for which it can be decided, and the share the study assumes."""
    found = wrong_links(checks)["finding"]
    fused = MELTS[checks.network.device[checks.proposal.head]]
    judged = int((fused & (checks.check("fuse_coordination").verdict != UNKNOWN)).sum())
    parts = ", ".join(f"{int((found == finding).sum()):,} {finding}" for finding in (LARGER, SMALLER, NO_LINK))
    return (f"{len(found):,} of {judged:,} fuses at the heads of laterals hold another link than coordination at the "
            f"tap asks for ({parts}), as the sections have them; beside these the study assumes "
            f"{percent(checks.values['wrong_link_share'])} of all fuses to hold the next larger link by error")


def evidence_frame(checks: ApplicationChecks, lateral_ids: np.ndarray | list[str] | None = None) -> pd.DataFrame:
    """The evidence, a row a lateral and check: label, value, unit, limit, margin, verdict, reason.

    lateral_ids: those wanted, in the network's order; None means all.
    """
    at = np.arange(len(checks))
    if lateral_ids is not None:
        at = np.flatnonzero(np.isin(checks.lateral_ids, np.asarray(lateral_ids, dtype=str)))
    names, ids = np.array(VERDICTS, dtype=object), checks.lateral_ids[at]
    parts = [pd.DataFrame({
        "lateral_id": ids, "check": check.kind.key, "label": check.kind.label,
        "value": check.value[at], "unit": check.kind.unit, "limit": check.limit[at],
        "margin": np.where(np.isfinite(check.margin[at]), check.margin[at], np.nan),
        "verdict": names[check.verdict[at]], "reason": check.reason[at], "decides": check.kind.decides,
    }, index=at) for check in checks.checks]
    # by lateral, and within one in the order of the checks
    return pd.concat(parts).sort_index(kind="stable").reset_index(drop=True)


def spare_counts(evidence: pd.DataFrame) -> np.ndarray:
    """How many counts are to spare in each row of `evidence_frame`, (r,): 0 where the limit is just met, negative where
    some are missing, NaN of what is not counted.
    """
    apart = np.abs(evidence["value"].to_numpy(dtype=float) - evidence["limit"].to_numpy(dtype=float))
    inside = evidence["margin"].to_numpy(dtype=float) >= 1.0
    return np.where(evidence["unit"].eq(WHOLE_NUMBERS), np.where(inside, apart, -apart), np.nan)


def open_points(checks: ApplicationChecks) -> np.ndarray:
    """Labels of the checks that a lateral does not pass, (m,) text, "; " between."""
    return _labels(checks, np.array([check.verdict != PASS for check in checks.checks]))


def failed_checks(checks: ApplicationChecks) -> np.ndarray:
    """Labels of the checks that decide and that a lateral fails, (m,) text, "; " between."""
    return _labels(checks, np.array([(check.verdict == FAIL) & check.kind.decides for check in checks.checks]))


def _labels(checks: ApplicationChecks, missed: np.ndarray) -> np.ndarray:
    """Labels of the checks where `missed`, (checks, m)."""
    # few combinations are met, and each has one text
    _, first, combination = np.unique(2 ** np.arange(len(missed)) @ missed, return_index=True, return_inverse=True)
    texts = ["; ".join(check.kind.label for check, m in zip(checks.checks, missed[:, k], strict=True) if m)
             for k in first]
    return np.array(texts, dtype=object)[combination]


def verdicts_said(checks: ApplicationChecks) -> str:
    """How many laterals get each verdict, in words."""
    numbers = np.bincount(checks.verdict, minlength=len(VERDICTS))
    return ", ".join(f"{shown(n, 'count')} {verdict}" for verdict, n in zip(VERDICTS, numbers, strict=True))


def verdict_counts(checks: ApplicationChecks) -> pd.DataFrame:
    """How many laterals get each verdict, a row a check (index: key) and a column a verdict; with label."""
    counts = [np.bincount(check.verdict, minlength=len(VERDICTS)) for check in checks.checks]
    frame = pd.DataFrame(counts, columns=list(VERDICTS), index=[check.kind.key for check in checks.checks])
    frame.insert(0, "label", [check.kind.label for check in checks.checks])
    return frame
