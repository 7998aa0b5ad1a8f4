"""What is seen of data on their way in and out: how rows differ from what is stored, and what a database holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime


@dataclass(frozen=True, kw_only=True, slots=True)
class FieldDifference:
    """One field of a row that is not as it is stored; both as a file would write them, empty where nothing is recorded."""

    column: str
    stored: str
    given: str


@dataclass(frozen=True, kw_only=True, slots=True)
class RowDifference:
    """A row of a file that differs from the stored record of the same key."""

    kind: str
    """packs, vehicles, controllers, runs, charges or bench"""
    name: str
    """Of the pack, vehicle or controller it belongs to."""
    at: datetime | None
    """Of a run, a charge or a bench test."""
    file: str
    line: int
    fields: tuple[FieldDifference, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class Contents:
    """How much a database holds, and how new it is."""

    numbers: Mapping[str, int] = field(default_factory=dict)
    """Of each kind of record, so many: packs, vehicles, controllers, runs, charges, bench readings, recordings."""
    newest_run_at: datetime | None = None
    newest_charge_at: datetime | None = None


@dataclass(frozen=True, kw_only=True, slots=True)
class DatabaseFacts:
    """The database in use."""

    kind: str
    """SQLite or PostgreSQL"""
    shown: str
    """Where it lies: a file, or a server without its password; empty where it is in memory only."""
    size_bytes: int | None
    """None where it cannot be told."""
    schema: str
    model: str
    """Version of the method the estimates come from."""
    contents: Contents
    waiting_runs: int
    """Runs still to be estimated."""
