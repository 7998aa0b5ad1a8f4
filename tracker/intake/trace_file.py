"""A logger's file before its numbers are read: its letters, separator, header, and the shape of every line.

The file is gone through once in pieces, so that rubbish of any size is refused without being held in memory.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tracker.errors import BadRow, ImportRefusedError
from tracker.intake.separators import foreign_format
from tracker.intake.text import shown
from tracker.intake.trace_headers import Matched, match, place_of, unit_word

MOST_BYTES = 1_000_000_000
LONGEST_LINE = 65_536
"""Bytes of one line."""
HEADER_WITHIN = 200
"""So many lines are looked at for the header."""
MOST_COLUMNS = 2_000
_LETTER = re.compile(r"[^\W\d_]")
_PIECE = 1 << 20
_HEAD = 1 << 18
_SEPARATORS = (";", "\t", ",", "|")
_MOST_BAD = 50
_NEWLINE, _RETURN, _QUOTE = 10, 13, 34
NEEDED = ("time", "volts", "amps")


@dataclass(frozen=True, kw_only=True, slots=True)
class TraceLayout:
    """How a logger's file is laid out."""

    path: Path
    encoding: str
    separator: str
    headers: tuple[str, ...]
    matched: Matched
    first_row: int
    """Lines before the first row of numbers."""
    rows: int = 0
    """Lines to be read behind that; blank ones and a last one that is cut off are not behind it."""
    width: int = 0
    """Cells of a line: as many as headers, or more where lines end with a separator."""
    doubts: tuple[str, ...] = ()
    first_rows: tuple[tuple[str, ...], ...] = field(default=())


def refuse(path: Path, line: int, column: str, message: str) -> ImportRefusedError:
    """Return the refusal of a file for one thing."""
    return ImportRefusedError([BadRow(str(path), line, column, message)])


def lay_out(path: Path, named: Mapping[str, str] | None = None) -> TraceLayout:
    """Find a logger's header and look every line over; `named` gives headers by role.

    Raises
    ------
    ImportRefusedError
        When it is no such file, or lines of it are not as the header wants them.
    """
    head = _head(path)
    text, encoding, doubts = _letters(head)
    found = _find_header(path, text, dict(named or {}))
    rows, width, odd = _look_over(path, found)
    doubts += list(found.matched.doubts) + odd
    return TraceLayout(
        path=path,
        encoding=encoding,
        separator=found.separator,
        headers=found.headers,
        matched=found.matched,
        first_row=found.first_row,
        rows=rows,
        width=width,
        doubts=tuple(doubts),
        first_rows=found.first_rows,
    )


def is_trace(path: Path) -> bool:
    """Tell whether a file's header is that of a recording: it has a time, a voltage and a current."""
    try:
        text, _, _ = _letters(_head(path))
        _find_header(path, text, {})
    except (ImportRefusedError, OSError):  # told, with what else is wrong, when the file is read as what it is
        return False
    return True


def headers_of(path: Path) -> tuple[str, ...]:
    """Return the headers of a file that `is_trace` says is a recording."""
    text, _, _ = _letters(_head(path))
    return _find_header(path, text, {}).headers


@dataclass(frozen=True, slots=True)
class _Found:
    separator: str
    headers: tuple[str, ...]
    matched: Matched
    first_row: int
    first_rows: tuple[tuple[str, ...], ...]


def _head(path: Path) -> bytes:
    try:
        foreign = foreign_format(path)
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(_HEAD)
    except OSError as error:
        raise refuse(path, 1, "file", f"cannot be read ({error.strerror or error}); look at its rights and its disk.") from error
    if foreign is not None:
        raise refuse(path, 1, "file", foreign)
    if not head.strip():
        raise refuse(path, 1, "file", "is empty; needed is a header with time, voltage and current, and a row for each reading.")
    if size > MOST_BYTES:
        raise refuse(path, 1, "file", f"has {size:,} bytes; allowed are {MOST_BYTES:,}: cut the recording into its runs.")
    if b"\0" in head:
        line = 1 + head[: head.index(b"\0")].count(b"\n")
        raise refuse(path, line, "file", "holds a NUL character (code 0) and is no text; save it as CSV text.")
    return head


def _letters(head: bytes) -> tuple[str, str, list[str]]:
    whole = head[: head.rfind(b"\n") + 1] or head
    try:
        return whole.decode("utf-8-sig"), "utf-8-sig", []
    except UnicodeDecodeError:
        words = "The letters of the file are not UTF-8; they were taken for Western European ones (Windows-1252)."
        return whole.decode("cp1252", errors="replace"), "cp1252", [words]


