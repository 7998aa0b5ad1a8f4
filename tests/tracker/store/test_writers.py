"""Limits: several writers at once lose nothing, and one that is killed leaves nothing half done."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest

from tests.tracker.store import builders as b
from tracker.errors import ConflictError, StoreError
from tracker.store.database import Store, open_store

ROOT = Path(__file__).resolve().parents[3]

WRITER = """
import sys
from tests.tracker.store import builders as b
from tracker.store.database import open_store

url, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
with open_store(url) as store:
    print("ready", flush=True)
    sys.stdin.readline()
    for hours in range(count):
        with store.writing() as records:
            records.add_runs([b.run(name, hours)])
"""

HALF_DONE = """
import sys
from tests.tracker.store import builders as b
from tracker.store.database import open_store

with open_store(sys.argv[1]) as store, store.writing() as records:
    records.add_runs(b.run("Tug 1", 1000 + hours) for hours in range(20_000))
    records.save_estimates("Tug 1", [(b.START, b.estimate("model 2"))])
    print("half done", flush=True)
    sys.stdin.readline()
"""


def start(program: str, *arguments: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", program, *arguments]
    return subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def wait_for_word(process: subprocess.Popen[str]) -> str:
    assert process.stdout is not None
    return process.stdout.readline().strip()


def let_go(process: subprocess.Popen[str]) -> None:
    assert process.stdin is not None
    process.stdin.write("\n")
    process.stdin.flush()


def test_threads_that_look_and_then_write_do_not_overtake_each_other(store: Store) -> None:
    """Each adds a run an hour after the last one stored: were two to see the same last one, one run would be missing."""
    with store.writing() as records:
        b.fill(records)
    together = threading.Barrier(8)

    def add(_: int) -> None:
        together.wait()
        for _times in range(10):
            with store.writing() as records:
                records.add_runs([b.run("Tug 1", len(records.runs()))])

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(add, range(8)))
    with store.reading() as records:
        assert [found.started_at for found in records.runs()] == [b.at(hours) for hours in range(80)]


def test_threads_that_store_the_same_run_store_it_once(store: Store) -> None:
    with store.writing() as records:
        b.fill(records)
    together = threading.Barrier(6)

    def add(_: int) -> bool:
        together.wait()
        try:
            with store.writing() as records:
                records.add_runs([b.run()])
        except ConflictError:
            return False
        return True

    with ThreadPoolExecutor(6) as pool:
        assert sum(pool.map(add, range(6))) == 1


def test_two_processes_and_this_one_lose_nothing(url: str) -> None:
    with open_store(url) as store:
        with store.writing() as records:
            b.fill(records, ("A", "B", "C"))
        writers = [start(WRITER, url, name, "30") for name in ("A", "B")]
        assert [wait_for_word(writer) for writer in writers] == ["ready", "ready"]
        for writer in writers:
            let_go(writer)
        for hours in range(30):
            with store.writing() as records:
                records.add_runs([b.run("C", hours)])
        assert [writer.wait(60) for writer in writers] == [0, 0]
        with store.reading() as records:
            assert records.run_counts() == {"A": 30, "B": 30, "C": 30}


def test_several_processes_may_make_the_same_database_at_once(url: str) -> None:
    writers = [start(WRITER, url, "A", "0") for _ in range(3)]
    assert [wait_for_word(writer) for writer in writers] == ["ready"] * 3
    for writer in writers:
        let_go(writer)
    assert [writer.wait(60) for writer in writers] == [0] * 3


def test_a_process_killed_while_writing_leaves_what_was_there(url: str) -> None:
    with open_store(url) as store, store.writing() as records:
        b.fill(records, runs=3)
        records.save_estimates("Tug 1", [(b.START, b.estimate("model 1"))])
    writer = start(HALF_DONE, url)
    assert wait_for_word(writer) == "half done"
    writer.send_signal(signal.SIGKILL if sys.platform != "win32" else signal.SIGTERM)
    writer.wait(60)
    with open_store(url) as store:
        with store.reading() as records:
            assert records.run_counts() == {"Tug 1": 3}
            assert {estimate.model for estimate in records.estimates().values()} == {"model 1"}
        with store.writing() as records:
            records.add_runs([b.run("Tug 1", 3)])
        if store.path is not None:
            with closing(sqlite3.connect(store.path)) as connection:
                assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
                assert connection.execute("PRAGMA foreign_key_check").fetchall() == []


def test_whoever_reads_sees_one_moment(store: Store) -> None:
    with store.writing() as records:
        b.fill(records, runs=1)
    with store.reading() as seen:
        assert len(seen.runs()) == 1
        with store.writing() as records:
            records.add_runs([b.run("Tug 1", 1)])
            assert len(seen.runs()) == 1
        assert len(seen.runs()) == 1
    with store.reading() as seen:
        assert len(seen.runs()) == 2


def test_whoever_comes_to_read_need_not_wait_for_a_writer(url: str) -> None:
    with open_store(url) as store, store.writing() as records:
        b.fill(records, runs=1)
        with open_store(url, wait_s=0.2) as other, other.reading() as seen:
            assert seen.packs() == ()


def test_a_writer_that_waits_too_long_is_told_so_in_words(url: str) -> None:
    with open_store(url) as store, open_store(url, wait_s=0.2) as hasty:
        with store.writing() as records:
            b.fill(records)
            with pytest.raises(StoreError, match="being written by another program; nothing was changed; try again"), hasty.writing():
                pass
        with hasty.writing() as records:
            records.add_runs([b.run()])


def test_any_exception_undoes_the_whole_transaction(store: Store) -> None:
    class StopError(Exception):
        pass

    def write_and_stop() -> None:
        with store.writing() as records:
            b.fill(records, runs=5)
            records.save_estimates("Tug 1", [(b.START, b.estimate())])
            raise StopError

    with pytest.raises(StopError):
        write_and_stop()
    with store.reading() as records:
        assert set(records.counts().values()) == {0}


def test_a_refused_batch_leaves_no_part_of_itself_when_the_caller_goes_on(store: Store) -> None:
    with store.writing() as records:
        b.fill(records, runs=1)
        with pytest.raises(ConflictError, match="a run of this pack at this time is stored already"):
            records.add_runs([b.run("Tug 1", 7), b.run("Tug 1", 8), b.run("Tug 1", 0)])
        records.add_runs([b.run("Tug 1", 9)])
    with store.reading() as records:
        assert [found.started_at for found in records.runs()] == [b.at(0), b.at(9)]
