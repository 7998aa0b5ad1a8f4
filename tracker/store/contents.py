"""How much a database holds and how large it is, counted by the database itself."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, Table, func, select, text

from tracker.domain.exchange import Contents
from tracker.store.tables import Base, BenchReadingRow, ChargeRow, ControllerRow, PackRow, RunRow, VehicleRow

COUNTED = {"packs": PackRow, "runs": RunRow, "charges": ChargeRow, "vehicles": VehicleRow, "controllers": ControllerRow}
RECORDINGS = "trace"
"""Table of the recordings."""


def contents(connection: Connection) -> Contents:
    """Return how many records of each kind there are, and the time of the newest."""
    numbers = {name: _count(connection, row.__table__) for name, row in COUNTED.items() if isinstance(row.__table__, Table)}
    tests = select(BenchReadingRow.controller_id, BenchReadingRow.tested_at).distinct().subquery()
    numbers["bench tests"] = connection.scalar(select(func.count()).select_from(tests)) or 0
    if RECORDINGS in Base.metadata.tables:
        numbers["recordings"] = _count(connection, Base.metadata.tables[RECORDINGS])
    newest_run: datetime | None = connection.scalar(select(func.max(RunRow.started_at)))
    newest_charge: datetime | None = connection.scalar(select(func.max(ChargeRow.finished_at)))
    return Contents(numbers=numbers, newest_run_at=newest_run, newest_charge_at=newest_charge)


def size_bytes(connection: Connection) -> int | None:
    """Return how much room the database takes; None where it does not tell."""
    if connection.dialect.name == "postgresql":
        return int(connection.scalar(text("SELECT pg_database_size(current_database())")) or 0) or None
    pages, page_bytes = (connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in ("page_count", "page_size"))
    return int(pages or 0) * int(page_bytes or 0) or None


def _count(connection: Connection, table: Table) -> int:
    return connection.scalar(select(func.count()).select_from(table)) or 0
