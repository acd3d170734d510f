"""The report speaks to others than those who keep the study: no keys, no files of it, and who stated a value."""

from __future__ import annotations

import html
import re
from dataclasses import replace

import pytest

from reliability.report.documents import report
from reliability.report.page import page
from reliability.report.plain_words import without_keys
from reliability.report.sections_model import STATED_BY_UTILITY, assumptions
from reliability.schema.assumption_types import OURS
from reliability.schema.assumptions import BY_KEY

# what only somebody knows who edits a study: a table or key of its settings file, "key = value", our files
TALK = re.compile(r"study\.toml|\[\[?[a-z]+[\].]|\b[a-z]+_[a-z_]+ = |\bunder \[|"
                  r"\b(?:history|choice|records|report|simulation)\.[a-z]+_[a-z_]+")


def text_of(content) -> str:
    made = re.sub(r"<style.*?</style>|<svg.*?</svg>", "", page(report(content)), flags=re.DOTALL)
    return html.unescape(re.sub(r"<[^>]+>", " ", made))


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize("recorded", [True, False])
def test_the_report_names_no_key_of_the_study(content, recorded):
    if not recorded:
        content = replace(content, history=None)
    assert not [found.group() for found in TALK.finditer(text_of(content))]


@pytest.mark.parametrize(("text", "plain"), [
    ("Find the peak load and enter it (peak_load_a).", "Find the peak load and enter it."),
    ("Enter the counts (counts, tie_section_id).", "Enter the counts."),
    ("Enter it (minimum_trip_a, or settings.csv).", "Enter it."),
    ("Left out. A key of the study (history.count_duplicates_once) counts both.", "Left out."),
    ("Shares (0.5 of them) stay (as they are)", "Shares (0.5 of them) stay (as they are)")])
def test_keys_are_left_out_and_nothing_else(text, plain):
    assert without_keys(text) == plain


def test_a_value_that_the_study_states_has_no_source_of_a_default(content):
    rows = assumptions(content).blocks
    table = next(b for b in rows if getattr(b, "key", "") == "assumptions").frame.set_index("key")
    own = table[table["from"] == "study"]
    assert set(own["source"]) == {STATED_BY_UTILITY}
    default = table[(table["from"] == "default") & ~table.index.str.contains(".", regex=False)]
    for key, source in default["source"].items():
        assert source in (BY_KEY[key].source, "–"), key
    assert OURS in set(default["source"])
    assert "our" not in OURS.split()
