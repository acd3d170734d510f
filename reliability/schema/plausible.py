"""What is usual for a quantity, so that another unit is noticed: milliseconds, minutes, metres, volts, kiloamperes.

Bounds of columns and assumptions say what a number may be; these say what it seldom is. Beyond them a study is read as
it stands, and its reader is asked. All ranges are ours: common practice, no source, and wide, so that an unusual
network passes. What is usual within a range stands beside it.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Plausible:
    """The usual range of a quantity, in its own unit, ends included. other: what is probably meant beyond it."""

    name: str
    low: float
    high: float
    unit: str
    other: str
    reason: str = ""


_MINUTES = "minutes"
_KILOAMPERES = "kiloamperes"
_SHARE = "per cent"


def _hours(name: str, high: float, reason: str) -> Plausible:
    return Plausible(name, 0.05, high, "h", _MINUTES, reason)


def _amperes(name: str, low: float, high: float, reason: str) -> Plausible:
    return Plausible(name, low, high, "A", _KILOAMPERES, reason)


# By name of a column, whose median over the given values above 0 is meant, or of an assumption, whose mean is.
RANGES: dict[str, Plausible] = {p.name: p for p in (
    Plausible("length_km", 0.0005, 20.0, "km", "metres or feet", "a span has 30 to 100 m"),
    Plausible("line_fault_rate_per_km", 0.001, 5.0, "faults/(km·yr)", "faults per 100 km or 100 miles",
              "overhead lines have 0.05 to 1"),
    Plausible("equipment_fault_rate", 1e-5, 5.0, "faults/yr", "faults per 100 years, or of all equipment",
              "a transformer has 0.001 to 0.02"),
    Plausible("load_kw", 0.02, 20_000.0, "kW", "watts or megawatts", "a transformer carries 1 to 100 on average"),
    Plausible("connected_kva", 1.0, 50_000.0, "kVA", "volt-amperes or megavolt-amperes",
              "the smallest transformer has some 5"),
    Plausible("generation_kw", 0.2, 50_000.0, "kW", "watts or megawatts"),
    Plausible("capacitor_kvar", 5.0, 50_000.0, "kvar", "var or Mvar", "banks have 150 to 2 400"),
    _amperes("peak_load_a", 0.05, 2_000.0, "a feeder carries up to some 600"),
    _amperes("fault_current_source_a", 50.0, 60_000.0, "a substation's bus has 2 000 to 20 000"),
    _amperes("fault_current_end_a", 20.0, 60_000.0, "the far end of a rural feeder has 100 and more"),
    _amperes("saving_ceiling_a", 20.0, 30_000.0, "fuse saving ends at some 200 to 5 000"),
    _amperes("rated_current_a", 1.0, 3_000.0, "ratings are 5 to 400"),
    _amperes("actuating_current_a", 1.0, 5_000.0, "1.6 times the rating"),
    _amperes("minimum_trip_a", 5.0, 5_000.0, "twice a recloser's rating, or a relay's pickup"),
    _amperes("pickup_a", 5.0, 5_000.0, "of primary current; a ground element has 20 and more"),
    Plausible("time_s", 0.003, 300.0, "s", "milliseconds or cycles", "curves are drawn from 0.01 to 300"),
    _amperes("current_a", 5.0, 60_000.0, "curves begin at twice a link's rating"),
    Plausible("added_time_s", 0.0, 0.5, "s", "cycles or milliseconds", "a breaker interrupts in 3 to 8 cycles"),
    Plausible("dead_time_s", 0.1, 200.0, "s", "milliseconds or minutes", "0.3 to 60"),
    Plausible("longest_dead_time_s", 0.3, 400.0, "s", "milliseconds or minutes", "5 to 180"),
    Plausible("system_kv", 2.0, 70.0, "kV", "volts", "distribution has 4 to 35"),
    Plausible("bil_kv", 30.0, 400.0, "kV", "volts", "95 to 200 at 15 to 35 kV"),
    _hours("repair_hours", 48.0, "1 to 12; the replacement of one transformer may take days"),
    _hours("switching_hours", 12.0, "0.02 where it is remote, up to 3 by a crew"),
    _hours("refuse_hours", 24.0, "0.5 to 4"), _hours("reset_hours", 24.0, "0.5 to 4"),
    _hours("patrol_hours", 24.0, "0.5 to 6"), _hours("patrol_reclosing_off_hours", 48.0, "1 to 12"),
    _hours("refuse_crew_hours", 48.0, "1 to 6"), _hours("reset_crew_hours", 48.0, "1 to 6"),
    _hours("patrol_crew_hours", 48.0, "1 to 12"), _hours("repair_crew_hours", 200.0, "2 to 40"),
    Plausible("fast_clearing_time_s", 0.01, 1.0, "s", "cycles", "2 to 8 cycles are 0.03 to 0.13"),
    Plausible("fuse_arcing_time_s", 0.001, 0.1, "s", "cycles or milliseconds", "half a cycle to two"),
    Plausible("delayed_clearing_time_s", 0.05, 30.0, "s", "cycles or milliseconds", "0.3 to 5"),
    Plausible("recognition_s", 0.01, 2.0, "s", "cycles", "some cycles"),
    Plausible("drop_out_s", 0.01, 2.0, "s", "cycles", "some cycles"),
    Plausible("memory_s", 2.0, 400.0, "s", "minutes", "25 to 120"),
    Plausible("momentary_withstand_a", 500.0, 200_000.0, "A", _KILOAMPERES, "4 000 to 40 000"),
    Plausible("short_time_withstand_a", 500.0, 100_000.0, "A", _KILOAMPERES, "2 000 to 20 000"),
    Plausible("device_bil_kv", 30.0, 400.0, "kV", "volts", "95 to 170"),
    Plausible("fuse_failure", 0.0, 0.3, "0–1", _SHARE, "a device that fails three times of ten is none"),
    Plausible("sectionalizer_failure", 0.0, 0.3, "0–1", _SHARE, "a device that fails three times of ten is none"),
    Plausible("wrong_link_share", 0.0, 0.5, "0–1", _SHARE),
    Plausible("temporary_fraction", 0.02, 0.99, "0–1", _SHARE, "overhead lines have 0.5 to 0.9, cables some 0.05"),
    Plausible("discount_rate", -0.05, 0.3, "per year", _SHARE, "0.03 to 0.12"),
    Plausible("escalation_rate", -0.1, 0.2, "per year", _SHARE, "0 to 0.05"),
    Plausible("equity_rate", 0.0, 0.3, "per year", _SHARE, "0.08 to 0.12"),
    Plausible("debt_rate", 0.0, 0.3, "per year", _SHARE, "0.03 to 0.08"),
    Plausible("benchmark_saidi_min", 5.0, 5_000.0, "min/yr", "hours or seconds", "30 to 500"),
    Plausible("benchmark_caidi_min", 10.0, 2_000.0, "min", "hours or seconds", "60 to 200"),
    Plausible("faults_observed", 1.0, 500.0, "faults", "a calendar year", "a lateral has 0 to 20 in ten years"),
    Plausible("years_observed", 0.2, 50.0, "yr", "months or a calendar year", "records go back 3 to 20 years"),
)}

# Totals and ratios of a study: of each feeder, or over all of it.
FEEDER_KM = Plausible("length of a feeder", 0.02, 2_000.0, "km", "metres or feet", "a long rural feeder has some 300")
FEEDER_CUSTOMERS = Plausible("customers of a feeder", 0.0, 40_000.0, "customers", "another count",
                             "a feeder serves 100 to 5 000")
FEEDER_KW = Plausible("load of a feeder", 0.0, 80_000.0, "kW", "watts", "a feeder carries up to some 30 000")
KW_A_CUSTOMER = Plausible("load a customer", 0.05, 100.0, "kW", "watts or megawatts",
                          "a household takes 0.5 to 2 on average, a town with industry some 5")
KVA_A_CUSTOMER = Plausible("connected kVA a customer", 0.05, 1_000.0, "kVA", "volt-amperes or megavolt-amperes",
                           "2 to 50, with industry more")
BIL_OVER_VOLTAGE = Plausible("basic insulation level over system voltage", 1.5, 40.0, "×", "volts",
                             "95 kV at 12.47 kV is 7.6")
SERVED_OVER_CUSTOMERS = Plausible("customers served in a year over those of the sections", 0.2, 5.0, "×",
                                  "thousands, or of another area", "about 1")
DEFINITE_S = Plausible("time_dial", 0.0, 30.0, "s", "milliseconds or cycles", "a definite time has 0.02 to 5")
DIAL = Plausible("time_dial", 0.005, 30.0, "×", "per cent, or on another scale", "dials have 0.05 to 15")
# Faults in a horizon: fifty times those of 50 000 km, 0.2 a km and year, in 20 years; our choice.
MOST_FAULTS = 1e7
MOST_STEPS = 1_000.0    # of a counter in a year; a recloser makes some 5 to 200
# Columns whose single cells are not asked about: short and long sections are (`study/notes.py`), a share of 1 is usual.
ANY_CELL = ("length_km", "temporary_fraction")
