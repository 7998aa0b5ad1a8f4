"""Files through the doors: what they would bring, what is refused, and that nothing is stored before it is asked for."""

from __future__ import annotations

import http.client
import secrets
import threading
from io import BytesIO
from urllib.parse import urlsplit

import pytest
from werkzeug.datastructures import FileStorage

from dashboard.access import Access
from dashboard.app import create_app
from dashboard.exchange import receiving
from dashboard.exchange.receiving import MOST_FILES, MOST_FILES_BYTES
from dashboard.exchange.waiting import WaitingRoom
from tests.dashboard.conftest import Serve
from tests.dashboard.exchange.conftest import Door, token
from tests.tracker.small_logbook import FILES, PACKS, RUNS
from tracker.services import Services


def test_nothing_is_stored_before_it_is_asked_for(door: Door) -> None:
    address = door.send_logbook()
    text = door.shown(address)
    assert "14 records would be added" in text
    assert "None of this is stored yet" in text
    assert door.runs() == 0
    assert door.store(address).headers["Location"] == address
    assert "14 records added" in door.shown(address)
    assert door.runs() == 4
    assert door.services.runs.waiting() == 0
    assert "all 14 records in the files are stored already" in door.shown(door.send_logbook())


def test_what_differs_is_shown_field_by_field_and_replaced_only_by_its_button(filled: Door) -> None:
    address = filled.send(("corrected.csv", RUNS.replace(",2800,", ",2950,")))
    text = filled.shown(address)
    assert "1 stored record would be replaced, 3 are as stored" in text
    for said in ("used_mah", "2800", "2950", "corrected.csv", "Tug B", "Bring these in and replace 1 stored record"):
        assert said in text
    filled.store(address, replace="no")
    assert "Refused: nothing was stored" in filled.shown(address)
    filled.store(address, replace="yes")
    assert "1 stored record replaced" in filled.shown(address)
    [run] = [each.run for each in filled.services.runs.assess("Tug B")]
    assert run.used_ah == pytest.approx(2.95)


def test_every_refused_row_is_told_with_its_place_and_nothing_is_stored(door: Door) -> None:
    address = door.send(
        ("packs.csv", PACKS), ("my runs.csv", "pack,started_at,run_min,before_v\nTug A,2025-06-01T10:00Z,soon,\nTug A,never,12,9999\n")
    )
    text = door.shown(address)
    assert "3 things are wrong" in text
    for said in (
        "my runs.csv",
        "'children': '2'",
        "run_min",
        "soon",
        "'children': '3'",
        "started_at",
        "never",
        "before_v",
        "above 0 up to 1000 V",
    ):
        assert said in text, said
    assert door.store(address).status_code == 409
    assert door.services.packs.all() == ()


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("../../../etc/passwd", "passwd"),
        ("C:\\Users\\someone\\runs.csv", "runs.csv"),
        ("<script>alert(1)<script>.csv", "<script>alert(1)<script>.csv"),
        ("a\x00b\r\n\u202e.csv", "ab.csv"),
        ("…/../", "file 1"),
        ("x" * 300 + ".csv", "x" * 109 + "…" + "xxxxxx.csv"),
        ("🔋 «été».csv", "🔋 «été».csv"),
    ],
)
def test_a_file_s_name_is_only_ever_a_name(name: str, told: str) -> None:
    room = WaitingRoom()
    parcel = room.take("files", [FileStorage(BytesIO(b"x"), filename=name) for _ in range(2)])
    first, second = parcel.files
    assert (first.name, second.name) in {(told, f"{told} (2)"), (told, "file 2")}
    assert [file.path for file in parcel.files] == [parcel.folder / "001", parcel.folder / "002"]


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"", "is empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "UTF-8"),
        (b"PK\x03\x04" + bytes(60), "spreadsheet or a packed archive"),
        (b"SQLite format 3\x00" + bytes(100), "is a database"),
        ("pack;run\n1;2\n".encode("utf-16"), "UTF-16"),
        (b"one,two\n1,2\n", "fits no kind of file"),
        (b"pack,started_at,run_min\n" + b'Tug A,"2025', "row"),
    ],
)
def test_a_wrong_file_is_refused_in_words(door: Door, body: bytes, says: str) -> None:
    text = door.shown(door.send(("odd.csv", body)))
    assert "Refused: nothing was stored" in text
    assert says in text
    assert str(door.desk.room.find("files", "")) == "None"


