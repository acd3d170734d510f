"""Large radial networks for the benchmarks: feeders of fifty sections, mains, taps and sub-laterals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from reliability.network.tree import build_network
from reliability.schema.assumptions import defaults
from reliability.schema.columns import SECTIONS
from reliability.schema.scenarios import AS_BUILT, Scenario
from reliability.study.study import Study

PER_FEEDER, MAIN, TAPS = 50, 10, 30
LINKS = ("10K", "25K", "40K", "65K", "80T")
SETTINGS = 40  # distinct settings of breakers and reclosers
SCENARIOS = (Scenario(AS_BUILT), Scenario("Sectionalizers", None, "sectionalizer", 2),
             Scenario("Lateral reclosers", None, "lateral_recloser"))


def with_settings(study: Study, seed: int = 0) -> Study:
    """The study with overcurrent settings of two elements on every breaker and recloser, links, and reclosing off.

    A twentieth of the faults finds reclosing off, everywhere; some customers are three-phase.
    """
    rng, sections = np.random.default_rng(seed), study.sections
    device = sections["device"].to_numpy()
    reclosing = sections.loc[np.isin(device, ["breaker", "recloser"]), "section_id"].to_numpy()
    kind = rng.integers(SETTINGS, size=len(reclosing))
    rows = []
    for element, pickup in (("phase", 400.0), ("ground", 150.0)):
        for operation, curve, dial in (("fast", "ieee_very_inverse", 0.1), ("delayed", "ieee_extremely_inverse", 1.5)):
            rows.append(pd.DataFrame({
                "section_id": reclosing, "element": element, "operation": operation, "pickup_a": pickup + 2.0 * kind,
                "curve": curve, "time_dial": dial * (1.0 + kind / SETTINGS), "added_time_s": 0.05}))
    settings = pd.concat(rows, ignore_index=True)
    fused = device == "fuse"
    sections = sections.assign(
        fuse_link=np.where(fused, rng.choice(LINKS, len(device)), ""), saving_ceiling_a=np.nan,
        customers_three_phase=(sections["customers"] * rng.choice([0.0, 0.1], len(device))).round())
    return replace(study, sections=sections, settings=settings, network=build_network(sections, settings=settings),
                   values=study.values | {"reclosing_off_share": 0.05})


def synthetic_study(sections: int, seed: int = 0) -> Study:
    """A study of so many sections (a multiple of 50) and three scenarios."""
    rng, i = np.random.default_rng(seed), np.arange(sections)
    place, feeder = i % PER_FEEDER, i // PER_FEEDER
    text = {c.name: np.full(sections, "", dtype=object) for c in SECTIONS if c.kind == "text"}
    frame = pd.DataFrame({c.name: text.get(c.name, np.full(sections, np.nan)) for c in SECTIONS})
    parent = np.where(place < MAIN, i - 1,
                      np.where(place < MAIN + TAPS, feeder * PER_FEEDER + rng.integers(0, MAIN, sections),
                               feeder * PER_FEEDER + rng.integers(MAIN, MAIN + TAPS, sections)))
    names = np.array([f"s{j}" for j in i], dtype=object)
    on_main = place < MAIN
    devices = np.select([place == 0, place == 5, on_main & (place % 3 == 0), place >= MAIN],
                        ["breaker", "recloser", "switch", "fuse"], "")
    customers = rng.integers(0, 60, sections).astype(float)
    frame = frame.assign(
        section_id=names, parent_id=np.where(place == 0, "", names[parent]), device=devices,
        feeder_id=[f"f{j}" for j in feeder], length_km=rng.uniform(0.1, 2.0, sections).round(3),
        customers=customers, customers_residential=customers, customers_small_ci=0.0, customers_large_ci=0.0,
        load_kw=2.0 * customers, peak_load_a=20.0, phases=np.where(on_main, 3.0, 1.0), equipment_fault_rate=0.0,
        fault_current_source_a=np.where(on_main, 4000.0, 2500.0), fault_current_end_a=np.where(on_main, 2500.0, 1000.0),
        saving_ceiling_a=np.where(place >= MAIN, 1500.0, np.nan), tie_probability=0.0)
    return Study("synthetic", "USD", frame, build_network(frame), defaults() | {"trials": None}, scenarios=SCENARIOS)
