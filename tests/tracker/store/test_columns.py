"""Limits: values that cannot be are refused on their way in, with words, and change nothing."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from datetime import datetime, timedelta, timezone
from typing import Any, get_type_hints

import pytest

from tests.tracker.store import builders as b
from tracker.domain.session import BenchReading
from tracker.errors import InputError
from tracker.store.database import Store
from tracker.store.results import StoredKnowledge

NO_NUMBERS = (math.nan, math.inf, -math.inf)


@pytest.fixture
def store(emptied_store: Store) -> Store:
    """One store for all the cases here; each leaves it empty."""
    return emptied_store


def put(store: Store, record: Any) -> None:
    """Store one record of any type in a database that holds what it names."""
    with store.writing() as records:
        b.put_logbook(records, replace(b.FULL_LOGBOOK, runs=(), charges=(), bench_tests=()))
        match type(record).__name__:
            case "Pack":
                records.put_pack(record)
            case "Controller":
                records.put_controller(record)
            case "Vehicle":
                records.put_vehicle(record)
            case "Run":
                records.add_runs([record])
            case "Charge":
                records.add_charges([record])
            case "BenchTest":
                records.add_bench_tests([record])


def number_fields(record: Any) -> list[str]:
    hints = get_type_hints(type(record))
    return [field.name for field in fields(record) if hints[field.name] in (float, float | None)]


def list_fields(record: Any) -> list[str]:
    hints = get_type_hints(type(record))
    return [field.name for field in fields(record) if hints[field.name] == tuple[float, ...]]


FULL: tuple[Any, ...] = (b.FULL_PACK, b.FULL_CONTROLLER, b.FULL_VEHICLE, b.FULL_RUN, b.FULL_CHARGE)
NUMBERS = [(record, name) for record in FULL for name in number_fields(record)]
LISTS = [(record, name) for record in FULL for name in list_fields(record)]


def test_the_fields_below_are_found() -> None:
    """A slip in finding them would let the tests below try nothing."""
    assert len(NUMBERS) == 2 + 3 + 2 + 7 + 2
    assert len(LISTS) == 4 + 2


def with_field(record: Any, name: str, value: Any) -> Any:
    return replace(record, **{name: value})


def refused(store: Store, record: Any, match: str) -> None:
    with pytest.raises(InputError, match=match):
        put(store, record)
    with store.reading() as records:
        assert set(records.counts().values()) == {0}


@pytest.mark.parametrize(("record", "name"), NUMBERS, ids=lambda value: value if isinstance(value, str) else type(value).__name__)
def test_no_field_takes_what_is_not_a_number(store: Store, record: Any, name: str) -> None:
    for value in NO_NUMBERS:
        refused(store, replace(record, **{name: value}), "not a number that can be stored")


@pytest.mark.parametrize(("record", "name"), LISTS, ids=lambda value: value if isinstance(value, str) else type(value).__name__)
def test_no_list_takes_what_cannot_be_read(store: Store, record: Any, name: str) -> None:
    for value in (*NO_NUMBERS, 0.0, -3.7, 1e6):
        refused(store, replace(record, **{name: (3.7, value, 3.7)}), "cannot be a reading; allowed is above 0 up to")


def test_a_bench_reading_must_be_a_number(store: Store) -> None:
    for value in NO_NUMBERS:
        refused(store, replace(b.FULL_BENCH, readings=(BenchReading(supply_v=value, running=True),)), "not a number")


def test_a_list_may_not_be_endless(store: Store) -> None:
    refused(store, replace(b.FULL_RUN, cutoff_v=(6.4,) * 101), "at most 100")


@pytest.mark.parametrize("record", [b.FULL_RUN, b.FULL_CHARGE, b.FULL_BENCH], ids=lambda record: type(record).__name__)
def test_a_time_without_a_zone_is_refused(store: Store, record: Any) -> None:
    name = next(name for name in ("started_at", "finished_at", "tested_at") if hasattr(record, name))
    refused(store, replace(record, **{name: b.START.replace(tzinfo=None)}), "has no time zone")


def test_a_time_beyond_the_calendar_is_refused(store: Store) -> None:
    east = timezone(timedelta(hours=14))
    refused(store, replace(b.FULL_RUN, started_at=datetime(1, 1, 1, tzinfo=east)), "beyond the calendar")


def test_what_was_learned_needs_a_time_with_a_zone(store: Store) -> None:
    known = StoredKnowledge(model="m", as_of=b.START.replace(tzinfo=None), payload="{}")
    with store.writing() as records:
        b.fill(records)
        with pytest.raises(InputError, match="no time zone"):
            records.save_knowledge("Tug 1", known)


@pytest.mark.parametrize("record", FULL, ids=lambda record: type(record).__name__)
@pytest.mark.parametrize(("bad", "match"), [("a\0b", "NUL"), ("\ud83d", "half a character")])
def test_text_no_database_can_hold_is_refused(store: Store, record: Any, bad: str, match: str) -> None:
    refused(store, replace(record, notes=bad), match)


@pytest.mark.parametrize("series", [2**31, 10**30, -(10**30)])
def test_a_number_of_cells_beyond_all_bounds_is_refused(store: Store, series: int) -> None:
    refused(store, b.pack(series=series), "not a whole number that can be stored")


def test_half_a_cell_is_refused(store: Store) -> None:
    refused(store, b.pack(series=2.5), "not a whole number")


@pytest.mark.parametrize("name", ["before_v", "loaded_v", "after_v"])
@pytest.mark.parametrize("count", [2, 4])
def test_readings_of_a_run_must_be_one_or_as_many_as_cells(store: Store, name: str, count: int) -> None:
    refused(store, with_field(b.FULL_RUN, name, (3.7,) * count), f"{name} holds {count} readings; allowed is one of the whole pack or 3")


@pytest.mark.parametrize("name", ["end_v", "cell_ohm"])
def test_readings_of_a_charge_must_be_one_or_as_many_as_cells(store: Store, name: str) -> None:
    refused(store, with_field(b.FULL_CHARGE, name, (3.7, 3.7)), f"{name} holds 2 readings")
