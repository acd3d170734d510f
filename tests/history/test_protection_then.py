"""Protection as it was while the records were made: spells of time by conversions and changed settings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reliability.history.operations import read_operations
from reliability.history.outages import read_records
from reliability.history.protection_then import Spell, spells
from reliability.history.rates import learn_rates, learned_study
from reliability.network.rates import fault_rates
from reliability.schema.devices import DEVICES
from reliability.study.record_settings import record_settings
from reliability.study.study import Study
from tests.history.fleet_errors import errors, fleet_fraction
from tests.history.recorded_fleets import COUNTERS, EVENTS, Fleet, drawn_records, fleet
from tests.networks import study_of

ROWS = ({"section_id": "A", "parent_id": "", "device": "breaker", "fast_operations": 0.0, "length_km": 1.0},
        {"section_id": "L", "parent_id": "A", "device": "sectionalizer", "length_km": 1.0, "customers": 1},
        {"section_id": "Lx", "parent_id": "L", "device": "fuse", "length_km": 1.0, "customers": 1},
        {"section_id": "K", "parent_id": "A", "device": "fuse", "fuse_link": "40K", "length_km": 1.0, "customers": 1},
        {"section_id": "B", "parent_id": "", "device": "breaker", "length_km": 1.0})
FIRST, LAST = np.datetime64("2020-01-01", "s"), np.datetime64("2024-01-01", "s")


def cut(extra: dict) -> list[Spell]:
    study = replace(study_of(ROWS), extra=extra)
    return list(spells(study, record_settings(study.values, extra, study.network), FIRST, LAST))


def of_section(times: list[Spell], name: str) -> list[tuple[str, str, float, str, str]]:
    """Device and link of a section, fast operations of breaker A, from day and to day of each spell that it has."""
    found = []
    for spell in times:
        network = spell.model.network
        at = list(network.ids).index(name)
        if spell.end[at] > spell.start[at]:
            found.append((DEVICES[network.device[at]], str(network.text["fuse_link"][at]),
                          float(network.column["fast_operations"][0]), str(spell.start[at])[:10],
                          str(spell.end[at])[:10]))
    return sorted(found, key=lambda row: row[3])


def test_without_a_day_there_is_one_spell():
    times = cut({})
    assert len(times) == 1
    assert of_section(times, "L") == [("sectionalizer", "", 0.0, "2020-01-01", "2024-01-01")]


def test_a_conversion_cuts_the_time_of_its_lateral_and_of_what_lies_below_it():
    times = cut({"conversions": {"L": "2022-06-01"}})
    assert of_section(times, "L") == [("fuse", "", 0.0, "2020-01-01", "2022-06-01"),
                                      ("sectionalizer", "", 0.0, "2022-06-01", "2024-01-01")]
    assert [row[3:] for row in of_section(times, "Lx")] == [("2020-01-01", "2022-06-01"), ("2022-06-01", "2024-01-01")]
    assert [row[3:] for row in of_section(times, "K")] == [("2020-01-01", "2024-01-01")]


def test_what_stood_there_before_may_be_stated():
    times = cut({"conversions": {"L": {"day": "2022-06-01", "device": "lateral_recloser"},
                                 "K": {"day": "2021-01-01", "fuse_link": "25K"}}})
    assert of_section(times, "L")[0][:2] == ("lateral_recloser", "")
    # K still shows the fuse that was replaced: since its day a sectionalizer stands there
    assert [row[:2] for row in of_section(times, "K")] == [("fuse", "25K"), ("sectionalizer", "40K")]


def test_changed_settings_cut_the_time_of_the_zone_of_their_device():
    times = cut({"earlier_settings": {"A": {"until": "2021-07-01", "fast_operations": 2}}})
    assert [row[2:] for row in of_section(times, "K")] == [(2.0, "2020-01-01", "2021-07-01"),
                                                           (0.0, "2021-07-01", "2024-01-01")]
    assert [row[3:] for row in of_section(times, "B")] == [("2020-01-01", "2024-01-01")]


def test_both_make_spells_that_cover_the_time_once():
    times = cut({"conversions": {"L": "2022-06-01"},
                 "earlier_settings": {"A": {"until": "2021-07-01", "fast_operations": 2}}})
    for at in range(5):
        length = sum(max(float((s.end[at] - s.start[at]) / np.timedelta64(1, "s")), 0.0) for s in times)
        assert length == float((LAST - FIRST) / np.timedelta64(1, "s"))
    assert [row[0::2][:2] for row in of_section(times, "L")] == [
        ("fuse", 2.0), ("fuse", 0.0), ("sectionalizer", 0.0)]


def changed_half_way(seed: int, seen: str, what: str) -> Fleet:
    """A fleet whose fast tripping was blocked, or a third of whose laterals were converted, after three years."""
    made = fleet(seed, fast="off" if what == "settings" else "on", seen=seen, feeders=4)
    names = made.study.network.ids
    if what == "settings":
        heads = [n for n in names if "L" not in n]
        before = _with(made.true, "fast_operations", dict.fromkeys(heads, 2.0))
        after, extra = made.true, {"earlier_settings": {
            n: {"until": "2021-01-01", "fast_operations": 2} for n in heads}}
        study = made.study
    else:
        chosen = [n for n in names if n.endswith(("0", "3", "6")) and "L" in n]
        before, after = made.true, _with(made.true, "device", dict.fromkeys(chosen, "sectionalizer"))
        study = _with(made.study, "device", dict.fromkeys(chosen, "sectionalizer"))
        extra = {"conversions": dict.fromkeys(chosen, "2021-01-01")}
    outages, operations = drawn_records(np.random.default_rng(seed), ((before, 0.0, 0.5), (after, 0.5, 1.0)), seen)
    study = replace(study, outages=outages, operations=operations, extra=extra)
    records = read_records(study)
    return Fleet(study, after, records, read_operations(study, records))


def _with(study: Study, column: str, values: dict[str, object]) -> Study:
    sections = study.sections.copy()
    sections[column] = [values.get(name, old) for name, old in zip(sections["section_id"], sections[column],
                                                                     strict=True)]
    return study.with_sections(sections)


@pytest.mark.slow
@pytest.mark.parametrize(("seen", "what"), [(EVENTS, "settings"), (COUNTERS, "settings"), (EVENTS, "conversions")])
def test_what_changed_half_way_leaves_the_estimate_unbiased(seen, what):
    """Means of three fleets, within one point and four standard errors by the spread of such fleets."""
    found = [errors(changed_half_way(seed, seen, what)) for seed in range(3)]
    for name, truth, spread in (("fraction", 0.0, 0.03), ("rate", 1.0, 0.05), ("saifi", 1.0, 0.10),
                                ("maifi_e", 1.0, 0.10)):
        mean = np.mean([f[name] for f in found])
        assert mean == pytest.approx(truth, abs=4 * spread / len(found) ** 0.5 + 0.01), name


@pytest.mark.slow
def test_without_the_day_of_the_change_the_estimate_is_biased():
    """That the test above can fail: the same records, read as if today's settings had always been there."""
    made = changed_half_way(1, EVENTS, "settings")
    learned = [learned_study(s, learn_rates(s, made.records if s is made.study else read_records(s), made.operations))
               for s in (made.study, replace(made.study, extra={}))]
    fraction = [fleet_fraction(s) - fleet_fraction(made.true) for s in learned]
    rate = [fault_rates(s.model).sum() / fault_rates(made.true.model).sum() for s in learned]
    assert abs(fraction[1]) + abs(rate[1] - 1) > 2 * (abs(fraction[0]) + abs(rate[0] - 1))
