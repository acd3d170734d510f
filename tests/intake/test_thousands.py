"""Separated thousands in exports: read where the cells leave one reading, asked for once a table elsewhere."""

from __future__ import annotations

import pytest

from reliability.intake import NO_RECIPE, import_exports, prepare, read_exports, read_recipe
from reliability.intake.deciding import open_by_step, with_decimal
from reliability.intake.decisions import NUMBER
from reliability.intake.notes import notes
from reliability.intake.offered import offered_recipe
from reliability.intake.thousands import plain_numbers
from reliability.schema.problems import StudyError
from tests.intake.small import CUSTOMERS, SEGMENTS, take, write


@pytest.mark.parametrize(("columns", "whole", "semicolons", "plain"), [
    ({"n": ["1 234", "12\u00a0345\u202f678.5", "1'234", "56"]}, [], False, {"n": ["1234", "12345678.5", "1234", "56"]}),
    ({"n": ["5,399", "56"], "d": ["0.35"]}, [], False, {"n": ["5399", "56"], "d": ["0.35"]}),
    ({"n": ["5,399", "1,234.5"]}, [], False, {"n": ["5399", "1234.5"]}),
    ({"n": ["5,000", "1,234,000"]}, [], False, {"n": ["5000", "1234000"]}),
    ({"n": ["5,399", "1,000"]}, ["n"], False, {"n": ["5399", "1000"]}),
    ({"n": ["5,000"], "c": ["1,204"]}, ["c"], False, {"n": ["5000"], "c": ["1204"]}),
    ({"n": ["2,45", "5,399"]}, [], False, {"n": ["2.45", "5.399"]}),
    ({"n": ["1.204", "1.000"]}, ["n"], False, {"n": ["1204", "1000"]}),
    ({"n": ["1.204", "1.000"]}, ["n"], True, {"n": ["1204", "1000"]}),
    ({"n": ["2,4", "3.900"]}, [], True, {"n": ["2.4", "3900"]}),
    ({"n": ["1.234,5", "3.900"]}, [], True, {"n": ["1234.5", "3900"]})])
def test_columns_that_leave_one_reading_are_plain(columns, whole, semicolons, plain):
    found = plain_numbers(columns, whole, semicolons, "")
    assert (found.texts, found.open) == (plain, {})
    assert set(found.read) == {n for n in columns if columns[n] != plain[n]}


@pytest.mark.parametrize(("columns", "whole", "semicolons"), [
    ({"n": ["5,399", "56"]}, [], False), ({"n": ["1,000", "2,000"]}, ["n"], False),
    ({"n": ["1.000", "2.000"]}, ["n"], False), ({"n": ["3.900"], "c": ["1.204"]}, ["c"], False),
    ({"n": ["2,4"], "d": ["3.900"]}, [], True)])
def test_columns_with_two_readings_are_open_until_the_sign_is_stated(columns, whole, semicolons):
    found = plain_numbers(columns, whole, semicolons, "")
    assert found.open
    for sign, other in (".,", ",."):
        stated = plain_numbers(columns, whole, semicolons, sign)
        assert not stated.open
        if not semicolons:
            assert stated.texts == {n: [t.replace(other, "").replace(",", ".") for t in column]
                                    for n, column in columns.items()}


@pytest.mark.parametrize(("columns", "semicolons"), [
    ({"n": ["1.234", "0.5"]}, False), ({"n": ["2,4"]}, True), ({"n": ["1.5"]}, True),
    ({"n": ["12", "", "1e3"]}, False)])
def test_usual_columns_stay_as_they_are(columns, semicolons):
    found = plain_numbers(columns, [], semicolons, "")
    assert (found.texts, found.read, found.open, found.settled) == (columns, {}, {}, frozenset())


def test_signs_that_contradict_each_other_remain_a_problem(tmp_path):
    with pytest.raises(StudyError, match=r"row 3.*'2,45': not a plain number"):
        take(tmp_path, segments=SEGMENTS.replace("1000", "0.5").replace("2000", '"2,45"'))


def test_an_import_reads_them_with_a_note(tmp_path):
    text = SEGMENTS.replace("2000", '"2,000"').replace("1000", '"1,000"').replace(",300,", ",300.5,")
    imported = take(tmp_path, segments=text, customers=CUSTOMERS.replace("X1,M2,,,10", "X1,M2,,,1 210"))
    assert imported.report.totals["km"].iloc[-1] == pytest.approx(3.8005)
    assert imported.report.totals["customers"].iloc[-1] == 1215
    said = notes(prepare(read_exports(tmp_path)))
    assert "segments.csv: numbers with separated thousands or another decimal sign: length_m 1,000 as 1000." in said
    assert "customers.csv: numbers with separated thousands or another decimal sign: customers 1 210 as 1210." in said


def test_an_import_asks_once_a_table_and_the_recipe_answers(tmp_path):
    folder = write(tmp_path, segments=SEGMENTS.replace("2000", '"2,000"').replace("1000", '"1,000"'))
    exports = read_exports(folder)
    prepared = prepare(exports)
    assert [(d.step, d.value) for d in prepared.decisions] == [(NUMBER, "1,000")]
    assert open_by_step(prepared)["units"] == 1
    with pytest.raises(StudyError, match=r'under \[\[files\]\] for segments.csv: decimal = "\."'):
        import_exports(folder)
    with pytest.raises(StudyError, match=r"decimal: '\?': not a decimal sign"):
        read_recipe(offered_recipe(prepared).text.encode())
    one = next(one for one in prepared.recognised if one.kind == "segments")
    for sign, km in ((".", 3.8), (",", 0.803)):
        recipe = read_recipe(with_decimal(NO_RECIPE, one, sign).text.encode())
        assert recipe.files[0].decimal == sign
        imported = import_exports(folder, recipe)
        assert imported.report.totals["km"].iloc[-1] == pytest.approx(km)
        assert {f.decimal for f in read_recipe(imported.recipe.text.encode()).files if f.kind == "segments"} == {sign}
