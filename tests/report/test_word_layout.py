"""Columns of a printed table: as wide as their texts need."""

from __future__ import annotations

import numpy as np
import pytest

from reliability.report.blocks import Heading, Table, Text, tables
from reliability.report.documents import sections
from reliability.report.type_width import longest_word, text_width
from reliability.report.word import turned_pages
from reliability.report.word_layout import PADDING, SIZES, TURNED, UPRIGHT, TableLayout, TextColumn, arranged, layout
from reliability.report.word_tables import cells_of


def test_no_word_and_no_number_of_the_report_is_broken(content):
    turned = 0
    for table in tables(sections(content)):
        if table.shown:
            columns, found = arranged(cells_of(table))
            turned += found.turned
            assert sum(found.widths) == pytest.approx(TURNED if found.turned else UPRIGHT), table.key
            assert found.size in SIZES
            assert min(SIZES) >= 8
            for column, width in zip(columns, found.widths, strict=True):
                for text, bold in [(column.header.replace("-", "- "), True), *((t, False) for t in column.texts)]:
                    assert longest_word(text, found.size, bold) <= width - PADDING + 1e-9 or len(text) > 24, (
                        table.key, column.header, text)
    assert turned <= 3


def test_long_texts_get_the_room_that_numbers_do_not_need():
    found = layout([TextColumn("No", [str(n) for n in range(9)], True), TextColumn("What", ["word " * 60] * 9, False)])
    assert found.widths[1] > 10 * found.widths[0]
    assert not found.turned


def test_the_page_is_turned_only_where_nothing_else_fits():
    columns = [TextColumn(f"Interruptions{k}", ["123"], True) for k in range(8)]
    assert not layout(columns[:5]).turned
    assert layout(columns).turned == (8 * (longest_word("Interruptions0", 8, bold=True) + PADDING) > UPRIGHT)
    wide = layout([TextColumn("Interruptions", ["123"], True)] * 30)
    assert wide == TableLayout(8.0, wide.widths, True)
    assert np.ptp(wide.widths) < 1e-9
    assert sum(wide.widths) == pytest.approx(TURNED)


def test_one_row_of_many_columns_is_printed_as_a_list():
    columns = [TextColumn("Choice", ["all"], False),
               *(TextColumn(f"Interruptions {k}", [str(k)], True) for k in range(12))]
    assert layout(columns).turned
    printed, found = arranged(columns)
    assert not found.turned
    assert [c.header for c in printed] == ["Choice", "all"]
    assert printed[0].texts == [c.header for c in columns[1:]]
    assert printed[1] == TextColumn("all", [str(k) for k in range(12)], True)
    three = [TextColumn(c.header, list(c.texts) * 3, c.number) for c in columns]
    assert arranged(three) == (three, layout(three))


def test_a_smaller_type_is_taken_where_it_saves_lines():
    def table(width: float) -> list[TextColumn]:
        """Rows whose text is so many points wide at a size of 1, on one line."""
        word = "nnnn "
        return [TextColumn("What", [(word * round(width / text_width(word, 1.0))).strip()] * 20, False)]

    room = UPRIGHT - PADDING
    assert layout(table(0.9 * room / 9.0)).size == 9.0
    assert layout(table(0.99 * room / 8.0)).size == 8.0


def test_what_stands_between_turned_tables_is_turned_too():
    table = Table("t", "T", (), None)
    wide, tall = TableLayout(8.0, (), True), TableLayout(9.0, (), False)
    blocks = [Text(("a",)), Heading("b"), table, Text(("c",)), table, table, Text(("d",))]
    found = turned_pages(blocks, [None, None, wide, None, wide, tall, None])
    assert found == [False, True, True, True, True, False, False]
