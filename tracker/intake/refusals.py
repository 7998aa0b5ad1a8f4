"""Keeps what is wrong with the files of one import: the first of it in full, the rest as a count."""

from __future__ import annotations

from tracker.errors import BadRow, ImportRefusedError

MOST_LISTED = 50


class Refusals:
    """What is wrong. Once the list is full, a further bad row counts once, however many of its cells are bad."""

    def __init__(self) -> None:
        self.rows: list[BadRow] = []
        self.more = 0
        self._files: dict[str, int] = {}

    def begin(self, file: str) -> None:
        """Note that a file is begun: what is wrong is listed in the order of the files."""
        self._files.setdefault(file, len(self._files))

    @property
    def full(self) -> bool:
        """Whether no more is listed."""
        return len(self.rows) >= MOST_LISTED

    @property
    def any(self) -> bool:
        """Whether anything at all is wrong."""
        return bool(self.rows)

    def add(self, file: str, line: int, column: str, message: str) -> None:
        """Note one thing that is wrong."""
        self.begin(file)
        if self.full:
            self.more += 1
        else:
            self.rows.append(BadRow(file, line, column, message))

    def error(self) -> ImportRefusedError:
        """Return the error that lists it, in the order of the files and their lines."""
        return ImportRefusedError(sorted(self.rows, key=lambda row: (self._files[row.file], row.line)), self.more)
