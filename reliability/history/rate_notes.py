"""What a reader of learned rates should know, in sentences."""

from __future__ import annotations

import numpy as np

from reliability.formats import count, shown
from reliability.history.device_events import momentary_without_place
from reliability.history.device_fit import COUNTER_FIT, DeviceFit
from reliability.history.estimate import UP_AND_DOWN, Estimate
from reliability.history.evidence import recorded_at_devices
from reliability.history.outages import Records
from reliability.history.units import Units
from reliability.network.tree import Network
from reliability.study.study import Study

FEW_UNITS = 10
UNITS_NAMED = 6


def certainty_notes(study: Study, learned: int) -> list[str]:
    """How the uncertainty of learned values enters; learned: sections with a learned value."""
    notes = ["Each trial of the simulation takes one joint draw of the learned rates; expected values take their "
             "means."]
    if "line_fault_rate_per_km" in study.uncertain and learned:
        notes.append(f"The range of faults.line_fault_rate_per_km has no effect on the {shown(learned, 'count')} of "
                     f"{count(len(study.network), 'section')} whose value is learned.")
    return notes


def notes_on(study: Study, units: Units, estimate: Estimate, records: Records | None) -> tuple[str, ...]:
    """Sentences on learned rates."""
    found = estimate.found
    e, network = found.evidence, study.network
    notes = [*_basis(estimate, units),
             "90 % intervals cover the truth on average over laterals, not for the laterals with the highest rates.",
             "A lateral's own temporary fraction cannot be told from records, only that of its group."]
    left = np.isfinite(network.column["faults_observed"]) & recorded_at_devices(units, network)[units.of_section]
    if records and left.any():
        notes.append(f"faults_observed of {count(int(left.sum()), 'section')} whose faults open a reclosing device: "
                     "left out, as the outage records have them at that device.")
    if found.without_place and not e.at_unit.sum() + e.at_device.sum():
        notes.append(f"{count(found.without_place, 'sustained event')} and none at a known section: where faults were "
                     "is not known, and the learned rates are those of records without any.")
    elif found.without_place:
        notes.append(f"{count(found.without_place, 'sustained event')} without a known section: they are taken to be "
                     "spread like the others, so that all learned rates are higher by their share.")
    lost, of = momentary_without_place(records) if records else (0, 0)
    if lost and e.events.any():
        notes.append(f"Momentary events of the outage records without a known section: {lost} of {of}. They are taken "
                     "to be spread like the others there, so that all reclosing devices without a log of their own "
                     "have more by their share.")
    if len(found.impossible):
        notes.append("Faults are recorded of a kind that protection as modelled would not let leave a record at "
                     f"{_named(units.name[found.impossible], network)}: 1 % of that kind is taken to do so there. "
                     "Check the settings, fuse links and fault currents there.")
    notes += [f"{name}: {reason} Its records of momentary events are left out of the estimate."
              for name, reason in misfits(estimate.fit, network)]
    notes += _clearing_notes(estimate)
    idle = int((e.exposure <= 0).sum())
    if idle:
        notes.append(f"Laterals or mains without length or observation, which keep the study's rate: {idle}.")
    if records and records.settings.conversions:
        notes.append("Converted laterals are taken as protected by what stood there until their conversion.")
    if records and records.partial:
        notes.append("Years covered in part: " + "; ".join(f"{y} {w}" for y, w in records.partial.items()) + ".")
    if (np.bincount(units.group) < FEW_UNITS).any():
        notes.append(f"A group of fewer than {FEW_UNITS} laterals or mains says little about its spread: its rates are "
                     "rough.")
    return tuple(notes)


def _basis(estimate: Estimate, units: Units) -> list[str]:
    """What was learned from, and what could not be."""
    e = estimate.found.evidence
    faults, events, steps = e.at_unit.sum() + e.stated.sum() + e.at_device.sum(), e.events.sum(), e.steps.sum()
    also = [count(round(events), "momentary event")] if events else []
    also += [f"{count(round(steps), 'counted opening')} of reclosing devices"] if steps else []
    notes = [f"Fault rates are learned from {count(round(faults), 'recorded fault')}"
             f"{' and ' + ' and '.join(also) if also else ''} on {len(units)} laterals and mains. Faults that "
             "protection rides through leave no record at a lateral; the model of protection says how many, and they "
             "are included."]
    if not also:
        notes.append("No momentary event or counter reading is there to tell how many faults protection rides through: "
                     "on the mains, and on laterals under fuse saving, the number of temporary faults rests on the "
                     "model of protection and on the assumed range of the temporary fraction.")
    return notes


def _clearing_notes(estimate: Estimate) -> list[str]:
    notes = []
    if estimate.spans:
        low, high = (f"{estimate.spans[f]:.2f} at {f:.0%} of it" for f in UP_AND_DOWN)
        notes.append(f"The temporary fraction of all faults depends on the fast clearing time: "
                     f"{estimate.spans[1.0]:.2f} as modelled, {low}, {high}.")
    if estimate.clearing is not None and estimate.clearing.best != 1.0:
        notes.append(f"The records fit a fast clearing time of {estimate.clearing.best:.2g} times the modelled one "
                     "better: check faults by fuse and the settings of the fast operations.")
    return notes


def misfits(fit: DeviceFit, network: Network) -> list[tuple[str, str]]:
    """Name of each device that does not fit, and the likely reason as a sentence."""
    found = []
    table = fit.table[~fit.table["fits"]]
    for device, what, total, recorded, predicted in zip(*(table[name].tolist() for name in (
            "device", "what", "total", "recorded", "predicted")), strict=True):
        number = f"{recorded:.0f} recorded faults with nothing left open where {predicted:.0f} are predicted"
        found.append((str(network.names[device]), f"{number}; {_likely_reason(what, total, recorded, predicted)}."))
    return found


def _likely_reason(what: str, total: float, recorded: float, predicted: float) -> str:
    if what == COUNTER_FIT:
        return ("the counter may count twice, or tests and faults of another device" if recorded > predicted else
                "readings may be missing, or the counter may have been replaced")
    if total == 0.0:
        return "its momentary events may not be recorded at all"
    if recorded < predicted:
        return "its log may stop or have gaps, or it may open less often than modelled"
    return "it may open more often than modelled, or the faults behind it are more than its records show"


def _named(ids: np.ndarray, network: Network) -> str:
    names = [network.name_by_id.get(str(i), str(i)) for i in ids]
    more = f" and {len(names) - UNITS_NAMED} others" if len(names) > UNITS_NAMED else ""
    return ", ".join(names[:UNITS_NAMED]) + more
