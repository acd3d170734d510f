"""Line sections: what blanks stand for, and every rule both ways."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.schema.columns import KM_PER_MILE, SECTIONS
from reliability.study.sections import SECTION_COLUMNS

HEAD = "section_id,parent_id,device,length_km,customers"


def rows(*lines: str, head: str = HEAD) -> dict[str, str]:
    """sections.csv of these lines."""
    return {"sections__csv": "\n".join((head, *lines)) + "\n"}


def with_column(name: str, *cells: str) -> dict[str, str]:
    """A breaker, a fuse below it and a section below that, with one more column."""
    lines = ("b,,breaker,1,10", "f,b,fuse,1,10", "s,f,,1,10")
    return rows(*(f"{line},{cell}" for line, cell in zip(lines, cells, strict=True)), head=f"{HEAD},{name}")


def test_blanks_stand_for_what_the_contract_says(study):
    sections = study(**rows("b,,breaker,1,10", "f,b,fuse,2,20", "s,f,,3,30", "x,,RECLOSER,4,0")).sections
    assert tuple(sections.columns) == SECTION_COLUMNS
    assert sections["section_id"].tolist() == ["b", "f", "s", "x"]
    assert sections["device"].tolist() == ["breaker", "fuse", "", "recloser"]
    assert sections["feeder_id"].tolist() == ["b", "b", "b", "x"]
    assert sections["phases"].tolist() == [3, 1, 1, 3]
    assert sections["customers_residential"].tolist() == [10, 20, 30, 0]
    for name in ("customers_small_ci", "customers_large_ci", "equipment_fault_rate", "load_kw", "tie_probability"):
        assert sections[name].tolist() == [0, 0, 0, 0]
    unknown = set(SECTION_COLUMNS) - set(sections.columns[sections.notna().all()])
    assert {"line_fault_rate_per_km", "temporary_fraction", "repair_hours", "counts", "operations_to_lockout",
            "fast_operations", "fault_current_end_a", "peak_load_a"} <= unknown
    assert all(sections[c.name].dtype == (float if c.kind in ("number", "whole") else "str")
               for c in SECTIONS if c.name in SECTION_COLUMNS)


def test_the_users_order_is_kept_and_parents_need_not_come_first(study):
    sections = study(**rows("s,f,,3,30", "f,b,fuse,2,20", "b,,breaker,1,10")).sections
    assert sections["section_id"].tolist() == ["s", "f", "b"]
    assert sections["phases"].tolist() == [1, 1, 3]


def test_a_blank_phase_is_never_more_than_the_parents(study):
    assert study(**with_column("phases", "2", "", "")).sections["phases"].tolist() == [2, 1, 1]
    assert study(**rows("b,,breaker,1,1,1", "s,b,,1,1,", head=f"{HEAD},phases")).sections["phases"].tolist() == [1, 1]


def test_miles_become_kilometres(study):
    sections = study(**rows("b,,breaker,1,0.5,10", "f,b,fuse,2,,10",
                            head="section_id,parent_id,device,length_mi,line_fault_rate_per_mi,customers")).sections
    assert sections["length_km"].tolist() == pytest.approx([KM_PER_MILE, 2 * KM_PER_MILE])
    assert sections["line_fault_rate_per_km"][0] == pytest.approx(0.5 / KM_PER_MILE)
    assert np.isnan(sections["line_fault_rate_per_km"][1])


def test_each_row_may_use_its_own_unit(study):
    sections = study(**rows("b,,breaker,1,,10", "f,b,fuse,,1,10",
                            head="section_id,parent_id,device,length_km,length_mi,customers")).sections
    assert sections["length_km"].tolist() == [1, KM_PER_MILE]


def test_classes_left_blank_beside_others_are_none(study):
    sections = study(**rows("b,,breaker,1,10,8,2", "f,b,fuse,1,5,,5", "s,f,,1,3,,",
                            head=f"{HEAD},customers_residential,customers_large_ci")).sections
    assert sections["customers_residential"].tolist() == [8, 0, 3]
    assert sections["customers_large_ci"].tolist() == [2, 5, 0]


def test_a_single_fault_current_is_no_fault_current_and_is_noted(study):
    found = study(**rows("b,,breaker,1,1,900,", "f,b,fuse,1,1,800,700",
                         head=f"{HEAD},fault_current_source_a,fault_current_end_a"))
    assert np.isnan(found.sections["fault_current_source_a"][0])
    assert found.sections["fault_current_source_a"][1] == 800
    assert "1 of 2 sections with only one of the two fault currents: both are taken as unknown." in found.notes


def test_what_is_unknown_is_noted_and_what_is_known_is_not(study):
    bare = " ".join(study().notes)
    for text in ("2 of 2 sections without fault currents", "1 of 2 sections with a fuse but neither fuse_link",
                 "no peak load (peak_load_a)"):
        assert text in bare
    head = f"{HEAD},fault_current_source_a,fault_current_end_a,fuse_link,peak_load_a"
    assert study(**rows("b,,breaker,1,1,900,800,,50", "f,b,fuse,1,1,800,700,65K,20", head=head)).notes == ()
    assert "No customer is served: indices per customer do not exist." in study(**rows("b,,breaker,1,0")).notes


@pytest.mark.parametrize(("written", "read"), [("65K", "65K"), ("65 k", "65K"), ("K65", "65K"), ("40t", "40T"),
                                               ("", "")])
def test_links_are_written_in_one_way(study, written, read):
    assert study(**with_column("fuse_link", "", written, "")).sections["fuse_link"][1] == read


@pytest.mark.parametrize("written", ["lateral_recloser", "Lateral Recloser", " LATERAL-RECLOSER "])
def test_devices_are_read_whatever_their_case(study, written):
    assert study(**rows("b,,breaker,1,1", f"f,b,{written},1,1")).sections["device"][1] == "lateral_recloser"


def test_numbers_are_read_as_written(study):
    numbers = study(**with_column("load_kw", "1e2", "+.5", "7.")).sections["load_kw"]
    assert numbers.tolist() == [100, 0.5, 7]
    assert study(**rows("b,,breaker,1,12.0")).sections["customers"][0] == 12


def test_a_file_separated_by_semicolons_has_decimal_commas(study):
    found = study(sections__csv=f"{HEAD.replace(',', ';')}\nb;;breaker;1,25;10\nf;b;fuse;2;20\n")
    assert found.sections["length_km"].tolist() == [1.25, 2]
    assert "semicolons" in found.notes[0]


def test_commas_beside_points_are_not_guessed_at(problems):
    found = problems(sections__csv=f"{HEAD.replace(',', ';')}\nb;;breaker;1,234;10\nf;b;fuse;2.5;20\n")
    assert [(p.row, p.column, p.value) for p in found] == [(2, "length_km", "1,234")]


BOTH_MI = "section_id,parent_id,device,length_km,length_mi,customers"
BROKEN = [
    # files, row, column, value, part of the rule, part of the remedy
    (rows(), None, None, None, "there is no section", "add a row a line section"),
    (rows("b,,breaker,1,1", "b,b,fuse,1,1"), 3, "section_id", "b", "used already in row 2", "its own id"),
    (rows("b,,breaker,1,1", ",b,fuse,1,1"), 3, "section_id", "", "a value is required here", "fill in section_id"),
    (rows("main,,breaker,1,1", "f,mian,fuse,1,1"), 3, "parent_id", "mian", "no section has this section_id",
     "did you mean 'main'?"),
    (rows("007,,breaker,1,1", "f,7,fuse,1,1"), 3, "parent_id", "7", "no section has this section_id", "'007'"),
    (rows("b,,breaker,1,1", "f,zzz,fuse,1,1"), 3, "parent_id", "zzz", "no section has this", "towards the source"),
    (rows("b,,breaker,1,1", "x,z,,1,1", "y,x,,1,1", "z,y,,1,1"), 3, "parent_id", "z",
     "parents form a cycle: x → z → y → x", "nearer the source"),
    (rows("b,,breaker,1,1", "x,x,,1,1"), 3, "parent_id", "x", "parents form a cycle: x → x", "nearer the source"),
    (rows("b,,,1,1"), 2, "device", "", "without a parent needs a breaker or recloser", "or the parent_id"),
    (rows("b,,fuse,1,1"), 2, "device", "fuse", "without a parent needs a breaker or recloser", "write the device"),
    (rows("b,,braeker,1,1"), 2, "device", "braeker", "unknown device", "did you mean 'breaker'?"),
    (rows("b,,breaker,1,1", "x,b,gate,1,1"), 3, "device", "gate", "unknown device", "write one of breaker, recloser"),
    (rows("b,,breaker,,1"), 2, "length_km", "", "a value is required here", "fill in length_km"),
    (rows("b,,breaker,1,"), 2, "customers", "", "a value is required here", "fill in customers"),
    (rows("b,,breaker,long,1"), 2, "length_km", "long", "not a number", "write a number in km"),
    (rows("b,,breaker,1.5 km,1"), 2, "length_km", "1.5 km", "text follows it", "the number alone in km"),
    (rows('b,,breaker,"1,234",1'), 2, "length_km", "1,234", "may separate thousands or be the decimal sign",
     "one decimal sign"),
    (rows("b,,breaker,1 234.5,1"), 2, "length_km", "1 234.5", "may separate thousands", "nothing between thousands"),
    (rows("b,,breaker,0x10,1"), 2, "length_km", "0x10", "not a plain number", "the number alone"),
    (rows("b,,breaker,1_000,1"), 2, "length_km", "1_000", "not a plain number", "the number alone"),
    (rows("b,,breaker,٣,1"), 2, "length_km", "٣", "not a", "write"),
    (rows("b,,breaker,-1,1"), 2, "length_km", "-1", "must not be negative", "Length"),
    (rows("b,,breaker,nan,1"), 2, "length_km", "nan", "not finite", "finite number in km"),
    (rows("b,,breaker,1e400,1"), 2, "length_km", "1e400", "not finite", "finite number"),
    (rows("b,,breaker,inf,1"), 2, "length_km", "inf", "not finite", "finite number"),
    (rows("b,,breaker,1e300,1"), 2, "length_km", "1e300", "beyond", "Length"),
    (rows("b,,breaker,1,2.5"), 2, "customers", "2.5", "must be a whole number", "Customers"),
    (rows("b,,breaker,1,-2"), 2, "customers", "-2", "must not be negative", "Customers"),
    (with_column("temporary_fraction", "0.5", "75%", "1"), 3, "temporary_fraction", "75%", "per cent sign",
     "like 0.25"),
    (with_column("temporary_fraction", "0.5", "1.5", "0"), 3, "temporary_fraction", "1.5", "must lie between 0 and 1",
     "Share of temporary"),
    (with_column("tie_probability", "0", "1", "-0.1"), 4, "tie_probability", "-0.1", "must lie between 0 and 1", "Alt"),
    (with_column("tie_section_id", "", "f", "b"), 3, "tie_section_id", "f", "itself is on this side", "the other side"),
    (with_column("peak_load_a", "n/a", "1", "1"), 2, "peak_load_a", "n/a", "not a number", "leave the cell blank"),
    (with_column("fault_current_end_a", "1", "0", "1"), 3, "fault_current_end_a", "0", "must be above 0", "far end"),
    (with_column("phases", "3", "4", "1"), 3, "phases", "4", "must lie between 1 and 3", "1, 2 or 3"),
    (with_column("phases", "2", "3", "1"), 3, "phases", "3", "more phases than its parent b, which has 2",
     "correct the"),
    (with_column("phases", "", "", "2"), 4, "phases", "2", "which has 1 (left blank", "state the phases of both"),
    (with_column("counts", "4", "", ""), 2, "counts", "4", "must lie between 1 and 3", "sectionalizer"),
    (with_column("customers_residential", "10", "9", "10"), 3, "customers", "10", "sum to 9, not to customers",
     "correct"),
    (with_column("fuse_link", "", "big", ""), 3, "fuse_link", "big", "not readable as a fuse link", "like 65K or 40T"),
    (with_column("fuse_link", "", "60K", ""), 3, "fuse_link", "60K", "not in the reference table",
     "nearest there is 65K"),
    (with_column("fuse_link", "", "65N", ""), 3, "fuse_link", "65N", "of this type are not", "saving_ceiling_a"),
    (with_column("fast_operations", "4", "", ""), 2, "fast_operations", "4",
     "fast operations (4) must be below operations to lockout (4 from [protection])", "write 3 or less"),
    (with_column("operations_to_lockout", "2", "", ""), 2, "fast_operations", "",
     "fast operations (2 from [protection]) must be below operations to lockout (2)", "write 1 or less"),
    (with_column("operations_to_lockout", "1", "", ""), 2, "fast_operations", "",
     "must be below operations to lockout (1)",
     "write 0, or more"),
    (with_column("operations_to_lockout", "0", "", ""), 2, "operations_to_lockout", "0", "must lie between 1 and 10",
     "Of a"),
    (rows("b,,breaker,1,1,2,1", "f,b,sectionalizer,1,1,,", head=f"{HEAD},operations_to_lockout,fast_operations"),
     3, "counts", "", "counts (2 from [protection]) are above operations to lockout − 1 of the device above it, b (2)",
     "write 1 or less"),
    (rows("b,,breaker,1,1,1,0,",
     "f,b,sectionalizer,1,1,,,1", head=f"{HEAD},operations_to_lockout,fast_operations,counts"),
     3, "counts", "1", "counts (1) are above", "needs a device above it that recloses"),
    (rows("b,,breaker,1,1,,", "l,b,lateral_recloser,1,1,2,", "f,l,sectionalizer,1,1,,2",
          head=f"{HEAD},operations_to_lockout,counts"), 4, "counts", "2", "of the device above it, l (2)", "write 1"),
    (rows("b,,breaker,1,2,1", head=BOTH_MI), 2, "length_mi", "2", "length_km and length_mi are both given",
     "leave one"),
    (rows("b,,breaker,,,1", head=BOTH_MI), 2, "length_km", "", "a value is required here", "fill in length_km"),
    (rows("b,,breaker,1,1,1,2", head=f"{HEAD},line_fault_rate_per_km,line_fault_rate_per_mi"), 2,
     "line_fault_rate_per_mi", "2", "are both given", "leave one of the two blank"),
    (rows("b,,breaker,1,1,x"), 2, None, "x", "more cells than the 5 headers", "quotation marks"),
]


@pytest.mark.parametrize(("files", "row", "column", "value", "rule", "remedy"), BROKEN,
                         ids=lambda x: x if isinstance(x, str) else None)
def test_a_broken_study_says_where_what_and_how_to_mend_it(problems, files, row, column, value, rule, remedy):
    found = problems(**files)
    assert len(found) == 1, found
    (problem,) = found
    assert (problem.file, problem.row, problem.column, problem.value) == ("sections.csv", row, column, value)
    assert rule in problem.rule
    assert remedy in problem.remedy


SOUND = [
    with_column("operations_to_lockout", "3", "", ""),
    with_column("fast_operations", "3", "", ""),
    with_column("phases", "3", "3", "2"),
    with_column("temporary_fraction", "0", "1", ""),
    with_column("counts", "", "3", ""),  # of a fuse: belongs to another device, is let be
    rows("b,,breaker,1,1,3,2", "f,b,sectionalizer,1,1,,", head=f"{HEAD},operations_to_lockout,fast_operations"),
    rows("b,,breaker,1,1,", "l,b,lateral_recloser,1,1,1", head=f"{HEAD},operations_to_lockout"),  # fast 0 by default
    rows("b,,breaker,1,1,,", "f,b,sectionalizer,1,1,,3", head=f"{HEAD},operations_to_lockout,counts"),
    rows('"b,""1\n2",,breaker,1,1', 'x,"b,""1\n2",,1,1'),
    rows("b,,breaker,0,0"),
]


@pytest.mark.parametrize("files", SOUND)
def test_a_sound_study_has_no_problem(problems, files):
    assert problems(**files) == []


def test_several_problems_come_in_the_order_of_rows(problems):
    found = problems(**rows("b,,breaker,-1,1.5", "f,q,fuse,x,", "f,b,fuze,1,1"))
    assert [(p.row, p.column) for p in found] == [
        (2, "length_km"), (2, "customers"), (3, "length_km"), (3, "customers"), (3, "parent_id"), (4, "device"),
        (4, "section_id")]


def test_a_missing_key_column_says_nothing_of_the_tree(problems):
    found = problems(**rows("b,breaker,1,1", "f,fuse,1,1", head="section_id,device,length_km,customers"))
    assert [(p.row, p.column) for p in found] == [(1, "parent_id")]


def test_a_long_cycle_is_shortened_in_the_middle(problems):
    lines = ["b,,breaker,1,1"] + [f"s{i},s{(i + 1) % 5000},,1,1" for i in range(5000)]
    (problem,) = problems(**rows(*lines))
    assert problem.row == 3
    assert problem.rule.startswith("parents form a cycle: s0 → s1 → s2 → ")
    assert "more …" in problem.rule
    assert problem.rule.endswith("s4999 → s0")
    assert len(problem.rule) < 1000


def test_each_cycle_is_named_once_and_what_hangs_from_it_is_not(problems):
    found = problems(**rows("b,,breaker,1,1", "x,y,,1,1", "y,x,,1,1", "below,x,,1,1", "u,v,,1,1", "v,u,,1,1"))
    assert [p.rule for p in found] == ["parents form a cycle: x → y → x", "parents form a cycle: u → v → u"]


FEEDER = rows("b,,breaker,1,1,4,", "r,b,recloser,1,1,3,", "f,b,fuse,1,1,,", "sub,f,fuse,1,1,,", "g,r,fuse,1,1,,",
              "s,g,sectionalizer,1,1,,2", "l,r,lateral_recloser,1,1,4,", "t,l,sectionalizer,1,1,,3", "w,b,switch,1,1,,",
              head=f"{HEAD},operations_to_lockout,counts")


@pytest.mark.parametrize(("scenario", "column", "value", "rule", "remedy"), [
    ("laterals = ['ff']", "laterals", "ff", "no section has this id", "did you mean"),
    ("laterals = ['sub']", "laterals", "sub", "the device of this section cannot be converted",
     "whose next device above recloses"),
    ("laterals = ['w']", "laterals", "w", "the device of this section cannot be converted", "headed by a fuse"),
    ("laterals = ['s']\ncounts = 1", "laterals", "s", "the device of this section cannot be converted",
     "whose next device above recloses"),
    ("laterals = ['l']\ndevice = 'fuse'", "laterals", "t", "3 counts at section t are above operations to lockout − 1 "
     "of the device that would stand above it, r (3)",
     "set its counts to 2 or less in the sections, or leave l as it is"),
    ("fast_operations = 3", "fast_operations", "3", "must be below operations to lockout of section r (3)",
     "write 2 or less"),
])
def test_a_scenario_that_the_network_cannot_take_is_named(problems, scenario, column, value, rule, remedy):
    found = problems(study__toml=f'name = "x"\n[[scenarios]]\nname = "n"\n{scenario}\n', **FEEDER)
    assert len(found) == 1, found
    (problem,) = found
    assert (problem.file, problem.column, problem.value) == ("study.toml", f"scenarios[1].{column}", value)
    assert problem.row is not None
    assert rule in problem.rule
    assert remedy in problem.remedy


def test_no_counts_are_advised_below_a_device_of_one_operation(problems):
    network = rows("b,,breaker,1,1,4,0,", "r,b,recloser,1,1,1,0,", "l,r,lateral_recloser,1,1,4,0,",
                   "w,l,switch,1,1,,,", "t,w,sectionalizer,1,1,,,2",
                   head=f"{HEAD},operations_to_lockout,fast_operations,counts")
    scenario = "[[scenarios]]\nname = 'n'\nlaterals = ['l']\ndevice = 'fuse'\n"
    found = problems(study__toml=f"name = 'x'\n{scenario}", **network)
    assert [problem.remedy for problem in found] == ["leave l as it is"]


@pytest.mark.parametrize(("lines", "said"), [
    (("b,,breaker,1,10", "f,b,fuse,2,20", "Total,,,3,30"), ["customers"]),
    (("b,,breaker,1,10", "f,b,fuse,2,20", "Grand total:,,,3,99"), ["length_km"]),
    (("b,,breaker,1,10", "f,b,fuse,2,20", "Subtotal,,,3,30", "c,,breaker,1,7", "Total (c),,,1,7", "Total,,,4,37"),
     ["customers", "customers", "customers"]),
    (("b,,breaker,1,10", "Sum,b,fuse,2,20", "total loss,b,fuse,2,20"), []),
])
def test_rows_of_totals_are_told_and_nothing_else_of_them(problems, lines, said):
    found = problems(**rows(*lines))
    assert [problem.rule for problem in found] == [f"a row of totals: its {column} are the sum of those above"
                                                  for column in said]


def test_a_lateral_that_is_no_section_is_reported_with_a_cell_that_is_wrong(problems):
    found = problems(study__toml='name = "x"\n[[scenarios]]\nname = "n"\nlaterals = ["f", "g"]',
                     **rows("b,,breaker,-1,1", "f,b,fuse,1,1"))
    assert [(p.file, p.value) for p in found] == [("study.toml", "g"), ("sections.csv", "-1")]


def test_a_title_above_the_header_is_all_that_is_reported(problems):
    found = problems(sections__csv=f"Export,of 2024\n\n{HEAD}\nb,,breaker,1,1\n")
    assert [(p.row, p.rule) for p in found] == [(1, "none of the headers is a known column")]


def test_what_is_hardly_meant_is_asked_about(study):
    head = f"{HEAD},peak_load_a,fault_current_source_a,fault_current_end_a"
    notes = "\n".join(study(**rows("b,,breaker,1900,1,200,2.7,1.65", "f,b,fuse,100,1,20,900,950", head=head)).notes)
    assert "1 of 2 sections longer than 100 km" in notes
    assert "1 of 2 sections with a fault current under 2 × the peak load" in notes
    assert "1 of 2 sections with more fault current at the far end" in notes
    fine = study(**rows("b,,breaker,20,1,200,400,400", head=head)).notes
    assert not [note for note in fine if "?" in note]
    assert not [n for n in study(**rows("b,,breaker,100,1,200,400,400", head=head)).notes if "longer than" in n]


def test_fast_operations_where_there_is_no_reclosing(problems):
    found = problems(study__toml='name = "x"\n[[scenarios]]\nname = "n"\nfast_operations = 1',
                     **rows("b,,breaker,1,1,1,0", head=f"{HEAD},operations_to_lockout,fast_operations"))
    assert [p.remedy for p in found] == ["write 0"]


@pytest.mark.parametrize("scenario", [
    "laterals = ['f']\ncounts = 3",
    "laterals = ['f', 'g']\ncounts = 3",
    "laterals = ['t']\ncounts = 3",
    "laterals = ['f', 'g', 'l']\ncounts = 2\ndevice = 'lateral_recloser'",
    "laterals = ['g']\ndevice = 'lateral_recloser'",
    "laterals = ['g']\ncounts = 3\napplicable_only = true",
    "fast_operations = 2",
    "laterals = []",
])
def test_a_scenario_that_the_network_can_take_is_none(problems, scenario):
    assert problems(study__toml=f'name = "x"\n[[scenarios]]\nname = "n"\n{scenario}\n', **FEEDER) == []


@pytest.mark.parametrize(("scenario", "lowered"), [("", False), ("counts = 1", False), ("counts = 2", True)])
def test_a_scenario_without_counts_leaves_those_of_a_sectionalizer_that_stands_there(study, scenario, lowered):
    """Two operations admit the one count that it has; the two of [protection] are for new devices only.

    A scenario's own counts are lowered to what the operations admit, and that is told.
    """
    lines = rows("b,,breaker,1,1,2,", "s,b,sectionalizer,1,1,,1", head=f"{HEAD},operations_to_lockout,counts")
    toml = 'name = "x"\n[protection]\nfast_operations = 1\n[[scenarios]]\nname = "n"\ndevice = "sectionalizer"\n'
    told = [note for note in study(study__toml=f"{toml}{scenario}\n", **lines).notes if "lowered" in note]
    assert told == ["Scenario n: 1 lateral (s): counts are lowered to one less than the operations to lockout of the "
                    "device above."] * lowered


def test_what_becomes_otherwise_than_a_scenario_asks_is_told(study):
    """Fifty laterals behind three operations, one behind a recloser of a single one, and one underground."""
    lines = ["b,,breaker,1,1,3,", "r,b,recloser,1,1,1,", "o,r,fuse,1,1,,", "u,b,fuse,1,1,,underground"]
    lines += [f"f{i},b,fuse,1,1,," for i in range(50)]
    scenario = 'name = "x"\n[protection]\nfast_operations = 0\n[[scenarios]]\nname = "n"\ncounts = 3\n'
    told = study(study__toml=scenario, **rows(*lines, head=f"{HEAD},operations_to_lockout,construction")).notes
    assert [note for note in told if note.startswith("Scenario n")] == [
        "Scenario n: 50 laterals (f0, f1, f2, f3, f4 …): counts are lowered to one less than the operations to "
        "lockout of the device above.",
        "Scenario n: 1 lateral (o): not converted: the device above has a single operation, in which no "
        "sectionalizer opens.",
        "Scenario n: 1 lateral (u): not converted: underground."]


def test_many_sectionalizers_behind_a_changed_device_are_counted(problems):
    """Four operations of the lateral recloser admit three counts, the three of the breaker do not."""
    lines = ["b,,breaker,1,1,3,", "l,b,lateral_recloser,1,1,4,"]
    lines += [f"s{i},l,sectionalizer,1,1,,3" for i in range(50)]
    found = problems(study__toml='name = "x"\n[[scenarios]]\nname = "n"\nlaterals = ["l"]\ndevice = "fuse"\n',
                     **rows(*lines, head=f"{HEAD},operations_to_lockout,counts"))
    assert len(found) == 6
    assert found[-1].rule == "45 more sectionalizers have too many counts"


def test_laterals_all_without_any_lateral_is_sound(problems):
    text = 'name = "x"\n[[scenarios]]\nname = "n"\nlaterals = "all"'
    assert problems(study__toml=text, **rows("b,,breaker,1,1")) == []
