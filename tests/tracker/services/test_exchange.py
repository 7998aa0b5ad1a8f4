"""Round trips: export and import, backup and restore, and two programs importing at once."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.tracker.small_logbook import COUNTS, write
from tracker.errors import StoreError, TrackerError
from tracker.services import Services, open_services

IMPORT = "import sys; from tracker.cli.main import main; sys.exit(main(sys.argv[1:]))"


def test_export_then_import_into_an_empty_database_gives_the_same(filled: Services, tmp_path: Path) -> None:
    first = filled.exchange.export(tmp_path / "out")
    with open_services(f"sqlite:///{tmp_path / 'other.sqlite3'}") as other:
        report = other.exchange.import_files(list(first))
        assert report.added == COUNTS
        second = other.exchange.export(tmp_path / "out again")
        assert other.packs.all(include_retired=True) == filled.packs.all(include_retired=True)
        assert [each.run for each in other.runs.assess()] == [each.run for each in filled.runs.assess()]
        assert other.runs.assess() == filled.runs.assess()
    assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]


def test_restore_brings_back_what_was_backed_up(filled: Services, tmp_path: Path) -> None:
    copy = filled.exchange.backup(tmp_path / "copy.sqlite3")
    before = filled.runs.assess()
    for each in before:
        filled.runs.remove(each.run.pack, each.run.started_at)
    assert filled.runs.assess() == ()
    filled.exchange.restore(copy)
    assert filled.runs.assess() == before


def test_restore_refuses_what_is_no_backup_and_changes_nothing(filled: Services, tmp_path: Path) -> None:
    rubbish = tmp_path / "rubbish"
    rubbish.write_bytes(b"SQLite format 3\0" + bytes(range(256)) * 40)
    packs = filled.packs.all(include_retired=True)
    with pytest.raises(StoreError, match="rubbish"):
        filled.exchange.restore(rubbish)
    with pytest.raises(TrackerError, match="does not exist"):
        filled.exchange.restore(tmp_path / "missing")
    assert filled.packs.all(include_retired=True) == packs


def test_the_invented_clubs_logbook_comes_with_the_program(services: Services) -> None:
    report = services.exchange.load_demo()
    assert report.added["packs"] >= 8
    assert report.added["runs"] >= 150
    assert report.added == services.exchange.load_demo().unchanged


def test_two_programs_importing_at_once_lose_nothing(url: str, services: Services, tmp_path: Path) -> None:
    services.exchange.import_files(write(tmp_path / "first", packs=""))
    paths = []
    for number in range(2):
        rows = "".join(f"Tug A,2025-06-{day:02}T{10 + number}:{minute:02}Z,12\n" for day in range(1, 29) for minute in range(60))
        paths += write(tmp_path / str(number), runs=f"pack,started_at,run_min\n{rows}")
    same = write(tmp_path / "same", charges="")
    running = [
        subprocess.Popen(
            [sys.executable, "-c", IMPORT, "--database", url, "import", str(path), str(same[0])], stdout=subprocess.PIPE, text=True
        )
        for path in paths
    ]
    said = [process.communicate(timeout=120)[0] for process in running]
    assert [process.returncode for process in running] == [0, 0], said
    assert len(services.runs.assess("Tug A")) == 2 * 28 * 60
    assert len(services.charges.all("Tug A")) == 1


KILLED = """
import os, sys
from pathlib import Path
from tracker.services import open_services
def tell(label, done, total):
    if label == "storing" and done:
        os._exit(9)
open_services(sys.argv[1]).exchange.import_files([Path(each) for each in sys.argv[2:]], progress=tell)
"""


def test_a_program_killed_while_it_stores_leaves_the_database_as_it_was(url: str, filled: Services, tmp_path: Path) -> None:
    before = filled.exchange.export(tmp_path / "before")
    more = write(tmp_path / "more", runs="pack,started_at,run_min\nTug A,2025-06-01T10:00Z,12\n")
    killed = subprocess.run([sys.executable, "-c", KILLED, url, *map(str, more)], timeout=60, check=False)
    assert killed.returncode == 9
    after = filled.exchange.export(tmp_path / "after")
    assert [path.read_bytes() for path in before] == [path.read_bytes() for path in after]
    assert filled.exchange.import_files(more).added["runs"] == 1
