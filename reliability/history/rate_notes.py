"""What a reader of learned rates should know, in sentences."""

from __future__ import annotations

import numpy as np

from reliability.formats import count
from reliability.history.evidence import Found
from reliability.history.operations import Operations
from reliability.history.outages import Records
from reliability.history.posterior import Posterior
from reliability.history.units import Units
from reliability.study.record_settings import RecordSettings
from reliability.study.study import Study

FEW_UNITS = 10
NAMED = 6


def certainty_notes(study: Study, learned: int) -> list[str]:
    """How the uncertainty of learned values enters; learned: sections with a learned value."""
    notes = ["Each trial of the simulation takes one joint draw of the learned rates; expected values take their means."]
    return notes + [f"The range of faults.{key} has no effect on the {learned} of {len(study.network)} sections whose "
                    "value is learned." for key in ("line_fault_rate_per_km",) if key in study.uncertain and learned]


def notes_on(study: Study, units: Units, found: Found, posterior: Posterior, records: Records | None,
             operations: Operations | None, settings: RecordSettings) -> tuple[str, ...]:
    """Sentences on learned rates."""
    e = found.evidence
    faults = e.at_unit.sum() + e.stated.sum() + e.at_device.sum()
    events, steps = e.events.sum(), e.steps.sum()
    also = [count(round(events), "momentary event")] if events else []
    also += [f"{count(round(steps), 'counted opening')} of reclosing devices"] if steps else []
    notes = [f"Fault rates are learned from {count(round(faults), 'recorded fault')}"
             f"{' and ' + ' and '.join(also) if also else ''} on {len(units)} laterals and mains. Faults that protection "
             "rides through leave no record at a lateral; the model of protection says how many, and they are included.",
             "90 % intervals cover the truth on average over laterals, not for the laterals with the highest rates.",
             "A lateral's own temporary fraction cannot be told from records, only that of its group."]
    if found.without_place:
        notes.append(f"{count(found.without_place, 'sustained event')} without a known section could not be used: "
                     "learned rates are too low by their share.")
    if len(found.impossible):
        names = ", ".join(str(n) for n in units.name[found.impossible[:NAMED]])
        more = f" and {len(found.impossible) - NAMED} others" if len(found.impossible) > NAMED else ""
        notes.append("Faults are recorded of a kind that protection as modelled would not let leave a record at "
                     f"{names}{more}: 1 % of that kind is taken to do so there. Check the settings, fuse links and "
                     "fault currents there.")
    idle = int((e.exposure <= 0).sum())
    if idle:
        notes.append(f"Laterals or mains without length or observation, which keep the study's rate: {idle}.")
    if settings.conversions:
        notes.append("Converted laterals are taken as protected by what stood there until their conversion.")
    if records and records.partial:
        notes.append("Years covered in part: " + "; ".join(f"{y} {w}" for y, w in records.partial.items()) + ".")
    if (np.bincount(units.group) < FEW_UNITS).any():
        notes.append(f"A group of fewer than {FEW_UNITS} laterals or mains says little about its spread: its rates are "
                     "rough.")
    return tuple(notes)
