"""Round trip: what is stored comes back the same, field by field."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import MISSING, fields, replace
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.tracker.store import builders as b
from tracker.domain.controller import CUTOFF_MODES, Controller, Vehicle
from tracker.domain.logbook import Logbook
from tracker.domain.pack import Pack
from tracker.domain.session import ENDINGS, GOALS, BenchReading, BenchTest, Charge, Run
from tracker.store.database import Store, open_store
from tracker.store.results import StoredKnowledge

FULL: tuple[Any, ...] = (b.FULL_PACK, b.FULL_CONTROLLER, b.FULL_VEHICLE, b.FULL_RUN, b.FULL_CHARGE, b.FULL_BENCH, b.FINDING)


@pytest.mark.parametrize("record", FULL, ids=lambda record: type(record).__name__)
def test_the_full_records_leave_no_field_at_its_default(record: Any) -> None:
    """Otherwise a field that the store forgets would come back the same and nobody would notice."""
    for field in fields(record):
        if field.default is not MISSING:
            assert getattr(record, field.name) != field.default, f"give {type(record).__name__}.{field.name} a value in builders.py"


def test_a_full_logbook_comes_back_whole(store: Store) -> None:
    with store.writing() as records:
        b.put_logbook(records, b.FULL_LOGBOOK)
    with store.reading() as records:
        assert records.logbook() == b.FULL_LOGBOOK
        assert records.pack("Tug 1") == b.FULL_PACK
        assert records.vehicle("Groomer") == b.FULL_VEHICLE
        assert records.controller("port") == b.FULL_CONTROLLER
        assert records.run("Tug 1", b.START) == b.FULL_RUN
        assert records.charge("Tug 1", b.at(3)) == b.FULL_CHARGE
        assert records.bench_test("port", b.at(-100)) == b.FULL_BENCH


def test_every_kind_of_record_in_a_logbook_is_stored() -> None:
    assert {field.name for field in fields(Logbook) if getattr(b.FULL_LOGBOOK, field.name)} == {field.name for field in fields(Logbook)}


def test_what_was_worked_out_comes_back_whole(store: Store) -> None:
    known = StoredKnowledge(model="model 1", as_of=b.START, payload='{"capacity": [4.9]}')
    with store.writing() as records:
        b.fill(records, runs=1)
        records.save_estimates("Tug 1", [(b.START, b.estimate())])
        records.save_findings("Tug 1", [b.FINDING, b.BARE_FINDING])
        records.save_knowledge("Tug 1", known)
    with store.reading() as records:
        assert records.estimates() == {("Tug 1", b.START): b.estimate()}
        assert records.findings() == {"Tug 1": (b.FINDING, b.BARE_FINDING)}
        assert records.knowledge() == {"Tug 1": known}


def test_bare_records_come_back_bare(store: Store) -> None:
    bare = Logbook(
        packs=(b.pack(),),
        vehicles=(Vehicle(name="Buggy"),),
        controllers=(Controller(name="plain", cutoff_mode="none"),),
        runs=(b.run(),),
        charges=(b.charge(),),
    )
    with store.writing() as records:
        b.put_logbook(records, bare)
    with store.reading() as records:
        assert records.logbook() == bare


characters = st.characters(exclude_categories=["Cs"], exclude_characters="\0")
names = st.text(characters, min_size=1, max_size=200)
words = st.text(characters, max_size=300)
zones = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
# Hypothesis wants the bounds without a zone.
times = st.datetimes(datetime(1900, 1, 2), datetime(2199, 12, 30), timezones=zones)  # noqa: DTZ001
days = st.dates(date(1900, 1, 1), date(2199, 12, 31))


def up_to(highest: float, lowest: float = 0.0) -> st.SearchStrategy[float]:
    return st.floats(lowest, highest)


def above_0(highest: float) -> st.SearchStrategy[float]:
    return st.floats(0, highest, exclude_min=True, allow_subnormal=False)


def cells(series: int, highest: float = 1000.0) -> st.SearchStrategy[tuple[float, ...]]:
    number = above_0(highest)
    return st.one_of(st.just(()), number.map(lambda v: (v,)), st.tuples(*[number] * series))


def maybe(values: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.none() | values


@st.composite
def logbooks(draw: st.DrawFn) -> Logbook:
    series = draw(st.integers(1, 100))
    born, gone = sorted([draw(days), draw(days)])
    pack = Pack(
        name=draw(names),
        chemistry=draw(names),
        series=series,
        parallel=draw(st.integers(1, 10_000)),
        capacity_ah=draw(above_0(10_000)),
        continuous_c=draw(maybe(above_0(10_000))),
        acquired_on=draw(st.sampled_from([None, born])),
        retired_on=draw(st.sampled_from([None, gone])),
        notes=draw(words),
    )
    controller = Controller(
        name=draw(names),
        cutoff_mode=draw(st.sampled_from(CUTOFF_MODES)),
        cutoff_v=draw(maybe(above_0(1000))),
        restart_v=draw(maybe(above_0(1000))),
        load_share=draw(maybe(up_to(1))),
        powers_receiver=draw(maybe(st.booleans())),
        notes=draw(words),
    )
    vehicle = Vehicle(
        name=draw(names),
        controllers=draw(st.sampled_from([(), (controller.name,)])),
        lead_ohm=draw(maybe(up_to(100))),
        usual_a=draw(maybe(above_0(10_000))),
        notes=draw(words),
    )
    run = Run(
        pack=pack.name,
        started_at=draw(times),
        run_s=draw(above_0(1e9)),
        vehicle=draw(st.sampled_from([None, vehicle.name])),
        rest_before_s=draw(maybe(up_to(1e9))),
        before_v=draw(cells(series)),
        loaded_v=draw(cells(series)),
        loaded_a=draw(maybe(up_to(10_000))),
        mean_a=draw(maybe(up_to(10_000))),
        used_ah=draw(maybe(up_to(10_000))),
        after_v=draw(cells(series)),
        rest_after_s=draw(maybe(up_to(1e9))),
        cutoff_v=draw(st.lists(above_0(1000), max_size=4).map(tuple)),
        pack_k=draw(maybe(up_to(423.15, 173.15))),
        ended_by=draw(maybe(st.sampled_from(ENDINGS))),
        notes=draw(words),
    )
    charge = Charge(
        pack=pack.name,
        finished_at=draw(times),
        put_back_ah=draw(maybe(up_to(10_000))),
        end_v=draw(cells(series)),
        goal=draw(maybe(st.sampled_from(GOALS))),
        cell_ohm=draw(cells(series, 100.0)),
        pack_k=draw(maybe(up_to(423.15, 173.15))),
        notes=draw(words),
    )
    readings = draw(st.lists(st.builds(BenchReading, supply_v=up_to(1000), running=st.booleans()), min_size=1, max_size=5))
    bench = BenchTest(controller=controller.name, tested_at=draw(times), readings=tuple(readings))
    return Logbook(packs=(pack,), vehicles=(vehicle,), controllers=(controller,), runs=(run,), charges=(charge,), bench_tests=(bench,))


class UndoneError(Exception):
    """Raised to undo a transaction."""


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(logbook=logbooks())
def test_any_logbook_that_can_be_comes_back_to_the_last_digit(store: Store, logbook: Logbook) -> None:
    with suppress(UndoneError), store.writing() as records:
        b.put_logbook(records, logbook)
        assert records.logbook() == logbook
        raise UndoneError
    with store.reading() as records:
        assert set(records.counts().values()) == {0}


def test_times_come_back_in_utc(store: Store) -> None:
    half_past = timezone(timedelta(hours=5, minutes=30))
    told = datetime(2024, 3, 31, 2, 30, 0, 1, tzinfo=half_past)
    with store.writing() as records:
        b.fill(records)
        records.add_runs([b.run(started_at=told)])
    with store.reading() as records:
        (found,) = records.runs()
        assert found.started_at == datetime(2024, 3, 30, 21, 0, 0, 1, tzinfo=UTC)
        assert found.started_at.utcoffset() == timedelta(0)
        assert records.run("Tug 1", told) == records.run("Tug 1", told.astimezone(UTC)) == found


def test_the_same_moment_told_in_two_zones_is_one_run(store: Store) -> None:
    with store.writing() as records:
        b.fill(records, runs=1)
        other = b.START.astimezone(timezone(timedelta(hours=-9)))
        with pytest.raises(Exception, match="stored already"):
            records.add_runs([b.run(started_at=other)])


def test_times_are_kept_to_the_microsecond(store: Store) -> None:
    times = [b.START + timedelta(microseconds=step) for step in range(3)]
    with store.writing() as records:
        b.fill(records)
        records.add_runs(b.run(started_at=time) for time in reversed(times))
    with store.reading() as records:
        assert [found.started_at for found in records.runs()] == times


def test_names_that_differ_in_case_or_spaces_are_different_packs(store: Store) -> None:
    named = ["TUG", "Tug", "tug", "tug ", " tug", "Änne", "z", "電"]
    with store.writing() as records:
        for name in reversed(named):
            records.put_pack(b.pack(name))
            records.add_runs([b.run(name)])
    with store.reading() as records:
        assert [found.name for found in records.packs()] == sorted(named)
        assert [found.pack for found in records.runs()] == sorted(named)


@pytest.fixture
def memory() -> Iterator[Store]:
    with open_store("sqlite://") as opened:
        yield opened


def test_a_database_in_memory_works_alike(memory: Store) -> None:
    with memory.writing() as records:
        b.put_logbook(records, b.FULL_LOGBOOK)
    with memory.reading() as records:
        assert records.logbook() == b.FULL_LOGBOOK
    changed = replace(b.FULL_PACK, notes="x")
    with memory.writing() as records:
        records.put_pack(changed)
        assert records.packs() == (changed,)
