"""From one file to records: which kind it is, which columns it has, and every bad row."""

from __future__ import annotations

from collections.abc import Iterator
from difflib import get_close_matches
from itertools import chain, islice
from typing import Any, TextIO

from tracker.intake import checks
from tracker.intake.cells import Read
from tracker.intake.columns import KINDS, KNOWN_COLUMNS, Column, FileKind
from tracker.intake.numbers import DecimalMark
from tracker.intake.refusals import Refusals
from tracker.intake.separators import Lines, Rows, UnreadableRestError, split_header
from tracker.intake.text import CellError, either, shown

_ROWS_LOOKED_AHEAD = 1000
"""Rows in which the decimal mark is looked for before any is read."""
_MOST_NAMED = 10

Plan = list[tuple[int, Column, Read]]


class TableFile:
    """One file of rows.

    Parameters
    ----------
    stream : TextIO
        Opened by `separators.open_text`.
    label : str
        What the file is called in messages.
    refusals : Refusals
        Takes what is wrong.
    warnings : list of str
        Takes what is odd.
    kinds : tuple of FileKind
        What it may be.
    """

    def __init__(self, stream: TextIO, label: str, refusals: Refusals, warnings: list[str], kinds: tuple[FileKind, ...] = KINDS) -> None:
        self.label = label
        self._kinds = kinds
        self.kind: FileKind | None = None
        self._refusals = refusals
        self._warnings = warnings
        self._lines = Lines(stream)
        self._width = 0
        self._plan: Plan = []
        self._separator = ","
        try:
            self._read_header()
        except UnreadableRestError as rest:
            self._refuse(rest.line, "file", rest.message)

    def _refuse(self, line: int, column: str, message: str) -> None:
        self._refusals.add(self.label, line, column, message)

    def _read_header(self) -> None:
        line = next((line for line in self._lines if line.strip() or self._lines.fault), None)
        if self._lines.fault is not None:
            self._refuse(self._lines.fault[0], "header", self._lines.fault[1])
        elif line is None:
            self._refuse(1, "file", "is empty; its first row must name the columns.")
        else:
            self._understand_header(line)

    def _understand_header(self, line: str) -> None:
        at = self._lines.line
        self._separator, names = split_header(line, KNOWN_COLUMNS)
        self._width = len(names)
        kind = kind_of(names, self._kinds)
        if kind is None:
            self._refuse(at, "header", _no_kind(names, line, self._kinds))
            return
        missing = [name for name in kind.required if name not in names]
        if missing:
            needed = f"lacks {either(missing)}, which a {kind.name} file needs; it has {_named(names)}."
            self._refuse(at, "header", needed)
        twice = sorted({column.name for column in kind.columns if names.count(column.name) > 1})
        for name in twice:
            self._refuse(at, name, "stands more than once in the header; keep one such column.")
        if not missing and not twice:
            self.kind = kind
            self._warn_of_others(kind, names)
            self._make_plan(kind, names)

    def _make_plan(self, kind: FileKind, names: list[str]) -> None:
        self._mark = DecimalMark(points_expected=self._separator == ",")
        self._plan = [(names.index(column.name), column, column.cell.reader(self._mark)) for column in kind.columns if column.name in names]

    def _warn_of_others(self, kind: FileKind, names: list[str]) -> None:
        own = [column.name for column in kind.columns]
        others = [(position, name) for position, name in enumerate(names, 1) if name not in own]
        for position, name in others[:_MOST_NAMED]:
            called = f"column {shown(name)}" if name else f"column {position}, which has no name,"
            close = get_close_matches(name[:60], [known for known in own if known not in names], 1)
            advice = f"; did you mean {close[0]}?" if close else "."
            self._warnings.append(f"{self.label}: {called} is not one of a {kind.name} file and was not read{advice}")
        if len(others) > _MOST_NAMED:
            self._warnings.append(
                f"{self.label}: {len(others) - _MOST_NAMED} more columns are not of a {kind.name} file and were not read."
            )

    def records(self) -> Iterator[tuple[int, Any]]:
        """Yield the line and the record of every good row, and note what is wrong with the others."""
        if self.kind is None:
            return
        rows = Rows(self._lines, self._separator)
        try:
            yield from self._records_of(rows, self.kind)
        except UnreadableRestError as rest:
            self._refuse(rest.line, "file", rest.message)

    def _records_of(self, rows: Rows, kind: FileKind) -> Iterator[tuple[int, Any]]:
        for line, row, fault in self._after_learning(rows):
            if fault is not None:
                self._refuse(line, "row", fault)
            elif len(row) != self._width:
                self._refuse(line, "row", self._ragged(row))
            else:
                values = self._values(line, row, kind)
                if values is not None:
                    record = kind.record(**values)
                    if self._passes(line, record):
                        yield line, record

    def _after_learning(self, rows: Rows) -> Iterator[tuple[int, list[str], str | None]]:
        every = ((line, row, rows.fault) for line, row in rows)
        first: list[tuple[int, list[str], str | None]] = []
        ahead = 0
        for entry in islice(every, _ROWS_LOOKED_AHEAD):
            first.append(entry)
            if len(entry[1]) == self._width:
                self._learn_mark(entry[1])
            ahead += sum(map(len, entry[1]))
            if self._mark.mark is not None or ahead > 1_000_000:
                break
        yield from chain(first, every)

    def _learn_mark(self, row: list[str]) -> None:
        for index, column, _ in self._plan:
            limits = column.cell.limits
            if limits is not None and ("," in row[index] or "." in row[index]):
                for item in row[index].split():
                    self._mark.learn(item, limits)

    def _values(self, line: int, row: list[str], kind: FileKind) -> dict[str, Any] | None:
        values: dict[str, Any] = {}
        good = True
        for index, column, read in self._plan:
            text = row[index]
            if not column.cell.exact:
                text = text.strip()
            try:
                if text:
                    values[column.field] = read(text)
                elif column.required:
                    raise CellError(f"is empty, but every {kind.one} needs it; allowed: {column.cell.words}.")
            except CellError as problem:
                good = False
                self._refuse(line, column.name, str(problem))
                if self._refusals.full:
                    break
        return values if good else None

    def _passes(self, line: int, record: Any) -> bool:
        problems = checks.within(record)
        for column, message in problems:
            self._refuse(line, column, message)
        return not problems

    def _ragged(self, row: list[str]) -> str:
        has = f"has {len(row)} cell{'' if len(row) == 1 else 's'}, but the header names {self._width} columns"
        if len(row) > self._width:
            return f"{has}; put a cell that holds '{self._separator}' in double quotation marks."
        return f"{has}; every row needs as many, empty ones included."


