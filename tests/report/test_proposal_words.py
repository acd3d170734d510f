"""What the report says of a proposal that has settings, more than its programme has room for, or unchecked devices."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from reliability.report import actions
from reliability.report.content import Selected
from reliability.report.figures import plain
from reliability.report.sections_conversions import conversions
from reliability.report.sections_worst import worst
from reliability.report.sentences_money import upkeep
from reliability.report.sentences_summary import decision, turning_points


def with_selected(content, frame: pd.DataFrame, **parts):
    """The content with other rows chosen; a content is a value, so that the study's own stays."""
    selected: Selected = replace(content.selected, frame=frame, **parts)
    return replace(content, selected=selected)


def a_setting(content, feeder: str) -> pd.DataFrame:
    """A row of selection.csv for a backup whose fast operations change."""
    row = content.selected.frame.iloc[[0]].assign(what="backup settings", device="", feeder_id=feeder, units=0.0)
    return pd.concat([content.selected.frame, row], ignore_index=True)


def test_changed_settings_are_what_is_proposed_on_a_feeder(content):
    chosen = set(content.selected.frame["feeder_id"])
    bare = next(str(f) for f in content.study.network.feeder_ids if str(f) not in chosen)
    busy = str(content.selected.frame["feeder_id"].iloc[0])
    assert actions.feeder_actions(content, [bare])[0].startswith("None")
    said = "Change the fast operations of 1 breaker or recloser."
    assert actions.feeder_actions(with_selected(content, a_setting(content, bare)), [bare]) == [said]
    both, = actions.feeder_actions(with_selected(content, a_setting(content, busy)), [busy])
    assert both.startswith("Convert ")
    assert both.endswith(said)


def test_laterals_without_a_year_are_told_beside_those_with_one(content):
    """Half of the programme gone: each action has its year or says that there is none, and the summary counts both."""
    planned = content.selected.programme
    left = planned.iloc[: len(planned) // 2].assign(year=1)
    part = with_selected(content, content.selected.frame, programme=left)
    frame = actions.laterals_frame(part).set_index("lateral_id")
    inside = str(left.loc[left["what"] == "lateral", "section_id"].iloc[0])
    outside = str(planned.loc[planned["what"] == "lateral", "section_id"].iloc[-1])
    assert frame["action"][inside].startswith("Convert: ")
    assert "no year of the programme" not in frame["action"][inside]
    assert frame["action"][outside].endswith(", no year of the programme.")
    text = plain(decision(part))
    assert f"the programme has room for {(left['what'] == 'lateral').sum()} of these laterals" in text
    assert "has room for" not in plain(decision(content))


def test_lateral_reclosers_are_told_to_be_unchecked(content):
    assert "No application check is made" not in plain(decision(content))
    frame = content.selected.frame.copy()
    frame.loc[frame.index[:2], "device"] = "lateral_recloser"
    text = plain(decision(with_selected(content, frame)))
    assert "No application check is made of the 2 lateral reclosers" in text


def test_ranks_are_compared_on_the_same_kind_of_days(content):
    found = content.history.calibration
    compared = found.ordinary or found.every_day
    both = compared.feeders.drop(index="")[["observed_saidi_min", "modelled_saidi_min"]].dropna().rank()
    expected = both["observed_saidi_min"].corr(both["modelled_saidi_min"])
    text = " ".join(plain(b.sentence) for b in worst(content).blocks if hasattr(b, "sentence"))
    assert f"By SAIDI of {compared.days} the model ranks the feeders" in text
    assert f"rank correlation {expected:+.3g}" in text


def test_a_proposal_under_the_objective_of_saidi_is_not_refused_for_its_price(content):
    frame = actions.as_built(content).assign(npv_converted=-1.0)
    values = replace(content.study, values={**content.study.values, "objective": "saidi"})
    said = set(actions.lateral_actions(replace(content, study=values), frame))
    assert not any("costs more than it saves" in text for text in said)
    assert any("costs more than it saves" in text for text in set(actions.lateral_actions(content, frame)))


def test_actuators_are_told_beside_those_of_today(content, changed):
    at = content.proposed
    now, before = (content.summary["scenarios"][i]["expected"]["actuators"] for i in (at, 0))
    assert now > before > 0.0
    assert "more than today" in plain(upkeep(content, at))
    fewer = changed({("scenarios", at, "expected", "actuators"): before / 2})
    assert "fewer than today" in plain(upkeep(fewer, at))
    none = changed({("scenarios", 0, "expected", "actuators"): 0.0})
    assert "today" not in plain(upkeep(none, at))


def test_the_expected_effect_of_a_pilot_is_told_to_be_that_of_blocked_fast_tripping(content):
    """Where a fast operation saves fuses today, and the study states no effect of its own."""
    history = content.history

    def text(of) -> str:
        return " ".join(plain(b.sentence) for b in conversions(replace(content, history=of)).blocks
                        if hasattr(b, "sentence"))
    assert "where a fast operation saves fuses today, fewer interruptions are left to avoid" in text(history)
    settings = replace(history.records.settings, expected_rate_ratio=0.5)
    stated = replace(history, records=replace(history.records, settings=settings))
    assert "saves fuses today" not in text(stated)
    blocked = history.study.with_section_values({"fast_operations": np.zeros(len(history.study.network))})
    assert "saves fuses today" not in text(replace(history, study=blocked))


@pytest.mark.parametrize("own", [True, False])
def test_devices_with_a_share_of_their_own_are_told_where_there_are_any(content, own):
    network = content.study.network
    share = network.column["reclosing_off_share"].copy()
    share[:] = float("nan")
    share[0] = 0.2 if own else float("nan")
    there = replace(network, column={**network.column, "reclosing_off_share": share})
    text = plain(turning_points(replace(content, study=replace(content.study, network=there))))
    assert ("but for devices that state their own" in text) == own
