"""The columns and first rows of a table whose headers nobody knows, so that a person can say which column is which."""

from __future__ import annotations

import csv
from pathlib import Path

from tracker.intake.separators import foreign_format

_HEAD_BYTES = 65_536
_LINES, _ROWS = 60, 5
_SEPARATORS = (";", "\t", ",", "|")
_LEAST_COLUMNS, _MOST_COLUMNS = 3, 200

Row = tuple[str, ...]


def table_head(path: Path) -> tuple[Row, tuple[Row, ...]]:
    """Return headers and the first rows of a table of numbers, or nothing where a file is none."""
    if foreign_format(path) is not None:
        return (), ()
    with path.open("rb") as file:
        head = file.read(_HEAD_BYTES)
    if b"\0" in head:
        return (), ()
    text = head.decode("utf-8-sig", errors="replace")
    lines = [line for line in text.splitlines()[:_LINES] if line.strip()]
    best: tuple[int, int, tuple[Row, tuple[Row, ...]]] = (0, 0, ((), ()))
    for separator in _SEPARATORS:
        rows = [_split(line, separator) for line in lines]
        for place, header in enumerate(rows):
            below = [row for row in rows[place + 1 :] if len(row) == len(header)]
            if (
                _LEAST_COLUMNS <= len(header) <= _MOST_COLUMNS
                and below
                and not _numbers(header)
                and _numbers(below[-1]) >= _LEAST_COLUMNS - 1
            ):
                found = (len(below), len(header), (header, tuple(below[:_ROWS])))
                best = max(best, found, key=lambda one: one[:2])
    return best[2]


def _split(line: str, separator: str) -> Row:
    try:
        return tuple(cell.strip() for cell in next(csv.reader([line], delimiter=separator, skipinitialspace=True)))
    except (csv.Error, StopIteration):
        return ()


def _numbers(row: Row) -> int:
    """How many cells are numbers, with decimal point or comma."""
    return sum(_is_number(cell) for cell in row)


def _is_number(cell: str) -> bool:
    try:
        float(cell.replace(",", "."))
    except ValueError:
        return False
    return True
