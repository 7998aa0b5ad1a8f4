"""The errors a person may see: every message says what was given, what is allowed and what to do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass


class TrackerError(Exception):
    """Base of every error whose message is fit to be shown as it stands."""


class ChemistryError(TrackerError):
    """A chemistry file is missing, incomplete, unsourced or contradicts itself."""


class NotFoundError(TrackerError):
    """A pack, vehicle, controller, run or charge of that name is not stored."""


class ConflictError(TrackerError):
    """A stored record differs from the one given, and replacing it was not asked for."""


class InputError(TrackerError):
    """A value given by a person is not one that can be stored."""


class FieldErrors(InputError):  # noqa: N818  it holds several
    """Several things wrong in the fields of one record.

    Parameters
    ----------
    problems : Mapping[str, str]
        For each column at fault, what is wrong and what is allowed.
    """

    def __init__(self, problems: Mapping[str, str]) -> None:
        self.problems = dict(problems)
        super().__init__("\n".join(f"{column}: {message}" for column, message in self.problems.items()))


class StoreError(TrackerError):
    """The database cannot be opened, is too new, too old, busy or damaged."""


@dataclass(frozen=True, slots=True)
class BadRow:
    """One thing wrong in one place of a file."""

    file: str
    line: int
    column: str
    message: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.column}: {self.message}"


class ImportRefusedError(TrackerError):
    """Files were refused as a whole; nothing of them was stored.

    Parameters
    ----------
    rows : Sequence[BadRow]
        The first bad places found.
    more : int
        How many further bad places were counted but not listed.
    """

    def __init__(self, rows: Sequence[BadRow], more: int = 0) -> None:
        self.rows = tuple(rows)
        self.more = more
        lines = [str(row) for row in self.rows]
        if more:
            lines.append(f"… and {more:,} more")
        super().__init__("\n".join(lines))
