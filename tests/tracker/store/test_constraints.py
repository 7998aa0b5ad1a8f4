"""Limits: a row that cannot be is refused by the database itself, past all code of ours, on every kind of database."""

from __future__ import annotations

from typing import Any

import pytest
from sqlalchemy import CheckConstraint, Connection, UniqueConstraint, text

from tracker.errors import ConflictError, InputError, TrackerError
from tracker.store.database import Store
from tracker.store.tables import Base

PACK: dict[str, Any] = {"id": 1, "name": "Tug 1", "chemistry": "lipo", "series": 3, "parallel": 1, "capacity_ah": 5.0, "notes": ""}
CONTROLLER: dict[str, Any] = {"id": 1, "name": "port", "cutoff_mode": "pack_v", "cutoff_v": 6.4, "notes": ""}
VEHICLE: dict[str, Any] = {"id": 1, "name": "Groomer", "lead_ohm": 0.0, "notes": ""}
CARRIED: dict[str, Any] = {"vehicle_id": 1, "position": 1, "controller_id": 1}
RUN: dict[str, Any] = {
    "id": 1,
    "pack_id": 1,
    "vehicle_id": 1,
    "started_at": "2024-05-04 09:30:15.123456",
    "run_s": 600.0,
    "before_v": "[12.6]",
    "ended_by": "driver",
    "notes": "",
}
CHARGE: dict[str, Any] = {"id": 1, "pack_id": 1, "finished_at": "2024-05-04 12:00:00.000000", "put_back_ah": 2.0, "notes": ""}
BENCH: dict[str, Any] = {"controller_id": 1, "tested_at": "2024-05-04 12:00:00.000000", "position": 1, "supply_v": 6.5, "running": True}
TRACE: dict[str, Any] = {
    "run_id": 1,
    "rows": 2,
    "span_s": 600.0,
    "cells": 3,
    "file_name": "log.csv",
    "summary_version": "1",
    "summary": "{}",
    "digest": "0",
    "payload": b"PHT1",
}
ESTIMATE: dict[str, Any] = {"run_id": 1, "model": "model 1", "worst_grade": "fine", "payload": "[]"}
FINDING: dict[str, Any] = {
    "id": 1,
    "pack_id": 1,
    "rule": "deep",
    "severity": "stop",
    "subject": "Tug 1",
    "message": "too deep",
    "why": "it harms",
    "at": "2024-05-04 12:00:00.000000",
}
KNOWLEDGE: dict[str, Any] = {"pack_id": 1, "model": "model 1", "as_of": "2024-05-04 12:00:00.000000", "payload": "{}"}
CHANGE: dict[str, Any] = {
    "id": "c" * 32,
    "at": "2024-05-04 12:00:00.000000",
    "words": "Pack 'Tug 1', changed",
    "asked": "0",
    "steps": "[]",
    "undone_at": "2024-05-04 13:00:00.000000",
}

ROWS: dict[str, dict[str, Any]] = {
    "pack": PACK,
    "controller": CONTROLLER,
    "vehicle": VEHICLE,
    "vehicle_controller": CARRIED,
    "run": RUN,
    "charge": CHARGE,
    "bench_reading": BENCH,
    "trace": TRACE,
    "run_estimate": ESTIMATE,
    "finding": FINDING,
    "pack_knowledge": KNOWLEDGE,
    "change": CHANGE,
}
"""One row a table that can be, parents before children."""

LONG = "x" * 201
EARLY, LATE = "1899-12-31 23:59:59.999999", "2200-01-01 00:00:00.000000"

