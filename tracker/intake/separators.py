"""From a file to rows of cells: its encoding, its separator, its quotation marks, and how long a row may be.

Rows are taken one at a time and every length has a limit, so that a file of rubbish, however large, needs no more
memory than a good one's longest row.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

LONGEST_ROW = 500_000
"""Characters of one row, its line breaks inside quotation marks included."""

_ADVICE = "save it as 'CSV UTF-8', separated by commas or semicolons"

_SIGNATURES = (
    (b"\xff\xfe", f"is UTF-16 text; {_ADVICE}."),
    (b"\xfe\xff", f"is UTF-16 text; {_ADVICE}."),
    (b"PK\x03\x04", f"is a spreadsheet or a packed archive, not a text file; open it and {_ADVICE}."),
    (b"\xd0\xcf\x11\xe0", f"is an old spreadsheet, not a text file; open it and {_ADVICE}."),
    (b"\x1f\x8b", "is compressed; unpack it first."),
    (b"%PDF", "is a PDF document; a CSV file is needed."),
    (b"SQLite format 3\x00", "is a database; a CSV file is needed (the command 'restore' takes a backup)."),
)


class UnreadableRestError(Exception):
    """The rest of a file cannot be read; only raised and caught in this room."""

    def __init__(self, line: int, message: str) -> None:
        super().__init__(message)
        self.line = line
        self.message = message


def foreign_format(path: Path) -> str | None:
    """Return what a file is, and what to do, when its first bytes show that it is not text."""
    with path.open("rb") as file:
        head = file.read(16)
    return next((message for signature, message in _SIGNATURES if head.startswith(signature)), None)


def open_text(path: Path) -> TextIO:
    """Open a file as UTF-8 with or without a byte-order mark; bytes that are not UTF-8 are found line by line."""
    return path.open(encoding="utf-8-sig", errors="surrogateescape", newline="")


class Lines:
    """The lines of a file, each looked over; `fault` holds what is wrong with a line that was handed on."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self.line = 0
        self.row_length = 0
        self.row_line = 1
        self.fault: tuple[int, str] | None = None

    def begin_row(self) -> None:
        """Take the next line for the first of a row."""
        self.row_line = self.line + 1
        self.row_length = 0
        self.fault = None

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        line = self._stream.readline(LONGEST_ROW + 1)
        if not line:
            raise StopIteration
        self.line += 1
        self.row_length += len(line)
        if self.row_length > LONGEST_ROW:
            raise UnreadableRestError(
                self.row_line,
                f"this row is longer than {LONGEST_ROW:,} characters, so that the rest of the file was not read; "
                "look for a missing line break or a quotation mark that is not closed.",
            )
        if "\0" in line:
            self.fault = (self.line, f"holds a NUL character (code 0), which is no text; {_ADVICE}.")
        elif not line.isascii():
            self._check_encoding(line)
        return line

    def _check_encoding(self, line: str) -> None:
        try:
            line.encode()
        except UnicodeEncodeError as error:
            byte = ord(line[error.start]) - 0xDC00
            self.fault = (self.line, f"is not UTF-8 text (byte 0x{byte:02X} at character {error.start + 1}); {_ADVICE}.")


def split_header(line: str, known: frozenset[str]) -> tuple[str, list[str]]:
    """Return the separator of a file and its column names, from its header."""
    best: tuple[int, int] = (-1, -1)
    found = (",", [""])
    for separator in (",", ";"):
        try:
            cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True))
        except (csv.Error, StopIteration):
            continue
        names = [cell.strip().lower() for cell in cells]
        score = (len(known.intersection(names)), len(names))
        if score > best:
            best, found = score, (separator, names)
    return found


class Rows:
    """The rows of a file behind its header: the line each begins on and its cells. Blank rows are left out.

    Parameters
    ----------
    lines : Lines
        From the first line behind the header on.
    separator : str
        Between cells.
    """

    def __init__(self, lines: Lines, separator: str) -> None:
        self._lines = lines
        self._reader = csv.reader(lines, delimiter=separator, skipinitialspace=True, strict=True)
        self.fault: str | None = None
        """What is wrong with the row last returned as a whole; its cells are then not to be read."""

    def __iter__(self) -> Iterator[tuple[int, list[str]]]:
        lines, reader = self._lines, self._reader
        while True:
            lines.begin_row()
            self.fault = None
            try:
                row = next(reader)
            except StopIteration:
                return
            except csv.Error as error:
                self.fault = _quotes_fault(str(error))
                yield lines.row_line, []
                continue
            if lines.fault is not None:
                line, self.fault = lines.fault
                yield line, []
            elif any(row) and not "".join(row).isspace():
                yield lines.row_line, row


def _quotes_fault(complaint: str) -> str:
    if "expected after" in complaint:
        return (
            "has a quotation mark inside a cell in quotation marks; write a quotation mark that belongs to the text twice, "
            "and put a separator right behind the closing one."
        )
    if "larger than field limit" in complaint or "end of data" in complaint:
        return "has a cell that opens with a quotation mark and is not closed; close it, or write it twice where it belongs to the text."
    return f"cannot be split into cells ({complaint}); look at its quotation marks."
