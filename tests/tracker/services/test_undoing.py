"""Round trip: taking back restores exactly what was, in whatever order, or is refused and changes nothing."""

from __future__ import annotations

from contextlib import suppress

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.tracker.services.random_edits import START, drawn_edit
from tests.tracker.store.conftest import emptied_store, module_store  # noqa: F401 - fixtures
from tracker.domain.changes import Change
from tracker.domain.logbook import Logbook
from tracker.errors import ConflictError, TrackerError
from tracker.services import Services
from tracker.store.database import Store
from tracker.store.tables import Base


def book_of(store: Store) -> Logbook:
    with store.reading() as records:
        return records.logbook()


def begun(store: Store) -> Services:
    """Services on a store that holds the records to start from and no change."""
    with store.writing() as records:
        for table in reversed(Base.metadata.sorted_tables):
            records.connection.execute(table.delete())
    services = Services(store)
    for record in START:
        services.edits.save(record)
    with store.writing() as records:
        records.connection.execute(Base.metadata.tables["change"].delete())
    return services


def tried(store: Store, services: Services, draw: st.DataObject) -> Change | None:
    """Try one random edit; one that is refused changes nothing."""
    before = book_of(store)
    try:
        return drawn_edit(draw, services, before)()
    except TrackerError:
        assert book_of(store) == before
        return None


random = settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])


@random
@given(draw=st.data())
def test_taken_back_from_the_newest_on_each_logbook_comes_back(module_store: Store, draw: st.DataObject) -> None:  # noqa: F811
    services = begun(module_store)
    done: list[tuple[Change, Logbook]] = []
    for _ in range(draw.draw(st.integers(1, 8), label="edits")):
        before = book_of(module_store)
        change = tried(module_store, services, draw)
        if change is not None:
            done.append((change, before))
    for change, before in reversed(done):
        undone = services.edits.undo(change.id)
        assert undone.undone
        assert undone.words == change.words
        assert book_of(module_store) == before
    fresh = {(each.run.pack, each.run.started_at): each.estimate for each in services.runs.assess()}
    anew = {(each.run.pack, each.run.started_at): each.estimate for each in services.runs.assess(everything=True)}
    assert fresh == anew


@random
@given(draw=st.data())
def test_in_any_order_it_is_taken_back_or_refused(module_store: Store, draw: st.DataObject) -> None:  # noqa: F811
    services = begun(module_store)
    first = book_of(module_store)
    left: list[Change] = []
    for _ in range(draw.draw(st.integers(2, 9), label="steps")):
        if left and draw.draw(st.booleans(), label="take back"):
            change = draw.draw(st.sampled_from(left), label="taken back")
            before = book_of(module_store)
            with suppress(ConflictError):
                services.edits.undo(change.id)
                left.remove(change)
            if change in left:
                assert book_of(module_store) == before
        else:
            done = tried(module_store, services, draw)
            left += [done] if done is not None else []
    for change in reversed(list(left)):
        with suppress(ConflictError):
            services.edits.undo(change.id)
            left.remove(change)
    if not left:
        assert book_of(module_store) == first