REFUSED: dict[str, tuple[dict[str, Any], ...]] = {
    "ck_pack_name": ({"name": ""}, {"name": LONG}),
    "ck_pack_chemistry": ({"chemistry": ""}, {"chemistry": LONG}),
    "ck_pack_series": ({"series": 0}, {"series": 101}, {"series": -3}),
    "ck_pack_parallel": ({"parallel": 0}, {"parallel": 10_001}),
    "ck_pack_capacity_ah": ({"capacity_ah": 0.0}, {"capacity_ah": -1.0}, {"capacity_ah": 1e5}, {"capacity_ah": float("inf")}),
    "ck_pack_continuous_c": ({"continuous_c": 0.0}, {"continuous_c": 1e5}),
    "ck_pack_acquired_on": ({"acquired_on": "1899-12-31"}, {"acquired_on": "2200-01-01"}),
    "ck_pack_retired_on": ({"retired_on": "1899-12-31"}, {"retired_on": "2200-01-01"}),
    "ck_pack_retired_after_acquired": ({"acquired_on": "2024-02-02", "retired_on": "2024-02-01"},),
    "ck_controller_name": ({"name": ""}, {"name": LONG}),
    "ck_controller_cutoff_mode": ({"cutoff_mode": ""}, {"cutoff_mode": LONG}),
    "ck_controller_cutoff_v": ({"cutoff_v": 0.0}, {"cutoff_v": -6.4}, {"cutoff_v": 1001.0}),
    "ck_controller_restart_v": ({"restart_v": 0.0}, {"restart_v": 1001.0}),
    "ck_controller_load_share": ({"load_share": -0.1}, {"load_share": 1.1}),
    "ck_vehicle_name": ({"name": ""}, {"name": LONG}),
    "ck_vehicle_lead_ohm": ({"lead_ohm": -0.001}, {"lead_ohm": 101.0}),
    "ck_vehicle_usual_a": ({"usual_a": 0.0}, {"usual_a": 1e5}),
    "ck_vehicle_controller_position": ({"position": 0}, {"position": 1001}),
    "ck_run_started_at": ({"started_at": EARLY}, {"started_at": LATE}),
    "ck_run_run_s": ({"run_s": 0.0}, {"run_s": -1.0}, {"run_s": float("inf")}),
    "ck_run_rest_before_s": ({"rest_before_s": -1.0}, {"rest_before_s": float("inf")}),
    "ck_run_rest_after_s": ({"rest_after_s": -1.0}, {"rest_after_s": float("inf")}),
    "ck_run_loaded_a": ({"loaded_a": -1.0}, {"loaded_a": 1e5}),
    "ck_run_mean_a": ({"mean_a": -1.0}, {"mean_a": 1e5}),
    "ck_run_used_ah": ({"used_ah": -0.1}, {"used_ah": 1e5}),
    "ck_run_pack_k": ({"pack_k": 20.0}, {"pack_k": 500.0}),
    "ck_run_ended_by": ({"ended_by": ""}, {"ended_by": LONG}),
    "ck_run_before_v": ({"before_v": "12.6"}, {"before_v": "[]"}, {"before_v": ""}),
    "ck_run_loaded_v": ({"loaded_v": "12.6"}, {"loaded_v": "[]"}),
    "ck_run_after_v": ({"after_v": "12.6"}, {"after_v": "[]"}),
    "ck_run_cutoff_v": ({"cutoff_v": "6.4"}, {"cutoff_v": "[]"}),
    "ck_charge_finished_at": ({"finished_at": EARLY}, {"finished_at": LATE}),
    "ck_charge_put_back_ah": ({"put_back_ah": -0.1}, {"put_back_ah": 1e5}),
    "ck_charge_pack_k": ({"pack_k": 20.0}, {"pack_k": 500.0}),
    "ck_charge_goal": ({"goal": ""}, {"goal": LONG}),
    "ck_charge_end_v": ({"end_v": "12.6"}, {"end_v": "[]"}),
    "ck_charge_cell_ohm": ({"cell_ohm": "0.004"}, {"cell_ohm": "[]"}),
    "ck_bench_reading_tested_at": ({"tested_at": EARLY}, {"tested_at": LATE}),
    "ck_bench_reading_position": ({"position": 0}, {"position": 20_000_000}),
    "ck_bench_reading_supply_v": ({"supply_v": -0.1}, {"supply_v": 1001.0}),
    "ck_trace_rows": ({"rows": 0}, {"rows": -1}),
    "ck_trace_span_s": ({"span_s": -1.0}, {"span_s": float("inf")}),
    "ck_trace_cells": ({"cells": -1}, {"cells": 101}),
    "ck_run_estimate_model": ({"model": ""}, {"model": LONG}),
    "ck_run_estimate_worst_grade": ({"worst_grade": ""}, {"worst_grade": LONG}),
    "ck_finding_rule": ({"rule": ""}, {"rule": LONG}),
    "ck_finding_severity": ({"severity": ""}, {"severity": LONG}),
    "ck_finding_at": ({"at": EARLY}, {"at": LATE}),
    "ck_pack_knowledge_model": ({"model": ""}, {"model": LONG}),
    "ck_pack_knowledge_as_of": ({"as_of": EARLY}, {"as_of": LATE}),
    "ck_change_id": ({"id": ""}, {"id": LONG}),
    "ck_change_at": ({"at": EARLY}, {"at": LATE}),
    "ck_change_undone_at": ({"undone_at": EARLY}, {"undone_at": LATE}),
}
"""For each check constraint, what of a row that can be is changed so that it cannot."""

