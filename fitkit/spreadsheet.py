"""Tables that a maker opens in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

__all__ = ["read_spreadsheet", "spreadsheet"]

# A spreadsheet that is given no other sign takes the machine's old code page, and shows every sign
# beyond ASCII, "4 × 8" say, as two wrong ones.
_ENCODING = "utf-8-sig"


def spreadsheet(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """Return a table as CSV (RFC 4180): commas, CRLF, decimal points, UTF-8 with its mark."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\r\n")
    table.writerow(columns)
    table.writerows(rows)
    return text.getvalue().encode(_ENCODING)


def read_spreadsheet(content: bytes) -> list[dict[str, str]]:
    """Return a table's rows by column, with or without the mark before it.

    Raises
    ------
    UnicodeDecodeError
        When it is no UTF-8.
    """
    return list(csv.DictReader(io.StringIO(content.decode(_ENCODING), newline="")))
