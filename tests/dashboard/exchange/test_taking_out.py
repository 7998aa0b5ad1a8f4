"""What is taken out comes back the same: logbook files, backups, and changes taken back."""

from __future__ import annotations

import zipfile
from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from uuid import uuid4

import pytest

from dashboard.theme import clock
from tests.dashboard.exchange.conftest import Door, token
from tests.tracker.small_logbook import FILES
from tracker.services import open_services

LAST = datetime(2025, 4, 12, 10, 0, tzinfo=UTC)


def unpacked(archive: bytes) -> list[tuple[str, bytes]]:
    """The files of an archive, by name."""
    with zipfile.ZipFile(BytesIO(archive)) as packed:
        return [(name, packed.read(name)) for name in packed.namelist()]


def test_the_files_taken_out_bring_everything_back(filled: Door, tmp_path: Path) -> None:
    answer = filled.client.get("/data/export")
    assert answer.headers["Content-Disposition"].startswith("attachment; filename=pack-tracker-logbook-20")
    assert answer.headers["Content-Disposition"].endswith(".zip")
    files = unpacked(answer.data)
    assert {name for name, _ in files} >= {f"{kind}.csv" for kind in FILES}
    with open_services(f"sqlite:///{tmp_path / 'other.sqlite3'}") as other:
        door = Door(other)
        door.store(door.send(*files))
        assert other.runs.assess() == filled.services.runs.assess()
        assert dict(other.database.contents().numbers) == dict(filled.services.database.contents().numbers)


def test_a_backup_goes_out_and_comes_back(filled: Door) -> None:
    copy = filled.client.get("/data/backup")
    assert copy.headers["Content-Disposition"].endswith(".sqlite3")
    before = filled.services.runs.assess()
    filled.services.runs.remove("Tug A", LAST)
    address = filled.send(("backup.sqlite3", copy.data), field="backup", to="/data/backups")
    text = filled.shown(address)
    assert "This backup is whole" in text
    assert repr(clock(LAST))[1:-1] in text
    restore = f"/data/backups/{token(address)}/restore"
    for word in ("", "yes", "replace it"):
        refused = filled.post(restore, word=word)
        assert refused.status_code == 409
        assert "type the word replace" in refused.text
    assert filled.runs() == 3
    assert filled.post(restore, word=" Replace ").headers["Location"] == address
    text = filled.shown(address)
    assert "back in place" in text
    assert filled.services.runs.assess() == before
    path = filled.services.database.path
    assert path is not None
    [kept] = path.parent.glob("logbook.replaced-*.sqlite3")
    assert str(kept) in text
    assert filled.services.exchange.examine(kept).numbers["runs"] == 3


@pytest.mark.parametrize("body", [b"", b"pack,chemistry\n", b"SQLite format 3\x00" + bytes(5000)])
def test_what_is_no_backup_is_told_so_under_its_own_name(filled: Door, body: bytes) -> None:
    address = filled.send(("holiday <pictures>.sqlite3", body), field="backup", to="/data/backups")
    text = filled.shown(address)
    assert "This backup cannot be used" in text
    assert "holiday <pictures>.sqlite3" in text
    assert "pack-tracker-sent" not in text
    assert filled.post(f"/data/backups/{token(address)}/restore", word="replace").status_code == 409
    assert filled.runs() == 4


def test_a_damaged_backup_changes_nothing(filled: Door) -> None:
    whole = filled.client.get("/data/backup").data
    address = filled.send(("torn.sqlite3", whole[: len(whole) // 2]), field="backup", to="/data/backups")
    assert "cannot be used" in filled.shown(address)
    assert filled.runs() == 4


def test_a_change_is_taken_back_by_its_button(filled: Door) -> None:
    edits, pack = filled.services.edits, filled.services.packs.get("Tug A")
    change = edits.save(replace(pack, notes="<b>sits in the tug</b>"), replacing="Tug A", change_id=uuid4().hex)
    text = filled.shown("/data")
    assert change.words in text
    assert f"/data/changes/{change.id}/undo" in text
    assert filled.post(f"/data/changes/{change.id}/undo").headers["Location"] == "/data#changes"
    assert filled.services.packs.get("Tug A") == pack
    text = filled.shown("/data")
    assert "taken back" in text
    assert f"/data/changes/{change.id}/undo" not in text
    assert filled.post("/data/changes/unknown/undo").status_code == 400


def test_a_change_that_was_changed_since_says_so(filled: Door) -> None:
    edits, pack = filled.services.edits, filled.services.packs.get("Tug A")
    first = edits.save(replace(pack, notes="one"), replacing="Tug A")
    edits.save(replace(pack, notes="two"), replacing="Tug A")
    assert filled.post(f"/data/changes/{first.id}/undo").status_code == 409
    assert filled.services.packs.get("Tug A").notes == "two"


def test_all_is_estimated_anew_and_the_same(filled: Door) -> None:
    before = filled.services.runs.assess()
    address = filled.post("/data/estimate").headers["Location"]
    assert "Done" in filled.shown(address)
    assert filled.services.runs.assess() == before


def test_the_page_tells_of_the_database_and_never_of_its_password(filled: Door) -> None:
    text = filled.shown("/data")
    for said in ("SQLite", "logbook.sqlite3", "Version of the model", "Waiting to be estimated"):
        assert said in text
