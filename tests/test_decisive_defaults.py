"""Defaults that decide a sign are told with the value at which it turns, and those that are stated are not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reliability.decisive_defaults import PLAUSIBLE_DEFAULTS, decisive_defaults, sentences, share_on_default
from reliability.study import open_study, workspace
from reliability.what_if import ScenarioResults, compute, moved_study
from tests.business.cases import feeders_of_laterals

DEMO = workspace.DEMOS["demo"].source


def without(folder, study_folder, *keys: str):
    """The demo with lines of study.toml left out."""
    for file in study_folder.iterdir():
        text = file.read_bytes()
        if file.name == "study.toml":
            lines = text.decode().splitlines(keepends=True)
            text = "".join(line for line in lines if not line.startswith(keys)).encode()
        (folder / file.name).write_bytes(text)
    return open_study(folder)


def gains(now: ScenarioResults) -> tuple[float, float]:
    return now.indices[0]["saifi"] - now.indices[1]["saifi"], now.money[1]["npv"]


@pytest.mark.parametrize("left_out", [(), ("temporary_fraction",), ("temporary_fraction", "fast_operations")])
def test_a_gain_is_nil_where_it_is_said_to_turn(tmp_path, left_out):
    study = without(tmp_path, DEMO, *left_out) if left_out else open_study(DEMO)
    base = compute(study, "base")
    turns = decisive_defaults(base)
    assert turns
    assert {"reclosing_off_share"} <= {t.key for t in turns} <= {"reclosing_off_share", *left_out}
    for turn in turns:
        which = 0 if turn.measure == "SAIFI" else 1
        step = 1e-4 * abs(turn.other - turn.taken)
        values = [turn.at - step, turn.at + step] if turn.other > turn.taken else [turn.at + step, turn.at - step]
        before, after = (gains(compute(moved_study(study, {turn.key: v}, base), f"{v}", [base]))[which] for v in values)
        assert (before > 0.0, after > 0.0) == (turn.lost, not turn.lost), turn


def test_what_is_stated_decides_nothing_by_default():
    study = open_study(workspace.DEMOS["wooded-town"].source)
    assert [share_on_default(study, key) for key in PLAUSIBLE_DEFAULTS] == [0.0, 0.0, 0.0]
    assert decisive_defaults(compute(study, "")) == []


def test_fast_operations_that_decide_are_told():
    """An incentive with which conversions pay where every fault blows its fuse, and do not where fuses are saved."""
    study = feeders_of_laterals(8, 0, objective="saidi", incentive_per_saidi_minute=240.0, incentive_per_saifi=600.0)
    blank = study.with_section_values({"fast_operations": np.full(len(study.network), np.nan)})
    blank = replace(blank, lines={}, values={**blank.values, "fast_operations": 0})
    assert share_on_default(blank, "fast_operations") == 1.0
    base = compute(blank, "")
    other = compute(moved_study(blank, {"fast_operations": 2}, base), "2")
    assert (gains(base)[1] > 0.0, gains(other)[1] > 0.0) == (True, False)
    found = [t for t in decisive_defaults(base) if t.key == "fast_operations"]
    assert [(t.measure, t.at, t.lost, t.everywhere) for t in found] == [("NPV", 2.0, True, True)]
    assert sentences(found) == ["The study does not state fast operations; 0 is taken: with 2 the proposal's NPV is "
                                "below 0."]
    assert sentences([replace(found[0], everywhere=False)]) == [
        "The study states only in part fast operations; 0 is taken elsewhere: with 2 the proposal's NPV is below 0."]
