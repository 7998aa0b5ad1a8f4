"""Limits: what was read is kept while nothing is written, and never after, whoever wrote."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

from tests.tracker.store import builders as b
from tracker.store.database import Store, open_store


def names_of(store: Store, read: Callable[[], None] = lambda: None) -> tuple[str, ...]:
    """The packs by way of what is kept; `read` is called when they were really read."""
    with store.reading() as records:

        def make() -> tuple[str, ...]:
            read()
            return tuple(pack.name for pack in records.packs())

        return store.kept.read(records, "names", make)


def test_nothing_is_read_twice_while_nothing_is_written(store: Store) -> None:
    times: list[int] = []
    for _ in range(3):
        assert names_of(store, lambda: times.append(1)) == ()
    assert len(times) == 1


def test_what_this_program_or_another_writes_is_seen_at_once(store: Store, url: str) -> None:
    assert names_of(store) == ()
    with open_store(url) as other:
        for number in range(6):
            assert len(names_of(other)) == number
            with (store, other)[number % 2].writing() as records:
                records.put_pack(b.pack(f"Tug {number}"))
            assert len(names_of(store)) == number + 1
            assert len(names_of(other)) == number + 1


def test_what_is_undone_or_not_yet_done_is_not_kept(file_store: Store) -> None:
    assert names_of(file_store) == ()
    try:
        with file_store.writing() as records:
            records.put_pack(b.pack("Tug 1"))
            assert names_of(file_store) == ()
            raise KeyError
    except KeyError:
        pass
    assert names_of(file_store) == ()


def test_a_transaction_that_began_before_a_write_does_not_pass_its_reading_on(store: Store) -> None:
    with store.reading() as old:
        assert old.packs() == ()
        with store.writing() as records:
            records.put_pack(b.pack("Tug 1"))
        assert store.kept.read(old, "names", lambda: tuple(pack.name for pack in old.packs())) == ()
    assert names_of(store) == ("Tug 1",)


def test_in_memory_nothing_is_kept() -> None:
    times: list[int] = []
    with open_store("sqlite://") as store:
        for _ in range(2):
            names_of(store, lambda: times.append(1))
    assert len(times) == 2


def test_another_file_in_its_place_is_noticed(tmp_path: Path) -> None:
    with open_store(f"sqlite:///{tmp_path / 'other.sqlite3'}") as other, other.writing() as records:
        records.put_pack(b.pack("Tug 9"))
    with open_store(f"sqlite:///{tmp_path / 'logbook.sqlite3'}") as store:
        with store.reading() as records:
            before = records.version
        (tmp_path / "other.sqlite3").replace(tmp_path / "logbook.sqlite3")
        with store.reading() as records:
            assert records.version != before


def test_readers_and_writers_at_once_never_see_less_than_was_there_when_they_began(store: Store) -> None:
    done, wrong = threading.Event(), []
    written = [0]

    def look() -> None:
        while not done.is_set():
            least = written[0]
            if len(names_of(store)) < least:
                wrong.append(least)

    readers = [threading.Thread(target=look) for _ in range(3)]
    for reader in readers:
        reader.start()
    for number in range(25):
        with store.writing() as records:
            records.put_pack(b.pack(f"Tug {number}"))
        written[0] = number + 1
    done.set()
    for reader in readers:
        reader.join()
    assert wrong == []
