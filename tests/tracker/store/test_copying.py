"""Limits and round trip: copies are whole whatever others write, and only a sound copy replaces anything."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from tests.tracker.store import builders as b
from tests.tracker.store.test_schema import later
from tracker.domain.logbook import Logbook
from tracker.errors import InputError, StoreError
from tracker.store import copying
from tracker.store.copying import backup, replace_all, restore
from tracker.store.database import Store, open_location, open_store
from tracker.store.results import StoredKnowledge


def fill(store: Store) -> None:
    with store.writing() as records:
        b.put_logbook(records, b.FULL_LOGBOOK)
        records.add_runs(b.run("Tug 1", hours) for hours in range(1, 20))
        records.save_estimates("Tug 1", [(b.START, b.estimate())])
        records.save_findings("Tug 1", [b.FINDING])
        records.save_knowledge("Tug 1", StoredKnowledge(model="model 1", as_of=b.START, payload="{}"))


def everything(store: Store) -> tuple[object, ...]:
    with store.reading() as records:
        return records.logbook(), records.estimates(), records.findings(), records.knowledge(), records.counts()


def test_what_another_writes_while_a_backup_is_put_back_is_never_in_neither(
    file_store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(file_store)
    copy = backup(file_store, tmp_path / "copies.sqlite3")
    aside = copying.copy_aside

    def writing_after(*given: Any) -> Path:
        kept = aside(*given)
        with open_location(file_store.location, wait_s=0.1) as other, pytest.raises(StoreError), other.writing() as records:
            records.put_pack(b.pack("Something else"))
        return kept

    monkeypatch.setattr(copying, "copy_aside", writing_after)
    assert replace_all(file_store, copy).is_file()


def test_a_copy_restored_gives_everything_back(store: Store, tmp_path: Path) -> None:
    fill(store)
    before = everything(store)
    copy = backup(store, tmp_path / "copies.sqlite3")
    with store.writing() as records:
        records.remove_pack("Tug 1", with_history=True)
        records.put_pack(b.pack("Something else"))
        records.add_runs([b.run("Something else")])
    restore(store, copy)
    assert everything(store) == before
    with store.writing() as records:
        records.put_pack(b.pack("New one"))
        records.add_runs([b.run("New one")])
        records.save_findings("New one", [b.BARE_FINDING])


def test_a_copy_is_one_file_that_opens_as_a_database(store: Store, tmp_path: Path) -> None:
    fill(store)
    folder = tmp_path / "copies"
    folder.mkdir()
    copy = backup(store, folder / "of today")
    assert [path.name for path in folder.iterdir()] == ["of today"]
    # Bytes 18 and 19 are 1 in a file that can be read where nothing may be written beside it, 2 in one that cannot:
    # SQLite, Database File Format, section 1.3.3, sqlite.org/fileformat2.html.
    assert copy.read_bytes()[18:20] == b"\1\1"
    with open_store(f"sqlite:///{copy}") as opened:
        assert everything(opened) == everything(store)


def test_a_copy_from_one_kind_of_database_restores_into_the_other(file_store: Store, postgres_store: Store, tmp_path: Path) -> None:
    fill(file_store)
    restore(postgres_store, backup(file_store, tmp_path / "one"))
    assert everything(postgres_store) == everything(file_store)
    with postgres_store.writing() as records:
        records.add_runs([b.run("Tug 1", 500)])
    restore(file_store, backup(postgres_store, tmp_path / "two"))
    assert everything(file_store) == everything(postgres_store)


def test_a_database_in_memory_is_copied_and_restored(tmp_path: Path) -> None:
    with open_store("sqlite://") as store:
        fill(store)
        before = everything(store)
        copy = backup(store, tmp_path / "copy")
        with store.writing() as records:
            records.remove_run("Tug 1", b.START)
        restore(store, copy)
        assert everything(store) == before


def test_progress_is_told(store: Store, tmp_path: Path) -> None:
    fill(store)
    copy = backup(store, tmp_path / "copy")
    told: list[tuple[str, int, int | None]] = []
    restore(store, copy, lambda label, done, total: told.append((label, done, total)))
    with store.reading() as records:
        rows = sum(records.counts().values())
    assert told[-1] == ("copying", rows, rows)


def test_a_copy_made_while_others_write_is_consistent(store: Store, tmp_path: Path) -> None:
    """Each transaction adds a run and its estimate to two packs: a copy that caught half of one would show a difference."""
    with store.writing() as records:
        b.fill(records, ("A", "B"))
    stop = threading.Event()
    written = threading.Event()

    def write() -> None:
        hours = 0
        while not stop.is_set():
            with store.writing() as records:
                for name in ("A", "B"):
                    records.add_runs([b.run(name, hours)])
                    records.save_estimates(name, [(b.at(hours), b.estimate())])
            hours += 1
            written.set()

    writer = threading.Thread(target=write)
    writer.start()
    seen: list[dict[str, int]] = []
    try:
        written.wait(10)
        for number in range(6):
            with open_store(f"sqlite:///{backup(store, tmp_path / f'copy {number}')}") as copy, copy.reading() as records:
                counts = records.run_counts()
                seen.append(counts)
                assert counts["A"] == counts["B"]
                assert len(records.estimates()) == counts["A"] + counts["B"]
    finally:
        stop.set()
        writer.join()
    assert seen[-1]["A"] > seen[0]["A"] > 0, "nobody wrote meanwhile, so nothing was tried"


def test_an_older_copy_of_the_same_name_is_replaced(store: Store, tmp_path: Path) -> None:
    copy = backup(store, tmp_path / "copy")
    fill(store)
    assert backup(store, copy) == copy
    with open_store(f"sqlite:///{copy}") as opened:
        assert everything(opened) == everything(store)


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda path: path.write_text("my notes"), "not a copy made by this program; it was left as it is"),
        (lambda path: path.mkdir(), "is a folder"),
    ],
)
def test_a_copy_replaces_nothing_else(store: Store, tmp_path: Path, make: Callable[[Path], object], match: str) -> None:
    path = tmp_path / "precious"
    make(path)
    with pytest.raises(StoreError, match=match):
        backup(store, path)
    assert path.is_dir() or path.read_text() == "my notes"


def test_a_copy_does_not_replace_the_database_itself(file_store: Store) -> None:
    assert file_store.path is not None
    with pytest.raises(StoreError, match="is the database itself"):
        backup(file_store, file_store.path)


def test_a_copy_needs_a_folder_that_is_there(store: Store, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="does not exist; make it first"):
        backup(store, tmp_path / "none" / "copy")


def cut(path: Path) -> None:
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])


def scribble(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[8192:] = bytes(byte ^ 0x5A for byte in content[8192:])
    path.write_bytes(bytes(content))


def loosen(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("DELETE FROM pack")
        connection.commit()


def break_a_bound(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA ignore_check_constraints=ON")
        connection.execute("UPDATE run SET run_s = -5")
        connection.commit()


def slip_in_what_is_no_reading(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE run SET before_v = '[-4.2]'")
        connection.commit()


def of_another_program(path: Path) -> None:
    path.unlink()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE run (id INTEGER)")


@pytest.mark.parametrize(
    ("spoil", "match"),
    [
        (Path.unlink, "does not exist"),
        (lambda path: path.write_text("pack,series\n"), "not a copy made by this program"),
        (lambda path: path.write_bytes(b""), "not a copy made by this program"),
        (of_another_program, "not a copy made by this program"),
        (cut, "damaged"),
        (scribble, "damaged"),
        (loosen, "damaged .a row of '.*' names a record that is not there"),
        (break_a_bound, "damaged .CHECK constraint failed in run"),
        (slip_in_what_is_no_reading, "cannot be a reading"),
    ],
)
def test_a_bad_copy_replaces_nothing(store: Store, tmp_path: Path, spoil: Callable[[Path], object], match: str) -> None:
    fill(store)
    before = everything(store)
    copy = backup(store, tmp_path / "copy")
    spoil(copy)
    content = copy.read_bytes() if copy.exists() else None
    with pytest.raises((StoreError, InputError), match=match):
        restore(store, copy)
    assert everything(store) == before
    assert (copy.read_bytes() if copy.exists() else None) == content


def test_a_copy_of_a_newer_program_replaces_nothing(store: Store, tmp_path: Path) -> None:
    fill(store)
    before = everything(store)
    newer = tmp_path / "newer.sqlite3"
    open_store(f"sqlite:///{newer}", schema=later(tmp_path)).close()
    with pytest.raises(StoreError, match="newer version of this program"):
        restore(store, newer)
    assert everything(store) == before


def test_a_folder_is_not_a_copy(store: Store, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="does not exist"):
        restore(store, tmp_path)


def test_restoring_what_a_reader_is_reading_waits_for_nobody(store: Store, tmp_path: Path) -> None:
    fill(store)
    copy = backup(store, tmp_path / "copy")
    with store.writing() as records:
        records.add_runs([b.run("Tug 1", 99)])
    with store.reading() as seen:
        many = len(seen.runs())
        restore(store, copy)
        assert len(seen.runs()) == many
    with store.reading() as seen:
        assert len(seen.runs()) == many - 1


def test_an_empty_copy_empties(store: Store, tmp_path: Path) -> None:
    copy = backup(store, tmp_path / "copy")
    fill(store)
    restore(store, copy)
    assert everything(store)[0] == Logbook()
