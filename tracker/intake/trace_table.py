"""The columns of a logger's file: numbers and texts, read in C, with every cell that cannot be read named by its line."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from datetime import datetime
from itertools import islice
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from tracker.errors import BadRow, ImportRefusedError
from tracker.intake.text import CellError, name, shown
from tracker.intake.times import moment
from tracker.intake.trace_file import TraceLayout, refuse
from tracker.intake.trace_headers import place_of

if TYPE_CHECKING:
    # Half a second that only those wait for who read recordings.
    import pandas as pd

Floats = NDArray[np.float64]

NOTHING = ["", "nan", "NaN", "NAN", "N/A", "n/a", "NA", "na", "null", "NULL", "None", "none", "-", "--", "---", "?", "#N/A"]
"""What loggers write where they have nothing."""
LOWEST_V, HIGHEST_V = -1.0, 1000.0
HIGHEST_A = 10_000.0
COLDEST_K, HOTTEST_K = 173.15, 423.15
_MOST_BAD = 50
_SAMPLE = 400
"""Rows in which the decimal mark is looked for."""


def of(role: str) -> str:
    """Return the kind of a role: every cell is one of cells."""
    return "cell" if role.startswith("cell_") else role


class TraceTable:
    """The columns of one file that have a role."""

    def __init__(self, layout: TraceLayout) -> None:
        self.layout = layout
        self.path = layout.path
        self._sample = self._first_cells()
        places = layout.matched.places
        self._texts = {place for role, place in places.items() if role in ("time", "date") and not self._looks_numeric(place)}
        self._extra = {column: place for column in ("pack", "started_at") if (place := place_of(layout.headers, column)) is not None}
        self._decimal = self._decimal_mark()
        self._frame = self._read()

    @property
    def columns(self) -> Mapping[str, int]:
        """Place of each role."""
        return self.layout.matched.places

    def line(self, row: int) -> int:
        """Return the line of the file a row stands in."""
        return self.layout.first_row + 1 + row

    def refused(self, role: str, row: int, message: str) -> ImportRefusedError:
        """Return the refusal of one cell."""
        return refuse(self.path, self.line(row), self.layout.headers[self.columns[role]], message)

    def is_text(self, role: str) -> bool:
        """Tell whether a role's column holds texts."""
        return self.columns[role] in self._texts

    def texts(self, role: str) -> pd.Series[str]:
        """Return the texts of a role's column."""
        column: pd.Series[str] = self._frame[self.columns[role]]
        return column

    def numbers(self, role: str) -> Floats:
        """Return the numbers of a role's column, NaN where nothing was written."""
        return np.asarray(self._frame[self.columns[role]].to_numpy(), dtype=np.float64) + 0.0  # -0.00 A are 0 A

    def check_limits(self, role: str, values: Floats, lines: NDArray[np.int64]) -> None:
        """Refuse values that cannot be."""
        low, high, unit = {
            "volts": (LOWEST_V, HIGHEST_V, "V"),
            "cell": (LOWEST_V, HIGHEST_V, "V"),
            "amps": (-HIGHEST_A, HIGHEST_A, "A"),
            "temperature": (COLDEST_K, HOTTEST_K, "K"),
        }[of(role)]
        with np.errstate(invalid="ignore"):
            bad = np.flatnonzero((values < low) | (values > high))
        header = self.layout.headers[self.columns[role]]
        if len(bad):
            words = f"is out of range; allowed are {low:g} to {high:g} {unit}, or an empty cell. Look at the unit as well."
            listed = [BadRow(str(self.path), int(lines[row]), header, f"{values[row]:.6g} {unit} {words}") for row in bad[:_MOST_BAD]]
            raise ImportRefusedError(listed, len(bad) - len(listed))
        if role in ("volts", "amps") and not np.isfinite(values).any():
            raise refuse(self.path, self.line(0), header, "holds no number at all.")

    def constant_name(self, column: str) -> str | None:
        """Return the name that stands in every row of a column, if there is one."""
        text = self._constant(column)
        try:
            return None if text is None else name(text)
        except CellError as problem:
            raise refuse(self.path, self.line(0), column, str(problem)) from problem

    def constant_moment(self, column: str) -> datetime | None:
        """Return the time that stands in every row of a column, if there is one."""
        text = self._constant(column)
        try:
            return None if text is None else moment(text)
        except CellError as problem:
            raise refuse(self.path, self.line(0), column, str(problem)) from problem

    def _constant(self, column: str) -> str | None:
        if column not in self._extra:
            return None
        levels = sorted({str(level).strip() for level in self._frame[self._extra[column]].cat.categories})
        if len(levels) > 1:
            words = f"holds {len(levels)} different values; allowed is one, for a file is one recording."
            raise refuse(self.path, self.line(0), column, words)
        return levels[0] if levels and levels[0] else None

    def _first_cells(self) -> list[list[str]]:
        layout = self.layout
        with self.path.open(encoding=layout.encoding, errors="replace", newline="") as stream:
            lines = list(islice(stream, layout.first_row, layout.first_row + _SAMPLE))
        try:
            return [[cell.strip() for cell in row] for row in csv.reader(lines, delimiter=layout.separator, skipinitialspace=True)]
        except csv.Error as error:
            raise refuse(self.path, self.line(0), "row", f"cannot be split into cells ({error}); look at its quotation marks.") from error

    def _cells(self, place: int) -> list[str]:
        return [row[place] for row in self._sample if place < len(row) and row[place] and row[place] not in NOTHING]

    def _looks_numeric(self, place: int) -> bool:
        """Tell whether most of the first cells are numbers: one that is not is then told as a bad one."""
        cells = self._cells(place)
        return 2 * sum(_is_number(cell) for cell in cells) >= len(cells)

    def _decimal_mark(self) -> str:
        if self.layout.separator == ",":
            return "."
        cells = [cell for place in self.columns.values() if place not in self._texts for cell in self._cells(place)]
        return "," if sum("," in cell for cell in cells) > sum("." in cell for cell in cells) else "."

    def _read(self) -> pd.DataFrame:
        numbers = [place for place in self.columns.values() if place not in self._texts]
        kinds: dict[int, Any] = dict.fromkeys(numbers, np.float64) | dict.fromkeys(self._texts, str)
        kinds |= dict.fromkeys(self._extra.values(), "category")
        try:
            return self._parse(kinds)
        except ValueError as error:  # some cell is no number; the second look says which
            raise self._bad_cells(numbers) or refuse(self.path, 1, "file", f"cannot be read ({_first_line(error)}).") from error

    def _parse(self, kinds: Mapping[int, Any]) -> pd.DataFrame:
        import pandas as pd

        layout = self.layout
        return pd.read_csv(
            layout.path,
            sep=layout.separator,
            header=None,
            names=list(range(layout.width)),
            usecols=sorted(kinds),
            dtype=dict(kinds),
            skiprows=layout.first_row,
            nrows=layout.rows,
            skip_blank_lines=False,
            skipinitialspace=True,
            index_col=False,
            decimal=self._decimal,
            na_values=NOTHING,
            keep_default_na=False,
            encoding=layout.encoding,
            encoding_errors="replace",
            engine="c",
            low_memory=False,
        )

    def _bad_cells(self, numbers: list[int]) -> ImportRefusedError | None:
        import pandas as pd

        try:
            frame = self._parse(dict.fromkeys(numbers, str))
        except ValueError as error:
            return refuse(self.path, 1, "file", f"cannot be split into cells ({_first_line(error)}); look at its quotation marks.")
        rows: list[BadRow] = []
        more = 0
        for place in numbers:
            texts = frame[place]
            point = texts.str.replace(self._decimal, ".", regex=False) if self._decimal == "," else texts
            bad = np.flatnonzero((pd.to_numeric(point, errors="coerce").isna() & texts.notna()).to_numpy())
            header = self.layout.headers[place] if place < len(self.layout.headers) else f"column {place + 1}"
            for row in bad[:_MOST_BAD]:
                words = f"{shown(str(texts.iloc[int(row)]).strip())} is not a number; {_allowed(self._decimal)}."
                rows.append(BadRow(str(self.path), self.line(int(row)), header, words))
            more += len(bad)
        rows = sorted(rows, key=lambda row: row.line)[:_MOST_BAD]
        return ImportRefusedError(rows, more - len(rows)) if rows else None


def _allowed(decimal: str) -> str:
    mark = "a decimal comma" if decimal == "," else "a decimal point"
    return f"allowed are numbers with {mark} and without a unit, or an empty cell"


def _first_line(error: Exception) -> str:
    return str(error).strip().splitlines()[0][:200] if str(error).strip() else type(error).__name__


def _is_number(text: str) -> bool:
    try:
        float(text.replace(",", "."))
    except ValueError:
        return False
    return True
