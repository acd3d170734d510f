"""Factors of units, by hand, and what spans in series become."""

from __future__ import annotations

import pytest

from reliability.intake.units import UNIT_FACTORS, factor
from tests.intake.small import sections, take


@pytest.mark.parametrize(("measure", "unit", "ours"), [
    ("length", "km", 1.0), ("length", "m", 0.001), ("length", "ft", 0.0003048), ("length", "mi", 1.609344),
    ("current", "A", 1.0), ("current", "kA", 1000.0), ("time", "h", 1.0), ("time", "min", 1 / 60),
    ("time", "s", 1 / 3600), ("power", "kW", 1.0), ("power", "MW", 1000.0), ("power", "W", 0.001),
    ("apparent", "kVA", 1.0), ("apparent", "MVA", 1000.0), ("apparent", "VA", 0.001), ("energy", "kWh/yr", 1.0),
    ("energy", "kWh/month", 12.0), ("energy", "MWh/yr", 1000.0), ("energy", "MWh/month", 12_000.0),
    ("rate", "per km", 1.0), ("rate", "per mi", 1 / 1.609344)])
def test_a_unit_in_ours(measure, unit, ours):
    """One per mile is 1/1.609344 per kilometre; the list is whole."""
    assert factor(measure, unit) == pytest.approx(ours, rel=1e-12)
    assert sum(map(len, UNIT_FACTORS.values())) == 21


def test_of_a_merged_line_the_place_nearest_the_source_and_the_likeliest_tie_stay(tmp_path):
    """T1 and T2 are one line; T1 is nearer the source."""
    text = ("segment_id,from_node,to_node,length_m,phases,normal_state,feeder_id,location,tie_probability\n"
            "M1,BUS,N1,1000,ABC,,F1,,\nM2,N1,N2,2000,ABC,,F1,,\nT1,N1,N3,500,A,,F1,Pole 1,0.2\n"
            "T2,N3,N4,300,A,,F1,Pole 2,0.7\n")
    made = sections(take(tmp_path, segments=text, customers=None))
    (row,) = made[made["location"].isin(["Pole 1", "Pole 2"])].to_dict("records")
    assert (row["location"], float(row["tie_probability"])) == ("Pole 1", 0.7)


def test_spans_with_and_without_fault_currents_stay_apart(tmp_path):
    head = "segment_id,from_node,to_node,length_m,phases,feeder_id,fault_current_source_a,fault_current_end_a\n"
    rows = "M1,BUS,N1,1000,ABC,F1,{},{}\nM2,N1,N2,2000,ABC,F1,{},{}\n"
    for folder, currents, apart in (("a", ("", "", "", ""), False), ("b", (4000, 2000, "", ""), True)):
        made = sections(take(tmp_path / folder, segments=head + rows.format(*currents), customers=None, outages=None,
                             devices="device_id,segment_id,device\nB1,M1,breaker\n"))
        assert (len(made) == 2) is apart