def _find_header(path: Path, text: str, named: Mapping[str, str]) -> _Found:
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")[:HEADER_WITHIN]
    best: tuple[int, int, _Found | None] = (-1, 0, None)
    for number, line in enumerate(lines):
        if len(line) > LONGEST_LINE or not _LETTER.search(line):
            continue
        for separator in _SEPARATORS:
            cells = _split(line, separator)
            if len(cells) < 2 or len(cells) > MOST_COLUMNS:
                continue
            if not all(place_of(cells, header) is not None for header in named.values()):
                continue
            matched = match(cells, named)
            score = _score(matched)
            if score > best[0]:
                best = (score, number, _Found(separator, tuple(cells), matched, number + 1, ()))
        if best[2] is not None and not _lacking(best[2].matched):
            break
    _, number, found = best
    if found is None or _lacking(found.matched):
        raise _no_header(path, lines, named, None if found is None else (number + 1, found))
    return _with_units_row(found, lines)


def _score(matched: Matched) -> int:
    roles = matched.places
    score = 10 * sum(role in roles for role in NEEDED) + min(9, sum(role.startswith("cell_") for role in roles))
    return score + (10 if "volts" not in roles and "cell_1" in roles else 0)


def _lacking(matched: Matched) -> list[str]:
    roles = matched.places
    return [role for role in NEEDED if role not in roles and not (role == "volts" and "cell_1" in roles)]


def _with_units_row(found: _Found, lines: Sequence[str]) -> _Found:
    """Skip a row of units below the header, and take them in."""
    first = found.first_row
    while first < len(lines) and not lines[first].strip():
        first += 1
    cells = _split(lines[first], found.separator) if first < len(lines) else []
    kinds = [unit_word(cell.strip("[](){} ")) for cell in cells]
    matched = found.matched
    places = [place for place in matched.places.values() if place < len(kinds)]
    if any(kinds) and all(kinds[place] is not None or not cells[place].strip() for place in places):
        units = dict(matched.units)
        for role, place in matched.places.items():
            kind = kinds[place] if place < len(kinds) else None
            if kind is not None and kind[0] == ("volts" if role.startswith("cell_") else role):
                units.setdefault(role, kind[1])
        matched, first = Matched(matched.places, units, matched.doubts), first + 1
    else:
        first = found.first_row
    shown_rows = [tuple(_split(line, found.separator)[:MOST_COLUMNS]) for line in lines[first : first + 40] if line.strip()]
    return _Found(found.separator, found.headers, matched, first, tuple(shown_rows[:5]))


def _no_header(path: Path, lines: Sequence[str], named: Mapping[str, str], near: tuple[int, _Found] | None) -> ImportRefusedError:
    needed = "needed is a row that names the columns, among them time, voltage and current"
    how = 'name them with --columns "time=…,volts=…,amps=…"'
    if named:
        listed = ", ".join(f"{role}={shown(text)}" for role, text in list(named.items())[:10])
        first = next((line for line in lines if line.strip()), "")
        return refuse(
            path, 1, "header", f"no line of the file has the columns named ({listed}); its first line is {shown(first)}; {needed}."
        )
    if near is None or near[1].matched.places.keys().isdisjoint(NEEDED):
        first = next((line for line in lines if line.strip()), "")
        return refuse(path, 1, "header", f"the file is no recording this program can tell (it begins {shown(first)}); {needed}, or {how}.")
    line, found = near
    lacking = " and ".join({"time": "a time", "volts": "a voltage", "amps": "a current"}[role] for role in _lacking(found.matched))
    has = ", ".join(shown(header) for header in found.headers[:10])
    return refuse(path, line, "header", f"lacks {lacking}; it has {has}; {needed}, or {how}.")


def _split(line: str, separator: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator, skipinitialspace=True))]
    except (csv.Error, StopIteration):
        return []


