"""Edits drawn at random over few names and times, so that they meet each other often."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from hypothesis import strategies as st

from tracker.domain.changes import Kind
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.logbook import Logbook
from tracker.domain.pack import Pack
from tracker.domain.session import BenchReading, BenchTest, Charge, Run
from tracker.services.naming import key_of
from tracker.services.saving import Done, remove_record, save_record
from tracker.store.records import Records

NAMES = ("Tug 1", "Tug 2", "Groomer")
TIMES = tuple(datetime(2025, 5, 3, 10, 30, 15, 123456, tzinfo=UTC) + timedelta(hours=3 * hours) for hours in range(3))

names = st.sampled_from(NAMES)
times = st.sampled_from(TIMES)
words = st.sampled_from(["", "deep", "0,1 \n\"'; ünï"])
volts = st.sampled_from([(), (7.5,), (3.7, 3.71), (1 / 3 + 3.5, 3.8)])
settings_v = st.sampled_from([None, 6.4, 20 / 3])

packs = st.builds(
    Pack,
    name=names,
    chemistry=st.just("lipo"),
    series=st.just(2),
    parallel=st.integers(1, 2),
    capacity_ah=st.sampled_from([4.2, 10 / 3]),
    retired_on=st.sampled_from([None, date(2025, 6, 1)]),
    notes=words,
)
controllers = st.builds(
    lambda name, cutoff_v, notes: Controller(
        name=name, cutoff_mode="none" if cutoff_v is None else "pack_v", cutoff_v=cutoff_v, load_share=0.5, notes=notes
    ),
    names,
    settings_v,
    words,
)
vehicles = st.builds(
    Vehicle, name=names, controllers=st.sampled_from([(), ("Tug 1",), ("Tug 1", "Tug 2"), ("Tug 2", "Tug 1")]), usual_a=st.just(12.5)
)
runs = st.builds(
    Run, pack=names, started_at=times, run_s=st.just(754.25), vehicle=st.none() | names, after_v=volts, cutoff_v=volts, notes=words
)
charges = st.builds(Charge, pack=names, finished_at=times, put_back_ah=st.sampled_from([None, 2.2]), end_v=volts, notes=words)
bench = st.builds(
    lambda name, at, volts: BenchTest(
        controller=name, tested_at=at, readings=tuple(BenchReading(supply_v=each, running=each > 6) for each in volts)
    ),
    names,
    times,
    st.sampled_from([(7.0, 5.1), (7.0, 5.2, 6.9)]),
)
RECORDS: dict[Kind, st.SearchStrategy[Any]] = {
    "pack": packs,
    "controller": controllers,
    "vehicle": vehicles,
    "run": runs,
    "charge": charges,
    "bench": bench,
}

START = Logbook(
    packs=tuple(Pack(name=name, chemistry="lipo", series=2, capacity_ah=4.2) for name in NAMES[:2]),
    controllers=tuple(Controller(name=name, cutoff_mode="pack_v", cutoff_v=6.4, load_share=0.5) for name in NAMES[:2]),
    vehicles=(Vehicle(name="Groomer", controllers=("Tug 1", "Tug 2")),),
    runs=(Run(pack="Tug 1", started_at=TIMES[0], run_s=600.0, vehicle="Groomer", after_v=(3.7, 3.71)),),
    charges=(Charge(pack="Tug 1", finished_at=TIMES[1], put_back_ah=2.0),),
    bench_tests=(BenchTest(controller="Tug 1", tested_at=TIMES[0], readings=(BenchReading(supply_v=6.5, running=True),) * 2),),
)
"""What the edits begin with."""


def drawn_edit(draw: st.DataObject, records: Records) -> Done:
    """Do one edit: something new, something stored in another shape, or something deleted."""
    book = records.logbook()
    kind = draw.draw(st.sampled_from(list(RECORDS)), label="kind")
    stored = stored_of(book, kind)
    action = draw.draw(st.sampled_from(["new", "change", "change", "remove"] if stored else ["new"]), label="action")
    if action == "remove":
        key = key_of(draw.draw(st.sampled_from(stored), label="removed"))
        return remove_record(records, kind, key)
    record = draw.draw(RECORDS[kind], label="record")
    if action == "new":
        return save_record(records, record, None)
    changed = draw.draw(st.sampled_from(stored), label="changed")
    if draw.draw(st.booleans(), label="in place"):
        own_key = {"pack": changed.pack, **_time(changed)} if kind in ("run", "charge") else _name(changed)
        record = replace(record, **own_key)
    return save_record(records, record, key_of(changed))


def stored_of(book: Logbook, kind: Kind) -> tuple[Any, ...]:
    """The records of one kind in a logbook."""
    of: tuple[Any, ...] = getattr(book, "bench_tests" if kind == "bench" else f"{kind}s")
    return of


def _time(record: Any) -> dict[str, datetime]:
    return {"started_at": record.started_at} if isinstance(record, Run) else {"finished_at": record.finished_at}


def _name(record: Any) -> dict[str, Any]:
    if isinstance(record, BenchTest):
        return {"controller": record.controller, "tested_at": record.tested_at}
    return {"name": record.name}