def test_a_form_without_files_or_with_too_many_is_refused(door: Door) -> None:
    assert door.post("/data/files").status_code == 400
    assert "No file was sent" in door.post("/data/files", other="x").text
    too_many = [(f"{number}.csv", "x") for number in range(MOST_FILES + 1)]
    answer = door.post("/data/files", files=[(BytesIO(body.encode()), name) for name, body in too_many])
    assert answer.status_code == 400
    assert f"{MOST_FILES + 1} files were sent" in answer.text


def test_too_large_a_form_is_answered_by_a_page_and_not_by_a_broken_line(services: Services, serve: Serve) -> None:
    """The whole of it is sent over a real line before the answer is read, as a browser does."""
    head = b'--edge\r\nContent-Disposition: form-data; name="files"; filename="large.csv"\r\n\r\n'
    tail = b"\r\n--edge--\r\n"
    filling, parts = b"x" * 1024 * 1024, MOST_FILES_BYTES // (1024 * 1024) + 2
    with serve(services) as base:
        line = http.client.HTTPConnection(urlsplit(base).netloc, timeout=30)
        line.putrequest("POST", "/data/files")
        line.putheader("Content-Type", "multipart/form-data; boundary=edge")
        line.putheader("Content-Length", str(len(head) + len(tail) + parts * len(filling)))
        line.endheaders()
        line.send(head)
        for _ in range(parts):
            line.send(filling)
        line.send(tail)
        answer = line.getresponse()
        text = answer.read().decode()
        line.close()
    assert answer.status == 413
    assert "66 MiB were sent; up to 64 MiB are taken at a time" in text
    assert "Back to Data" in text


def test_files_that_are_too_large_only_together_are_refused(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dashboard.exchange.desk.MOST_FILES_BYTES", 300)
    monkeypatch.setattr(receiving, "MOST_FILES_BYTES", 300)
    answer = door.post("/data/files", files=[(BytesIO(FILES[kind].encode()), kind) for kind in ("packs", "runs")])
    assert answer.status_code == 413
    assert list(door.desk.room._place().iterdir()) == []


def test_a_guessed_token_finds_nothing(filled: Door) -> None:
    address = filled.send_logbook()
    assert len(token(address)) >= 32
    for guess in (secrets.token_urlsafe(24), "", "..", "%2e%2e", token(address)[:-1], token(address) + "A"):
        assert "no longer here" in filled.shown(f"/data?files={guess}")
        for path in (f"/data/files/{guess}/store", f"/data/files/{guess}/drop", f"/data/backups/{guess}/restore"):
            assert filled.post(path, word="replace").status_code in {404, 405}
    assert filled.post(f"/data/backups/{token(address)}/restore", word="replace").status_code == 404
    assert "no longer here" in filled.shown(f"/data?backup={token(address)}")
    assert filled.client.get(f"/data/jobs/{secrets.token_urlsafe(24)}").get_json() == {"state": "gone"}


def test_what_is_left_is_thrown_away(door: Door) -> None:
    address = door.send_logbook()
    parcel = door.desk.room.find("files", token(address))
    assert parcel is not None
    assert door.post(f"/data/files/{token(address)}/drop").headers["Location"] == "/data"
    assert not parcel.folder.exists()
    assert "no longer here" in door.shown(address)


def test_two_people_at_once_get_what_each_asked_for(door: Door) -> None:
    door.store(door.send(("packs.csv", PACKS)))
    head = "pack,started_at,run_min\n"
    rows = ["".join(f"Tug A,2025-06-{day:02}T{hour}:{minute:02}Z,12\n" for day in range(1, 4) for minute in range(20)) for hour in (10, 11)]
    addresses = [door.send((f"{number}.csv", head + part)) for number, part in enumerate(rows)]
    door.settle()
    threads = [
        threading.Thread(target=door.desk.bring_in, args=(found,), kwargs={"replace": False})
        for address in addresses * 2
        if (found := door.desk.room.find("files", token(address)))
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    door.settle()
    assert door.runs() == 2 * 3 * 20
    for address in addresses:
        assert "60 records added" in door.shown(address)


def test_foreign_pages_and_strangers_are_kept_out(services: Services) -> None:
    door = Door(services)
    for path in ("/data/files", "/data/backups", "/data/estimate", f"/data/files/{'a' * 32}/store", f"/data/changes/{'a' * 32}/undo"):
        assert door.client.post(path, headers={"Origin": "http://evil.example"}).status_code == 403
        assert door.client.post(path, headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403
    guarded = create_app(services, Access(password="pond and paddle")).server.test_client()
    for path in ("/data/export", "/data/backup", "/data/jobs/x"):
        assert guarded.get(path).status_code in {302, 401}
    assert guarded.post("/data/files").status_code == 401
