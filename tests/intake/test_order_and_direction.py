"""The order of rows and the direction in which a line is drawn mean nothing."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest

from reliability.intake import import_exports
from tests.intake.small import SEGMENTS, sections, take

CABLE = "C1,N2,N5,300,A,,F1,underground,south\n"


def spans() -> list[str]:
    lines = SEGMENTS.splitlines()
    return [lines[0] + ",construction,area", *(f"{line},overhead,north" for line in lines[1:]), CABLE.strip()]


@pytest.mark.parametrize("first", range(5))
def test_a_section_of_no_length_has_the_construction_and_area_of_what_begins_at_its_end(tmp_path, first):
    """A fuse at a node of two lines, whatever row comes first."""
    header, *rows = spans()
    rows = rows[first:] + rows[:first] + ["T3,N3,N6,100,A,,F1,overhead,north"]
    devices = ("device_id,segment_id,node_id,device,phases\nB1,M1,,breaker,\nFU1,,N3,fuse,A\nFC,C1,,fuse,A\n"
               "SW,C1,,switch,\n")
    found = sections(take(tmp_path, segments="\n".join([header, *rows]) + "\n", devices=devices))
    assert found.loc["FU1", ["construction", "area", "length_km"]].tolist() == ["overhead", "north", 0.0]
    on_cable = found[(found["length_km"] == 0.0) & (found.index != "FU1")]
    assert set(on_cable["construction"]) <= {"underground"}


def at_source(folder: Path, turned: bool, faults: int | None = None) -> pd.DataFrame:
    """A main that a tap cuts in two at mid-span, drawn from the source or towards it."""
    def feature(name: str, line: list[list[float]], **cells: object) -> dict:
        return {"type": "Feature", "properties": {"segment_id": name, "feeder_id": "F"} | cells,
                "geometry": {"type": "LineString", "coordinates": line}}

    main = [[-90.0, 40.0], [-89.98, 40.0]]
    folder.mkdir()
    (folder / "segments.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [
        feature("bus", [[-90.01, 40.0], [-90.0, 40.0]], phases=3, device="breaker"),
        feature("m", main[::-1] if turned else main, phases=3, customers=50, faults_observed=faults,
                years_observed=None if faults is None else 4.0),
        feature("t", [[-89.993, 40.0], [-89.993, 40.01]], phases=1, device="fuse", customers=10)]}), encoding="utf-8")
    return import_exports(folder).tables["sections"].set_index("section_id")


def test_customers_of_a_line_that_is_cut_stand_at_its_end_towards_the_source(tmp_path):
    one, other = (at_source(tmp_path / str(turned), turned) for turned in (False, True))
    assert one["customers"].to_dict() == other["customers"].to_dict() == {"bus": 50, "m": 0, "t": 10}


@pytest.mark.parametrize("faults", [0, 1, 2, 3, 7])
def test_faults_counted_on_a_line_that_is_cut_are_shared_out_as_whole_numbers(tmp_path, faults):
    for turned in (False, True):
        found = at_source(tmp_path / f"{turned}", turned, faults)
        assert found.loc[["m", "m (2)"], "faults_observed"].sum() == faults
        assert found.loc[["m", "m (2)"], "years_observed"].tolist() == [4.0, 4.0]


def test_load_of_meters_is_not_counted_again_where_their_transformer_states_it(tmp_path):
    customers = ("transformer_id,segment_id,customer_id,customers,load_kw,energy_kwh\n"
                 "X1,M2,,2,10,\nX1,,m1,,,43800\nX1,,m2,,,43800\nX2,T2,,,,\nX2,,m3,,,43800\n")
    found = sections(take(tmp_path, customers=customers))
    assert found["load_kw"].fillna(0.0).sum() == pytest.approx(15.0)
    assert found["customers"].sum() == 3
