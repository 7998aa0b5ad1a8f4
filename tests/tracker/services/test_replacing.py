"""A backup looked into, and put in place of everything with a way back."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.tracker.small_logbook import write
from tracker.errors import StoreError
from tracker.services import Services, open_services

NUMBERS = {"packs": 4, "runs": 4, "charges": 2, "vehicles": 1, "controllers": 2, "bench tests": 1}


def test_a_backup_is_told_by_what_it_holds(filled: Services, tmp_path: Path) -> None:
    copy = filled.exchange.backup(tmp_path / "copy.sqlite3")
    filled.runs.remove("Tug A", datetime(2025, 4, 12, 10, 0, tzinfo=UTC))
    held, now = filled.exchange.examine(copy), filled.database.contents()
    assert NUMBERS.items() <= dict(held.numbers).items()
    assert held.newest_run_at == datetime(2025, 4, 12, 10, 0, tzinfo=UTC)
    assert held.newest_charge_at == datetime(2025, 4, 5, 19, 0, tzinfo=UTC)
    assert now.numbers["runs"] == 3
    assert now.newest_run_at == datetime(2025, 4, 6, 9, 0, tzinfo=UTC)


def test_what_was_stored_is_kept_beside_the_database_when_all_is_replaced(filled: Services, tmp_path: Path) -> None:
    copy = filled.exchange.backup(tmp_path / "copy.sqlite3")
    before = filled.runs.assess()
    filled.runs.remove("Tug A", datetime(2025, 4, 12, 10, 0, tzinfo=UTC))
    kept = filled.exchange.replace_all(copy)
    assert filled.runs.assess() == before
    assert filled.database.path is not None
    assert kept.parent == filled.database.path.parent
    assert filled.exchange.examine(kept).numbers["runs"] == 3
    again = filled.exchange.replace_all(kept)
    assert again != kept
    assert filled.database.contents().numbers["runs"] == 3


def test_a_bad_backup_replaces_nothing_and_leaves_no_copy(filled: Services, tmp_path: Path) -> None:
    rubbish = tmp_path / "rubbish.sqlite3"
    rubbish.write_bytes(filled.exchange.backup(tmp_path / "copy.sqlite3").read_bytes()[:9000])
    beside = sorted(tmp_path.iterdir())
    for ask in (filled.exchange.examine, filled.exchange.replace_all):
        with pytest.raises(StoreError, match="rubbish"):
            ask(rubbish)
    assert sorted(tmp_path.iterdir()) == beside
    assert filled.database.contents().numbers["runs"] == 4


def test_the_database_says_what_it_is(filled: Services, url: str) -> None:
    facts = filled.database.facts()
    assert facts.kind == "SQLite"
    assert url.endswith(facts.shown)
    assert facts.size_bytes is not None
    assert facts.size_bytes > 10_000
    assert facts.schema.isdecimal()
    assert facts.waiting_runs == 4
    filled.runs.refresh()
    assert filled.database.facts().waiting_runs == 0


def test_everything_can_be_estimated_anew(filled: Services) -> None:
    filled.runs.refresh()
    told: list[int] = []
    filled.runs.refresh(lambda _label, done, _total: told.append(done))
    assert told == []
    filled.runs.refresh(lambda _label, done, _total: told.append(done), everything=True)
    assert max(told) == 4


def test_a_database_in_memory_names_no_place(tmp_path: Path) -> None:
    with open_services("sqlite://") as services:
        services.exchange.import_files(write(tmp_path / "in"))
        assert (services.database.facts().shown, services.database.facts().contents.numbers["packs"]) == ("", 4)
