"""Round trip: taking back restores exactly what was, in whatever order, or is refused and changes nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.tracker.services.random_edits import START, drawn_edit
from tests.tracker.store.builders import put_logbook
from tests.tracker.store.conftest import module_store  # noqa: F401 - a fixture
from tracker.domain.changes import Change
from tracker.domain.controller import Vehicle
from tracker.domain.logbook import Logbook
from tracker.errors import ConflictError, TrackerError
from tracker.services.naming import key_of
from tracker.services.noting import note
from tracker.services.saving import remove_record, save_record
from tracker.services.undoing import undo_change
from tracker.store.database import Store
from tracker.store.records import Records

random = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])


class _ThrownAwayError(Exception):
    """Ends an example without leaving anything to the next."""


@contextmanager
def begun(store: Store) -> Iterator[Records]:
    """One transaction on the records to begin with; nothing of it stays."""
    with suppress(_ThrownAwayError), store.writing() as records:
        put_logbook(records, START)
        yield records
        raise _ThrownAwayError


def edited(draw: st.DataObject, records: Records) -> Change | None:
    """Try one random edit; one that is refused changes nothing."""
    before = records.logbook()
    try:
        with records.connection.begin_nested():
            return note(records, drawn_edit(draw, records), asked="")
    except TrackerError:
        records._forget_keys()  # a real transaction ends here
        assert records.logbook() == before
        return None


def take_back(records: Records, change: Change) -> None:
    with records.connection.begin_nested():
        noted = records.noted_change(change.id)
        assert noted is not None
        undo_change(records, noted)


@random
@given(draw=st.data())
def test_taken_back_from_the_newest_on_each_logbook_comes_back(module_store: Store, draw: st.DataObject) -> None:  # noqa: F811
    with begun(module_store) as records:
        done: list[tuple[Change, Logbook]] = []
        for _ in range(draw.draw(st.integers(1, 8), label="edits")):
            before = records.logbook()
            change = edited(draw, records)
            if change is not None:
                done.append((change, before))
        for change, before in reversed(done):
            take_back(records, change)
            assert records.logbook() == before


@random
@given(draw=st.data())
def test_in_any_order_it_is_taken_back_or_refused(module_store: Store, draw: st.DataObject) -> None:  # noqa: F811
    with begun(module_store) as records:
        first, left = records.logbook(), list[Change]()
        for _ in range(draw.draw(st.integers(2, 10), label="steps")):
            if not left or draw.draw(st.booleans(), label="edit"):
                done = edited(draw, records)
                left += [done] if done is not None else []
                continue
            change = draw.draw(st.sampled_from(left), label="taken back")
            before = records.logbook()
            try:
                take_back(records, change)
                left.remove(change)
            except ConflictError:
                records._forget_keys()
                assert records.logbook() == before
        for change in reversed(list(left)):
            with suppress(ConflictError):
                take_back(records, change)
                left.remove(change)
        if not left:
            assert records.logbook() == first


def test_a_number_that_came_back_to_its_row_is_that_row(module_store: Store) -> None:  # noqa: F811
    """On SQLite the new vehicle carries the number of the one removed, until both are taken back."""
    with begun(module_store) as records:
        first = records.logbook()
        steps: tuple[Callable[[], Any], ...] = (
            lambda: remove_record(records, "run", key_of(START.runs[0])),
            lambda: remove_record(records, "vehicle", "Groomer"),
            lambda: save_record(records, Vehicle(name="Barge"), None),
        )
        for change in reversed([note(records, step(), asked="") for step in steps]):
            take_back(records, change)
        assert records.logbook() == first
