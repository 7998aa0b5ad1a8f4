"""What a database complains of, turned into words a person can act on."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DataError, DBAPIError, IntegrityError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError

from tracker.errors import ConflictError, InputError, StoreError, TrackerError
from tracker.store.tables import check_words

_BUSY = ("database is locked", "database table is locked", "lock timeout")
_DAMAGED = ("malformed", "not a database")
_DISK_FAILS = ("disk i/o error",)
_UNWRITABLE = ("readonly database", "read-only", "unable to open")
_FULL = ("disk is full", "no space left")

_STILL_USED = "a record that others name cannot be removed, and one that is not stored cannot be named; store or remove the others first."


@contextmanager
def plain_errors() -> Iterator[None]:
    """Turn every complaint of the database raised inside into a TrackerError."""
    try:
        yield
    except DBAPIError as error:
        raise plain(error) from error
    except PoolTimeoutError as error:
        raise StoreError("the database is busy: all its connections are in use; try again in a moment.") from error


def plain(error: DBAPIError) -> TrackerError:
    """Return what the database complained of as an error fit to show."""
    said = _first_line(error)
    low = said.lower()
    if isinstance(error, IntegrityError):
        return _integrity(error, said)
    if isinstance(error, DataError):
        return InputError(f"a value cannot be stored: {said}.")
    if any(word in low for word in _BUSY):
        return StoreError("the database is being written by another program; nothing was changed; try again in a moment.")
    if any(word in low for word in _FULL):
        return StoreError("the disk that holds the database is full; nothing was changed; make room and try again.")
    if any(word in low for word in _DISK_FAILS):
        return StoreError(f"the disk that holds the database failed ({said}); look at its room and its health, and try again.")
    if any(word in low for word in _DAMAGED):
        return StoreError(f"the database is damaged ({said}); restore a backup into a new one.")
    if any(word in low for word in _UNWRITABLE):
        return StoreError(f"the database cannot be written ({said}); look at the rights of the file and its folder.")
    return StoreError(f"the database refused: {said}.")


def _integrity(error: IntegrityError, said: str) -> TrackerError:
    low = said.lower()
    if "unique" in low or "duplicate key" in low:
        return ConflictError(f"{_what(said)} is stored already; nothing was changed.")
    if "foreign key" in low:
        return ConflictError(_STILL_USED)
    named = re.search(r"\bck_[a-z_]+", said)
    demanded = check_words(named.group()) if named else None
    if demanded:
        return InputError(f"{demanded}; nothing was changed.")
    return InputError(f"a record that cannot be was refused ({said}); nothing was changed.")


_RECORDS = {
    "pack": "a pack of this name",
    "vehicle": "a vehicle of this name",
    "controller": "a controller of this name",
    "vehicle_controller": "this controller in this vehicle",
    "run": "a run of this pack at this time",
    "charge": "a charge of this pack at this time",
    "bench_reading": "a bench test of this controller at this time",
    "trace": "a recording of this run",
    "run_estimate": "an estimate of this run",
    "pack_knowledge": "what was learned of this pack",
}


def _what(said: str) -> str:
    # SQLite names table.column, PostgreSQL the constraint: uq_table_columns or pk_table.
    for table in sorted(_RECORDS, key=len, reverse=True):
        if re.search(rf"(\b|[up][qk]_){table}(\.|_\w+\"|\")", said):
            return _RECORDS[table]
    return "a record of this key"


def _first_line(error: DBAPIError) -> str:
    lines = str(error.orig).strip().splitlines()
    return (lines[0] if lines else type(error.orig).__name__).rstrip(".")