UNIQUE: dict[str, dict[str, Any]] = {
    "uq_pack_name": {"id": 2},
    "uq_controller_name": {"id": 2},
    "uq_vehicle_name": {"id": 2},
    "uq_vehicle_controller_vehicle_id_controller_id": {"position": 2},
    "uq_run_pack_id_started_at": {"id": 2},
    "uq_charge_pack_id_finished_at": {"id": 2},
    "pk_bench_reading": {},
    "pk_trace": {},
    "pk_run_estimate": {},
    "pk_pack_knowledge": {},
    "pk_change": {},
}
"""For each key, what of a row already there is changed so that only this key forbids it."""


@pytest.fixture
def store(emptied_store: Store) -> Store:
    """One store for all the cases here; each leaves it empty."""
    return emptied_store


def insert(connection: Connection, table: str, row: dict[str, Any]) -> None:
    # Words of SQL, so that nothing of our own kinds of column stands between the value and the constraint.
    columns, marks = ", ".join(f'"{name}"' for name in row), ", ".join(f":{name}" for name in row)
    connection.execute(text(f"INSERT INTO {table} ({columns}) VALUES ({marks})"), row)


def table_of(constraint: str) -> str:
    return max((name for name in ROWS if constraint.split("_", 1)[1].startswith(f"{name}_") or constraint == f"pk_{name}"), key=len)


def fill_up_to(connection: Connection, table: str, *, including: bool) -> None:
    """Store the rows that can be, up to that table."""
    for name, row in ROWS.items():
        if name == table and not including:
            return
        insert(connection, name, row)
        if name == table:
            return


def test_every_table_and_constraint_is_tried() -> None:
    assert set(ROWS) == set(Base.metadata.tables)
    compiled: set[str] = set()
    for table in Base.metadata.tables.values():
        for constraint in table.constraints:
            if isinstance(constraint, CheckConstraint):
                column = str(constraint.name).removeprefix(f"ck_{table.name}_")
                compiled.add(f"ck_{table.name}_{column}")
    assert compiled - {"ck_controller_powers_receiver", "ck_bench_reading_running"} == set(REFUSED)
    unique = {
        f"uq_{table.name}_{'_'.join(constraint.columns.keys())}"
        for table in Base.metadata.tables.values()
        for constraint in table.constraints
        if isinstance(constraint, UniqueConstraint)
    }
    assert unique == {name for name in UNIQUE if name.startswith("uq_")}


def test_the_rows_the_cases_start_from_can_be(store: Store) -> None:
    with store.writing() as records:
        fill_up_to(records.connection, list(ROWS)[-1], including=True)
    with store.reading() as records:
        assert set(records.counts().values()) == {1}


@pytest.mark.parametrize("constraint", REFUSED)
def test_a_row_that_cannot_be_is_refused(store: Store, constraint: str) -> None:
    table = table_of(constraint)
    with store.writing() as records:
        fill_up_to(records.connection, table, including=False)
    words = REFUSED_WORDS.get(constraint, constraint.removeprefix(f"ck_{table}_"))
    for changes in REFUSED[constraint]:
        with pytest.raises(InputError, match=rf"{table}: {words}.* must.*; nothing was changed"), store.writing() as records:
            insert(records.connection, table, ROWS[table] | changes)
    with store.reading() as records:
        assert records.counts()[table] == 0


REFUSED_WORDS = {"ck_pack_retired_after_acquired": "retired_on"}


@pytest.mark.parametrize("constraint", UNIQUE)
def test_a_second_row_of_the_same_key_is_refused(store: Store, constraint: str) -> None:
    table = table_of(constraint)
    with store.writing() as records:
        fill_up_to(records.connection, table, including=True)
    with pytest.raises(ConflictError, match="is stored already"), store.writing() as records:
        insert(records.connection, table, ROWS[table] | UNIQUE[constraint])
    with store.reading() as records:
        assert records.counts()[table] == 1


