"""The demo handed over by two other systems comes back as the demo."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reliability import Study, expect, open_study
from reliability.__main__ import main

DATA = Path(__file__).parents[2] / "data"
EXPORTS = DATA / "exports"
MOST_BYTES = 6e6
# Rows that data/demo_export_tables.py adds to the demo's records: outages of transformers, and rows entered twice.
TRANSFORMER_OUTAGES, TWICE = 90, 5


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """The study that the recipe makes of the exports."""
    made = tmp_path_factory.mktemp("imported") / "study"
    assert main(["import", str(EXPORTS), "--recipe", str(EXPORTS / "import.toml"), "--out", str(made)]) == 0
    return made


@pytest.fixture(scope="module")
def imported(folder) -> Study:
    return open_study(folder)


def test_expected_indices_are_those_of_the_demo(demo, imported):
    ours, theirs = (expect(study).indices.set_index("scenario") for study in (demo, imported))
    assert theirs.index.tolist() == ours.index.tolist()
    numbers = ours.select_dtypes("number").columns
    assert {"saifi", "saidi_min", "maifi_e", "ens_mwh", "callouts"} <= set(numbers)
    assert theirs[numbers].to_numpy() == pytest.approx(ours[numbers].to_numpy(), rel=1e-9)


def test_fewer_sections_as_lines_in_series_are_one_and_nothing_is_lost(demo, imported):
    ours, theirs = demo.sections, imported.sections
    assert 0.75 * len(ours) < len(theirs) < len(ours)
    for name in ("length_km", "customers", "customers_three_phase", "load_kw", "connected_kva", "generation_kw",
                 "capacitor_kvar"):
        assert theirs[name].sum() == pytest.approx(ours[name].sum(), rel=1e-9), name
    for name in ("device", "feeder_id", "fuse_link"):
        counts = [frame.loc[frame["device"] != "", name].value_counts().to_dict() for frame in (ours, theirs)]
        assert counts[0] == counts[1], name
    ties = [np.sort(frame["tie_probability"].to_numpy()[frame["tie_probability"].to_numpy() > 0])
            for frame in (ours, theirs)]
    assert ties[0].tolist() == ties[1].tolist()


def test_every_record_comes_back_at_its_place_and_time(demo, imported):
    ours, theirs = demo.outages, imported.outages
    device = demo.sections.set_index("section_id")["device_id"]
    back = imported.sections.set_index("device_id")["section_id"].drop("", errors="ignore")
    theirs = theirs[~theirs["event_id"].str.startswith("T")].drop_duplicates()
    columns = ["event_id", "started", "restored", "customers", "fault_kind"]
    key = [*columns, "planned"]
    said = ours.assign(planned=ours["planned"].replace("", "false"))
    pairs = said.drop_duplicates(key).merge(theirs.drop_duplicates(key), on=key, how="left", suffixes=("", "_back"),
                                            indicator=True)
    assert (pairs["_merge"] == "both").all()
    headed = pairs[pairs["section_id"].map(device).fillna("") != ""]
    assert len(headed) > 1000
    assert (headed["section_id_back"] == headed["section_id"].map(device).map(back)).all()


def test_rows_of_the_outage_system_are_kept_or_left_out_as_told(demo, imported):
    assert len(imported.outages) == len(demo.outages) + TRANSFORMER_OUTAGES + TWICE
    assert not imported.outages["event_id"].str.startswith("C").any()


def test_the_exports_look_like_what_other_systems_give():
    """Both directions, both kinds of place for a device, every wart that the recipe has to deal with."""
    assert sum(path.stat().st_size for path in EXPORTS.iterdir()) < MOST_BYTES
    files = sorted(EXPORTS.glob("oms_*.csv"))
    rows = pd.concat([pd.read_csv(path, dtype=str, keep_default_na=False) for path in files])
    assert {"PLANNED", "UNPLANNED"} == set(rows["TYPE"])
    assert set(rows["STATUS"]) == {"CLOSED", "CANCELLED"}
    assert rows["TIME_OFF"].str.fullmatch(r"\d\d:\d\d:\d\d [AP]M").all()
    assert rows["DATE_OFF"].str[3:5].astype(int).max() > 12
    assert (rows["DATE_ON"] == "").any()
    assert rows.duplicated().any()
    assert all((rows[column] != "").sum() >= 50 for column in ("DEV_NO", "SEG_ID", "XFMR_ID"))
