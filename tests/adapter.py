"""The package's closed form in the shape that the enumeration gives, and how the two are compared."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np

from reliability.indices.expected import system_indices
from reliability.pipeline import expect
from reliability.report.numbers import none_for_nan
from reliability.study.study import Study


def core_results(study: Study) -> dict[str, dict]:
    """Expected results by scenario name, keys and units as tests/enumeration.py states them."""
    results = expect(study)
    return {scenario.name: _result(results, one) for scenario, one in
            zip(study.scenarios, results.expected, strict=True)}


def _result(results, one) -> dict:
    network = results.network
    system = none_for_nan(system_indices(one, results.study.values["yearly_cv"]))
    system["cemi"] = {int(n): share for n, share in system["cemi"].items()}
    names = [str(i) for i in network.ids]
    sections = {name: {"failure_rate": rate, "outage_hours": hours} for name, rate, hours in
                zip(names, one.failure_rate, one.outage_hours, strict=True)}
    on_lateral = network.lateral >= 0
    sums = {key: np.bincount(network.lateral[on_lateral], caused[on_lateral], len(network)) for key, caused in (
        ("customer_interruptions", one.fault_ci), ("customer_hours", one.fault_customer_hours),
        ("momentary_events", one.fault_momentary_events))}
    heads = np.flatnonzero(network.lateral == np.arange(len(network)))
    laterals = {names[head]: {key: values[head] for key, values in sums.items()} for head in heads}
    return system | {"sections": sections, "laterals": laterals}


def differences(found: Mapping, wanted: Mapping, relative: float = 1e-9, absolute: float = 1e-10,
                ignored: tuple[str, ...] = ()) -> list[str]:
    """Every figure of `wanted` that `found` lacks or has otherwise, as "key/key: found, wanted"."""
    return list(_differences(found, wanted, relative, absolute, ignored, ""))


def _differences(found, wanted, relative, absolute, ignored, path) -> Iterator[str]:
    for key, value in wanted.items():
        here = f"{path}/{key}"
        if key in ignored:
            continue
        if key not in found:
            yield f"{here}: missing"
        elif isinstance(value, Mapping):
            yield from _differences(found[key], value, relative, absolute, ignored, here)
        elif value is None or found[key] is None:
            if value is not found[key]:
                yield f"{here}: {found[key]}, {value}"
        elif not math.isclose(found[key], value, rel_tol=relative, abs_tol=absolute):
            yield f"{here}: {found[key]!r}, {value!r}"
