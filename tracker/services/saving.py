"""Storing, changing and deleting one record inside a transaction, and what that did."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from tracker.domain.changes import Key, Kind, Record
from tracker.domain.controller import Controller, Vehicle
from tracker.domain.pack import Pack
from tracker.domain.session import BenchTest, Charge, Run
from tracker.errors import ConflictError, FieldErrors, InputError, NotFoundError
from tracker.services.as_driven import carriers, keep_as_driven, mark_driven
from tracker.services.fitting import CHECKS
from tracker.services.naming import check_key, key_of, kind_of, opening, words_for_changed, words_for_new, words_for_removed
from tracker.store.records import Records
from tracker.store.steps import Group, Step, differences


@dataclass(frozen=True, kw_only=True, slots=True)
class Done:
    """What was done to the logbook."""

    words: str
    steps: tuple[Step, ...] = ()
    assess: tuple[str, ...] = ()
    """Packs whose runs or charges it touched: to be estimated before the transaction ends."""


def save_record(records: Records, record: Record, replacing: Key | None) -> Done:
    """Store a new record, or change the one named by `replacing`, which may be named otherwise from then on."""
    kind, key = kind_of(record), key_of(record)
    check_key(kind, key)
    stored = _stored_before(records, record, replacing)
    CHECKS[kind](records, record)
    packs = tuple(sorted({each.pack for each in (stored, record) if isinstance(each, (Run, Charge))}))
    if stored == record:
        return Done(words=f"{opening(kind, key)} written down before; nothing changed", assess=packs)
    before = _look(records, kind, key if stored is None else key_of(stored), record)
    _write(records, record, stored)
    steps = differences(before, _look(records, kind, key, record))
    if stored is not None and key_of(stored) != key:
        for pack in packs:
            forget(records, pack)
    words = words_for_new(record) if stored is None else words_for_changed(stored, record)
    return Done(words=words, steps=steps, assess=packs)


def remove_record(records: Records, kind: Kind, key: Key) -> Done:
    """Delete a record, a pack with its runs and charges, a controller with its bench tests."""
    check_key(kind, key)
    stored = find(records, kind, key)
    if stored is None:
        raise _missing(kind, key)
    if kind == "vehicle":
        _refuse_driven(records, stored.name)
    if kind == "controller":
        _refuse_carried(records, stored.name)
    groups = records.rows_with_all_below(kind, key)
    counts = {group.table: len(group.rows) for group in groups if group.table != kind}
    records.delete_rows(groups)
    steps = differences(groups, ())
    words = words_for_removed(kind, key, counts)
    if not isinstance(stored, (Run, Charge)):
        return Done(words=words, steps=steps)
    forget(records, stored.pack)
    return Done(words=words, steps=steps, assess=(stored.pack,))


def find(records: Records, kind: Kind, key: Key) -> Any:
    """Return the stored record of that key, or None."""
    if isinstance(key, str):
        shelf: Sequence[Any] = {"pack": records.packs, "vehicle": records.vehicles, "controller": records.controllers}[kind]()
        return next((each for each in shelf if each.name == key), None)
    return {"run": records.run, "charge": records.charge, "bench": records.bench_test}[kind](*key)


def forget(records: Records, pack: str) -> None:
    """Drop everything that was worked out of a pack."""
    records.mark_stale(pack)
    records.save_findings(pack, ())


def _stored_before(records: Records, record: Record, replacing: Key | None) -> Any:
    """Return the record that is to be changed, None for a new one, or refuse."""
    kind, key = kind_of(record), key_of(record)
    there = find(records, kind, key)
    if replacing is None:
        if there is not None and there != record:
            raise ConflictError(
                f"{opening(kind, key)} is stored already and says something else; change that one, or give another {_other(kind)}."
            )
        return there
    check_key(kind, replacing)
    stored = find(records, kind, replacing)
    if stored is None:
        raise _missing(kind, replacing)
    if key != replacing and there is not None:
        raise ConflictError(f"{opening(kind, key)} is stored already; nothing was changed; give another {_other(kind)}.")
    return stored


def _look(records: Records, kind: Kind, key: Key, record: Record) -> list[Group]:
    """Look at the rows of a record, and at the settings of runs that changing it may write down."""
    try:
        own = records.rows_of(kind, key)
    except NotFoundError:  # a bench test of a controller that is stored no more
        own = []
    if isinstance(record, Vehicle):
        return [*own, *records.settings_as_driven([str(key)])]
    if isinstance(record, Controller):
        return [*own, *records.settings_as_driven(sorted(carriers(records.vehicles(), [str(key)])))]
    return own


def _write(records: Records, record: Record, stored: Any) -> None:
    if isinstance(record, Run):
        records.add_runs([record]) if stored is None else records.replace_run(record, (stored.pack, stored.started_at))
    elif isinstance(record, Charge):
        records.add_charges([record]) if stored is None else records.replace_charge(record, (stored.pack, stored.finished_at))
    elif isinstance(record, BenchTest):
        records.add_bench_tests([record]) if stored is None else records.replace_bench_test(record, (stored.controller, stored.tested_at))
    else:
        _put(records, record, None if stored is None else stored.name)


def _put(records: Records, record: Pack | Vehicle | Controller, stored: str | None) -> None:
    """Store or change what stands on the shelf, and mark the packs stale whose runs it bears on."""
    if stored is not None and stored != record.name:
        records.rename(
            "pack" if isinstance(record, Pack) else "vehicle" if isinstance(record, Vehicle) else "controller", stored, record.name
        )
    if isinstance(record, Pack):
        try:
            records.put_pack(record)
        except InputError as refusal:  # readings stored for every cell do not fit another number of cells
            raise FieldErrors({"series": str(refusal)}) from refusal
        records.mark_stale(record.name)
    elif isinstance(record, Vehicle):
        keep_as_driven(records, vehicles=[record])
        records.put_vehicle(record)
        mark_driven(records, {record.name})
    else:
        keep_as_driven(records, controllers=[record])
        records.put_controller(record)
        mark_driven(records, carriers(records.vehicles(), [record.name]))


def _refuse_driven(records: Records, vehicle: str) -> None:
    runs = sum(run.vehicle == vehicle for run in records.runs(records.packs_driven([vehicle])))
    if runs:
        named = "1 run names" if runs == 1 else f"{runs:,} runs name"
        raise ConflictError(
            f"vehicle '{vehicle}' cannot be deleted: {named} it; change or delete {'that' if runs == 1 else 'those'} first."
        )


def _refuse_carried(records: Records, controller: str) -> None:
    carrying = sorted(carriers(records.vehicles(), [controller]))
    if carrying:
        listed = ", ".join(f"'{name}'" for name in carrying)
        raise ConflictError(f"controller '{controller}' cannot be deleted: it is in {listed}; take it out there first.")


def _missing(kind: Kind, key: Key) -> NotFoundError:
    return NotFoundError(
        f"{opening(kind, key)} is not stored; it may have been changed or deleted meanwhile; look at the name{'' if isinstance(key, str) else ' and the time'}."
    )


def _other(kind: Kind) -> str:
    return "time" if kind in ("run", "charge", "bench") else "name"
