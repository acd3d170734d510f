"""Order, list and bill of materials of the work pack, on laterals of random networks."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reliability.network.application import check_laterals
from reliability.network.travel import travel_order
from reliability.report.work_pack import work_pack_html
from reliability.report.work_pack_jobs import HOLD_MARK, NO_SHEET, READY, work_pack
from reliability.report.work_pack_pages import LINES, materials, pages_of
from reliability.report.work_pack_rows import work_pack_rows
from reliability.schema.scenarios import Scenario
from tests.networks import random_studies, study_of
from tests.report.test_work_pack import Text, several
from tests.report.work_packs import pack_of, programme_of, selection_of

SECTIONALIZERS = Scenario("Sectionalizers", None, "sectionalizer")


def drawn_pack(study, seed: int):
    """Laterals of a study in any order, each with a device and a year."""
    rng = np.random.default_rng(seed)
    checks = check_laterals(study.model, SECTIONALIZERS)
    ids = rng.permutation(checks.lateral_ids)
    device = rng.choice(["sectionalizer", "lateral_recloser"], size=len(ids), p=[0.8, 0.2])
    selection = selection_of(checks, ids.tolist()).assign(device=device)
    planned = [str(i) for i in ids if rng.random() < 0.9]
    return work_pack(checks, selection, programme_of({i: int(rng.integers(1, 4)) for i in planned})), selection


@given(random_studies(), st.integers(0, 2**32 - 1))
def test_jobs_go_by_year_feeder_and_the_way_along_it(study, seed):
    pack, selection = drawn_pack(study, seed)
    network, jobs = pack.checks.network, pack.jobs
    head = pack.checks.proposal.head[jobs["at"].to_numpy(dtype=int)]
    year = jobs["year"].where(jobs["year"] > 0, 99).tolist()
    keys = list(zip(year, network.feeder[head].tolist(), travel_order(network)[head].tolist(), strict=True))
    assert keys == sorted(keys)
    assert sorted(jobs["lateral_id"]) == sorted(selection["section_id"])
    assert work_pack_rows(pack)["lateral_id"].tolist() == jobs.loc[jobs["status"] != NO_SHEET, "lateral_id"].tolist()


@given(random_studies(), st.integers(0, 2**32 - 1))
def test_the_bill_of_materials_has_every_unit_of_the_selection_once(study, seed):
    pack, selection = drawn_pack(study, seed)
    bill, rows = materials(pack), work_pack_rows(pack)
    assert bill["units"].sum() == selection["units"].sum()
    assert bill["laterals"].sum() == len(selection)
    for device, units in selection.groupby("device")["units"].sum().items():
        assert bill.loc[bill["device"] == device, "units"].sum() == units
    ours = bill[bill["device"] == "sectionalizer"]
    by_rating = ours.groupby("rated_current_a", dropna=False)["units"].sum()
    of_sheets = rows.groupby("rated_current_a", dropna=False)["units"].sum()
    pd.testing.assert_series_equal(by_rating, of_sheets.astype(float))
    held = rows.loc[rows["status"] == HOLD_MARK, "units"].sum()
    assert bill["units_on_hold"].sum() == held
    assert not bill.duplicated(["year", "device", "rated_current_a", "actuating_current_a", "counts"]).any()


@given(random_studies(), st.integers(0, 2**32 - 1))
def test_every_lateral_is_listed_once_with_the_page_of_its_sheet(study, seed):
    pack, _ = drawn_pack(study, seed)
    pages = pages_of(pack)
    assert [line.job for page in pages.lists for line in page if line.job >= 0] == pack.jobs.index.tolist()
    assert all(page[0].heading and not page[-1].heading and len(page) <= LINES for page in pages.lists)
    number = pages.first_reset + len(pages.resets)
    for (hold, sheet), status in zip(pages.sheets, pack.with_sheet["status"], strict=True):
        assert (hold > 0) == (status == HOLD_MARK)
        assert (hold or sheet) == number
        number = sheet + 1
    assert pages.card == number
    assert set(pack.jobs["status"]) <= {READY, HOLD_MARK, NO_SHEET}


@pytest.mark.parametrize("number", [1, LINES - 1, LINES, 3 * LINES])
def test_numbers_on_the_pages_are_those_of_the_pages(number):
    """The list's page of each sheet, and what the cover says of every part."""
    pack = pack_of(several([f"t{k:03d}" for k in range(number)], peak_load_a=170.0), study_name="S")
    page = Text(work_pack_html(pack))
    for at, (section, heading) in enumerate(zip(page.sections, page.headings, strict=True), start=1):
        assert section[3] == f"Page {at} of {len(page.sections)}", heading
    listed = " ".join(page.all("list-"))
    for k, row in enumerate(work_pack_rows(pack).itertuples()):
        numbers = row.page.split(", ")
        assert page.headings[int(numbers[-1]) - 1] == f"lateral-{k + 1}"
        if len(numbers) > 1:
            assert page.headings[int(numbers[0]) - 1] == f"hold-{k + 1}"
        assert f"{row.page.replace(', ', '–')} {row.lateral_id}" in listed
    (cover,) = page.all("cover")
    first = page.headings.index("after") + 1
    assert f"for any lateral of this pack {first}–{len(page.sections)}" in cover


def test_years_and_feeders_head_the_list():
    study = study_of([{"section_id": f, "device": "breaker", "operations_to_lockout": 4.0} for f in ("F1", "F2")]
                     + [{"section_id": f"{f}-{k}", "parent_id": f, "device": "fuse", "length_km": float(k)}
                        for f in ("F2", "F1") for k in (3, 1, 2)])
    checks = check_laterals(study.model, SECTIONALIZERS)
    years = {"F1-1": 2, "F1-2": 1, "F1-3": 1, "F2-1": 1, "F2-2": 2}
    pack = pack_of(checks, programme=programme_of(years))
    assert pack.jobs["lateral_id"].tolist() == ["F1-2", "F1-3", "F2-1", "F1-1", "F2-2", "F2-3"]
    assert [line.heading for line in pages_of(pack).lists[0] if line.heading] == [
        "Year 1, feeder F1: 2 laterals, 2 on HOLD", "Year 1, feeder F2: 1 lateral, 1 on HOLD",
        "Year 2, feeder F1: 1 lateral, 1 on HOLD", "Year 2, feeder F2: 1 lateral, 1 on HOLD",
        "No year in the programme, feeder F2: 1 lateral, 1 on HOLD"]
    stated = dataclasses.replace(checks, values={**checks.values, "reporting_year": 2030})
    first = pages_of(pack_of(stated, programme=programme_of(years))).lists[0][0]
    assert first.heading.startswith("2031 (year 1), feeder F1")
    assert pages_of(pack_of(checks)).lists[0][0].heading.startswith("Feeder F1: 3 laterals")
