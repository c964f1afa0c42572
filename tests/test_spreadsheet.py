"""Tables for a spreadsheet: RFC 4180, and the mark by which UTF-8 is known."""

from __future__ import annotations

import codecs

from fitkit.spreadsheet import read_spreadsheet, spreadsheet


def test_a_table_is_as_rfc_4180_has_it_and_says_that_it_is_utf_8() -> None:
    """RFC 4180, 2: lines end in CRLF, a field that holds a comma or a quote stands in quotes.

    Without the byte order mark (RFC 3629, 6) a spreadsheet may take "×" for two signs of another
    code page.
    """
    table = spreadsheet(["part", "size"], [["cap, left", "4 × 8"], ['5" strap', 2.5]])
    assert table.startswith(codecs.BOM_UTF8)
    body = table.removeprefix(codecs.BOM_UTF8).decode("utf-8")
    assert body == 'part,size\r\n"cap, left",4 × 8\r\n"5"" strap",2.5\r\n'


def test_it_is_read_back_with_or_without_its_mark() -> None:
    table = spreadsheet(["part", "size"], [["Schürze", "two\r\nlines"]])
    rows = [{"part": "Schürze", "size": "two\r\nlines"}]
    assert read_spreadsheet(table) == rows
    assert read_spreadsheet(table.removeprefix(codecs.BOM_UTF8)) == rows