REFERENCES = [
    (table.name, key.parent.name)
    for table in Base.metadata.sorted_tables
    for key in sorted(table.foreign_keys, key=lambda key: key.parent.name)
]


@pytest.mark.parametrize(("table", "column"), REFERENCES)
def test_a_row_that_names_none_is_refused(store: Store, table: str, column: str) -> None:
    with store.writing() as records:
        fill_up_to(records.connection, table, including=False)
    with pytest.raises(ConflictError, match="not stored cannot be named"), store.writing() as records:
        insert(records.connection, table, ROWS[table] | {column: 99})
    with store.reading() as records:
        assert records.counts()[table] == 0


@pytest.mark.parametrize(
    ("table", "column"),
    [
        (table.name, column.name)
        for table in Base.metadata.sorted_tables
        for column in table.columns
        # A single whole number as primary key SQLite counts by itself when none is given.
        if not column.nullable and list(table.primary_key) != [column]
    ],
)
def test_a_row_without_what_it_needs_is_refused(store: Store, table: str, column: str) -> None:
    with store.writing() as records:
        fill_up_to(records.connection, table, including=False)
    with pytest.raises(TrackerError), store.writing() as records:
        insert(records.connection, table, {name: value for name, value in ROWS[table].items() if name != column})
    with store.reading() as records:
        assert records.counts()[table] == 0


@pytest.mark.parametrize(
    ("removed", "kept_by"), [("pack", "run"), ("pack", "charge"), ("vehicle", "run"), ("controller", "vehicle_controller")]
)
def test_what_people_wrote_down_keeps_what_it_names(store: Store, removed: str, kept_by: str) -> None:
    with store.writing() as records:
        fill_up_to(records.connection, kept_by, including=True)
    with pytest.raises(ConflictError), store.writing() as records:
        records.connection.execute(text(f"DELETE FROM {removed}"))
    with store.reading() as records:
        assert records.counts()[removed] == records.counts()[kept_by] == 1


@pytest.mark.parametrize(
    ("removed", "first", "goes"),
    [
        ("run", [], "run_estimate"),
        ("run", [], "trace"),
        ("pack", ["run", "charge"], "finding"),
        ("pack", ["run", "charge"], "pack_knowledge"),
        ("vehicle", ["run"], "vehicle_controller"),
        ("controller", ["vehicle_controller"], "bench_reading"),
    ],
)
def test_what_was_worked_out_or_belongs_to_it_goes_with_it(store: Store, removed: str, first: list[str], goes: str) -> None:
    with store.writing() as records:
        fill_up_to(records.connection, list(ROWS)[-1], including=True)
        for table in [*first, removed]:
            records.connection.execute(text(f"DELETE FROM {table}"))
    with store.reading() as records:
        assert records.counts()[goes] == 0


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("pack", "capacity_ah", "five"),
        ("pack", "series", "three"),
        ("pack", "series", 2.5),
        ("pack", "parallel", 1.5),
        ("run", "run_s", "long"),
        ("run", "pack_k", "warm"),
        ("run", "started_at", "yesterday"),
        ("run", "started_at", 20240504),
        ("bench_reading", "running", 2),
        ("bench_reading", "supply_v", "six"),
    ],
)
def test_sqlite_which_takes_any_value_in_any_column_refuses_these(file_store: Store, table: str, column: str, value: object) -> None:
    with file_store.writing() as records:
        fill_up_to(records.connection, table, including=False)
    with pytest.raises(InputError), file_store.writing() as records:
        insert(records.connection, table, ROWS[table] | {column: value})


@pytest.mark.parametrize("table", ["pack", "run", "charge", "controller", "vehicle", "bench_reading"])
def test_postgresql_refuses_not_a_number(postgres_store: Store, table: str) -> None:
    """SQLite turns it into "not recorded" by itself; there our own kind of column refuses it: see test_columns.py."""
    numbers = [column.name for column in Base.metadata.tables[table].columns if str(column.type).startswith("DOUBLE")]
    assert numbers
    with postgres_store.writing() as records:
        fill_up_to(records.connection, table, including=False)
    for number in numbers:
        with pytest.raises(InputError), postgres_store.writing() as records:
            insert(records.connection, table, ROWS[table] | {number: float("nan")})
