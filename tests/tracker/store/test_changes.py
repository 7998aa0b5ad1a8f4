"""Round trip and limits: what is kept of a change comes back exactly, and only the newest are kept."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import update

from tests.tracker.store import builders as b
from tracker.store import changes
from tracker.store.database import Store
from tracker.store.steps import differences, steps_of, text_of
from tracker.store.tables import ChangeRow


def test_rows_of_every_kind_come_back_from_their_text_exactly(store: Store) -> None:
    with store.writing() as records:
        b.put_logbook(records, b.FULL_LOGBOOK)
        groups = [*records.rows_with_all_below("pack", "Tug 1"), *records.rows_with_all_below("controller", "port")]
        groups += records.rows_of("vehicle", "Groomer")
    steps = differences(groups, ())
    assert {step.table for step in steps} >= {"pack", "run", "charge", "controller", "vehicle", "vehicle_controller", "bench_reading"}
    assert steps_of(text_of(steps)) == steps


def test_only_the_newest_are_kept_in_the_order_they_came(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(changes, "KEPT", 3)
    with store.writing() as records:
        b.put_logbook(records, b.FULL_LOGBOOK)
        [group] = records.rows_of("pack", "Tug 1")
        made = [records.note_change(f"{number:032x}", f"change {number}", "", differences([group], ())) for number in range(5)]
        records.note_change("f" * 32, "did nothing", "", ())
    assert [change.at for change in made] == sorted({change.at for change in made})
    with store.reading() as records:
        assert [change.words for change in records.changes(10)] == ["change 4", "change 3"]
        assert records.noted_change(made[2].id) is None
        assert records.noted_change("f" * 32) is not None
        assert records.last_change() == made[4]


def test_a_clock_that_was_set_back_does_not_upset_the_order(store: Store) -> None:
    ahead = datetime.now(UTC) + timedelta(days=400)
    with store.writing() as records:
        first = records.note_change("1" * 32, "first", "", ())
        records.connection.execute(update(ChangeRow).values(at=ahead))
        second = records.note_change("2" * 32, "second", "", ())
    assert second.at > ahead > first.at
