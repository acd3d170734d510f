"""A reader of the documents can tell the ranges that the study states from those by default."""

from __future__ import annotations

import openpyxl
import pandas as pd

from reliability.report.blocks import Table
from reliability.report.figures import plain
from reliability.report.ranges import default_ranges_frame, ranges_sentence, set_by
from reliability.report.sections_model import assumptions
from reliability.report.sentences_confidence import confidence
from reliability.schema.default_ranges import DEFAULT_RANGES
from tests.networks import certain


def _tables(content) -> dict[str, pd.DataFrame]:
    return {b.key: b.frame for b in assumptions(content).blocks if isinstance(b, Table)}


def test_a_sentence_says_how_many_ranges_are_defaults(demo, content):
    stated, default = len(demo.stated_ranges), len(demo.default_ranges)
    assert stated > 0
    assert default > 0
    said = f"{default} of the {stated + default} ranges of inputs are the tool's defaults"
    assert said in plain(ranges_sentence(demo))
    assert said in plain(confidence(content))


def test_it_says_so_where_all_are_stated_and_where_the_switch_is_off(demo):
    off = demo.with_assumptions(default_ranges=False)
    assert plain(ranges_sentence(off)) == (
        f"The study states each of the {len(demo.stated_ranges)} ranges of inputs. Default ranges are switched off: "
        "what has no range is taken as certain.")
    assert plain(ranges_sentence(certain(demo))).startswith("No assumption is given as a range, ")


def test_the_list_of_assumptions_tells_the_one_from_the_other(demo, content):
    rows = _tables(content)["assumptions"].set_index("key")
    assert rows.loc["crew_rate_per_hour", "range_from"] == "study"
    assert rows.loc["switching_hours", "range_from"] == "default"
    assert rows.loc["switching_hours", "range"] == "0.7 / 1 / 1.3 (default)"
    assert rows.loc["repair_hours", "range"] == "2.2 / 3 / 4.5"
    assert rows.loc["discount_rate", "range_from"] == ""
    assert (rows["range_from"] == "default").sum() == len(demo.default_ranges)


def test_default_ranges_stand_with_their_reasons(demo, content):
    rows = _tables(content)["default-ranges"].set_index("key")
    assert set(rows.index) == set(demo.default_ranges)
    assert rows.loc["actuator_cost", "reason"] == DEFAULT_RANGES["actuator_cost"].reason
    assert (rows["low"] < rows["value"]).all()
    assert (rows["value"] < rows["high"]).all()
    assert default_ranges_frame(certain(demo)).empty


def test_summary_json_has_every_range_with_who_set_it(demo, summary_json):
    told = summary_json["uncertain"]
    assert (told["assumptions"], told["by_default"]) == (len(demo.uncertain), len(demo.default_ranges))
    assert {key: one["set_by"] for key, one in told["ranges"].items()} == {
        key: set_by(demo, key) for key in demo.uncertain}
    known = demo.uncertain["repair_hours"]
    assert told["ranges"]["repair_hours"] == {"low": known.low, "likely": known.likely, "high": known.high,
                                              "set_by": "study"}


def test_the_sensitivity_says_where_each_range_is_from(content):
    rows = content.drivers.drop_duplicates("assumption").set_index("assumption")["range"]
    assert (rows["crew_rate_per_hour"], rows["switching_hours"], rows["discount_rate"]) == ("stated", "default", "±20%")


def test_the_workbook_has_them_on_sheets(written):
    book = openpyxl.load_workbook(written / "workbook.xlsx", read_only=True)
    assert "Default ranges" in book.sheetnames
    head = [c.value for row in book["Assumptions"].iter_rows(max_row=6) for c in row]
    assert "Range set by" in head