def _look_over(path: Path, found: _Found) -> tuple[int, int, list[str]]:
    """Count the cells of every line; return how many lines are to be read, how wide they are, and what is odd."""
    counts, quoted = _cell_counts(path, found.separator, found.first_row)
    rows = counts[found.first_row :]
    filled = rows > 0
    if not filled.any():
        raise refuse(path, found.first_row + 1, "file", "holds no reading behind its header; needed is a row for each reading.")
    last_place, last = max(found.matched.places.values()), int(np.flatnonzero(filled)[-1])
    if quoted:  # a separator between quotation marks is none, so that such rows are left to the reader
        widths = [len(row) for row in found.first_rows if len(row) > last_place]
        return last + 1, max(len(found.headers), *widths, 1), []
    common = Counter(rows[filled].tolist()).most_common(1)[0][0]
    named = len(found.headers)
    first_line = found.first_row + 1 + int(np.flatnonzero(filled)[0])
    if common > named + 1:
        raise refuse(path, first_line, "row", f"has {common} cells, but the header names {named} columns; {_advice(found.separator)}.")
    if common <= last_place:
        raise refuse(
            path,
            first_line,
            "row",
            f"has {common} cells, but the columns to be read reach to the {last_place + 1}th; {_advice(found.separator)}.",
        )
    width = max(named, common)
    wrong = filled & ((rows <= last_place) | (rows > max(common, named)))
    doubts = []
    if wrong[last] and filled.sum() > 1:
        wrong[last] = filled[last] = False
        doubts.append(f"The last line ({found.first_row + 1 + last:,}) is cut off and was not read.")
    bad = np.flatnonzero(wrong)
    if len(bad):
        listed = [
            BadRow(str(path), found.first_row + 1 + int(place), "row", f"has {rows[place]} cells where the others have {common}; {_advice(found.separator)}.")
            for place in bad[:_MOST_BAD]
        ]  # fmt: skip
        raise ImportRefusedError(listed, len(bad) - len(listed))
    return int(np.flatnonzero(filled)[-1]) + 1, width, doubts


def _advice(separator: str) -> str:
    if separator == ",":
        return "where numbers have a decimal comma, columns must be separated by something else, as a semicolon"
    return "every row needs as many, empty ones included"


def _cell_counts(path: Path, separator: str, first_row: int) -> tuple[NDArray[np.int32], bool]:
    """Return of every line how many cells it has, 0 for a blank one; and whether there are quotation marks behind the header."""
    found: list[NDArray[np.int32]] = []
    mark, quoted, carry, line = ord(separator), False, b"", 0
    with path.open("rb") as file:
        while True:
            piece = file.read(_PIECE)
            if b"\0" in piece:
                raise refuse(
                    path, line + 1 + piece[: piece.index(b"\0")].count(b"\n"), "file", "holds a NUL character (code 0) and is no text."
                )
            text = carry + piece
            if not text:
                break
            # Lines end with \n, or in very old files with \r alone.
            end = max(text.rfind(b"\n"), text.rfind(b"\r", 0, -1) if b"\n" not in text else -1) + 1
            if not piece:
                text, end = text + b"\n", len(text) + 1
            carry = text[end:]
            if len(carry) > LONGEST_LINE:
                raise refuse(path, line + 1, "row", f"is longer than {LONGEST_LINE:,} characters; look for missing line breaks.")
            if end:
                counts, has_quotes, longest = _counts_of(text[:end], mark, first_row - line)
                if longest > LONGEST_LINE:
                    raise refuse(
                        path,
                        line + 1,
                        "row",
                        f"a line from here on is longer than {LONGEST_LINE:,} characters; look for missing line breaks.",
                    )
                found.append(counts)
                line += len(counts)
                quoted |= has_quotes
            if not piece:
                break
    return np.concatenate(found) if found else np.zeros(0, dtype=np.int32), quoted


def _counts_of(text: bytes, mark: int, headed: int) -> tuple[NDArray[np.int32], bool, int]:
    codes = np.frombuffer(text, dtype=np.uint8)
    breaks = codes == _NEWLINE
    if not breaks.any():
        breaks = codes == _RETURN
    ends = np.flatnonzero(breaks)
    marks = np.flatnonzero(codes == mark)
    before = np.searchsorted(marks, ends)
    separators = np.diff(before, prepend=0)
    lengths = np.diff(ends, prepend=-1) - 1
    # A carriage return before the break is no content.
    lengths -= (codes[np.maximum(ends - 1, 0)] == _RETURN) & (ends > 0) & (codes[ends] == _NEWLINE)
    blank = lengths <= separators  # nothing, or separators alone
    counts = np.where(blank, 0, separators + 1)
    rows_from = 0 if headed <= 0 else int(ends[min(headed, len(ends)) - 1]) + 1
    return counts.astype(np.int32), bool((codes[rows_from:] == _QUOTE).any()), int(lengths.max(initial=0))
