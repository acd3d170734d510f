"""What study.toml asks of the network: scenarios, and laterals whose conversion is settled beforehand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from reliability.network.conversions import named_heads
from reliability.network.devices import BACKS_UP
from reliability.network.protection import counts_too_many, most_counts, protection
from reliability.network.tree import Network
from reliability.schema.nearest import Names
from reliability.schema.problems import or_less
from reliability.schema.scenarios import AS_BUILT, FORCED_IN, FORCED_OUT, Scenario
from reliability.study.toml import Toml

SHOWN = 5  # laterals of one scenario with too many counts


def check_scenarios(toml: Toml, scenarios: tuple[Scenario, ...], ids: list[str], network: Network | None,
                    values: Mapping[str, object]) -> None:
    """Note what the scenarios ask of a network that it cannot do.

    ids: section_id of each record; network: None where the sections have problems of their own: then only
    laterals that are no section at all are noted.
    """
    known = set(ids)
    heads = known if network is None else set(network.ids[network.lateral_heads].astype(str))
    names = Names(sorted(heads))
    for path, scenario in _placed(toml, scenarios):
        named = _check_laterals(toml, path, scenario, known, heads, names)
        if network is None:
            continue
        _check_fast(toml, path, scenario, network, values)
        if scenario.device is not None and named:
            _check_counts(toml, path, scenario, network, values)


def _placed(toml: Toml, scenarios: tuple[Scenario, ...]):
    """Each scenario that the file gives, with its path there."""
    entries = toml.data.get("scenarios", [])
    paths = {str(e.get("name", "")).strip(): f"scenarios[{k}]" for k, e in enumerate(entries, 1) if isinstance(e, dict)}
    return [(paths[s.name], s) for s in scenarios if s.name in paths and s.name != AS_BUILT]


def _check_laterals(toml: Toml, path: str, scenario: Scenario, known: set[str], heads: set[str],
                    names: Names) -> bool:
    """Whether every lateral named is one."""
    wrong = [section for section in scenario.laterals or () if section not in heads]
    for section in wrong:
        if section not in known:
            toml.wrong(f"{path}.laterals", section, "no section has this id",
                       names.suggest(section, "write the section_id at the head of a lateral"))
        else:
            toml.wrong(f"{path}.laterals", section, "this section is not the head of a lateral",
                       "write a section headed by a fuse, sectionalizer or lateral_recloser with none of them above")
    return not wrong


def _check_counts(toml: Toml, path: str, scenario: Scenario, network: Network, values: Mapping[str, object]) -> None:
    after = protection(network, values, replace(scenario, applicable_only=False))
    broken = counts_too_many(after)
    if scenario.applicable_only:  # a lateral that cannot take the device then stays as it is
        broken = np.setdiff1d(broken, named_heads(network, scenario))
    broken = broken[np.argsort(network.row[broken], kind="stable")]
    key = f"{path}.counts" if scenario.counts else f"{path}.device"
    for i in broken[:SHOWN]:
        section, behind, most = network.ids[i], network.ids[after.backup[i]], int(most_counts(after)[i])
        toml.wrong(key, section, f"{after.counts[i]:g} counts at section {section} are above operations to lockout − 1 "
                                 f"of the device above it, {behind} ({most + 1})",
                   f"set counts to {or_less(most)}" if most else
                   "a sectionalizer needs a device above it that recloses: leave this lateral out")
    if len(broken) > SHOWN:
        toml.wrong(key, scenario.name, f"{len(broken) - SHOWN} more laterals have too many counts",
                   "lower counts, or list the laterals that can take them")


def _check_fast(toml: Toml, path: str, scenario: Scenario, network: Network, values: Mapping[str, object]) -> None:
    fast = scenario.fast_operations
    if fast is None:
        return
    as_built = protection(network, values)
    broken = np.flatnonzero(BACKS_UP[network.device] & (as_built.lockout <= fast))
    if len(broken):
        i = broken[np.argmin(network.row[broken])]
        more = f" and {len(broken) - 1} more" if len(broken) > 1 else ""
        toml.wrong(f"{path}.fast_operations", fast,
                   f"must be below operations to lockout of section {network.ids[i]} ({as_built.lockout[i]}){more}",
                   f"write {or_less(int(as_built.lockout[broken].min()) - 1)}")


def check_settled_laterals(toml: Toml, settled: Mapping[str, object], network: Network) -> None:
    """Note laterals of [choice.laterals] that are none, or neither forced in nor forced out."""
    heads = set(network.ids[network.lateral_heads].astype(str))
    names = Names(sorted(heads))
    for name, word in settled.items():
        path = f"choice.laterals.{name}"
        if word not in (FORCED_IN, FORCED_OUT):
            toml.wrong(path, word, 'a lateral is settled "in" or "out"', 'write "in" or "out"')
        if name not in heads:
            toml.wrong(path, name, "no lateral is headed by this section",
                       names.suggest(name, "name a lateral's head"))
