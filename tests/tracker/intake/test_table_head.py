"""Tables whose columns nobody knows: their header and first rows, or nothing where a file is no such table."""

from __future__ import annotations

from pathlib import Path

import pytest

from tracker.intake.table_head import table_head

ROWS = "0.0;7,41;12,5\n0.1;7,40;12,6\n0.2;7,39;12,7\n"


@pytest.mark.parametrize(
    ("text", "header", "first"),
    [
        ("a;b;c\n" + ROWS, ("a", "b", "c"), ("0.0", "7,41", "12,5")),
        ("Logger 3\nbegun;today\n\na;b;c\n" + ROWS, ("a", "b", "c"), ("0.0", "7,41", "12,5")),
        ("when\tx\ty\n2025-01-01T10:00:00\t1\t2\n", ("when", "x", "y"), ("2025-01-01T10:00:00", "1", "2")),
        ('"a, b",c,d\n1,2,3\n', ("a, b", "c", "d"), ("1", "2", "3")),
    ],
)
def test_the_header_is_the_line_above_the_numbers(tmp_path: Path, text: str, header: tuple[str, ...], first: tuple[str, ...]) -> None:
    file = tmp_path / "log"
    file.write_text(text, "utf-8")
    found, rows = table_head(file)
    assert (found, rows[0]) == (header, first)
    assert len(rows) <= 5


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"one,two\n1,2\n",
        b"Dear all,\nplease, find, enclosed\n",
        b"1,2,3\n4,5,6\n",
        b"\x89PNG\r\n\x1a\n" + bytes(range(256)),
        b"a,b,c\n1,2\x00,3\n",
        b"SQLite format 3\x00" + bytes(100),
        b"a,b,c\nx,y,z\n",
    ],
)
def test_what_is_no_table_of_numbers_has_no_header(tmp_path: Path, body: bytes) -> None:
    file = tmp_path / "log"
    file.write_bytes(body)
    assert table_head(file) == ((), ())