def kind_of(names: list[str], kinds: tuple[FileKind, ...] = KINDS) -> FileKind | None:
    """Return the kind of file a header belongs to: the one that knows most of its columns."""
    present = set(names)
    scores = {kind.name: sum(column.name in present for column in kind.columns) for kind in kinds}
    best = max(scores.values())
    likely = [kind for kind in kinds if scores[kind.name] == best and best > 0]
    whole = [kind for kind in likely if present.issuperset(kind.required)]
    if whole:
        return max(whole, key=lambda kind: len(kind.required))
    return likely[0] if len(likely) == 1 else None


def _no_kind(names: list[str], line: str, kinds: tuple[FileKind, ...]) -> str:
    needed = "; ".join(f"{kind.name}: {' '.join(kind.required)}" for kind in kinds)
    tabs = "Tabs separate nothing here: save the file with commas or semicolons. " if "\t" in line else ""
    return f"fits no kind of file ({_named(names)}). {tabs}The first row must name the columns; needed at least: {needed}."


def _named(names: list[str]) -> str:
    listed = [shown(name) for name in names[:_MOST_NAMED]]
    more = len(names) - len(listed)
    return f"{'column' if len(names) == 1 else 'columns'} {', '.join(listed)}" + (f" and {more:,} more" if more else "")
