"""Long work and files that wait: told how far, one after the other, bounded."""

from __future__ import annotations

import logging
import threading
from io import BytesIO

import pytest
from werkzeug.datastructures import FileStorage

from dashboard.exchange import waiting
from dashboard.exchange.jobs import MOST_KEPT, Jobs, Work
from dashboard.exchange.waiting import Parcel, WaitingRoom
from tracker.domain.progress import Progress
from tracker.errors import InputError, StoreError


def held(release: threading.Event, told: threading.Event | None = None) -> Work:
    def work(tell: Progress) -> str:
        tell("counting", 3, 10)
        if told is not None:
            told.set()
        release.wait(10)
        return "counted"

    return work


def test_a_job_tells_how_far_it_is_and_another_waits_its_turn() -> None:
    jobs, release, told = Jobs(), threading.Event(), threading.Event()
    first = jobs.start("Count", held(release, told))
    assert told.wait(5)
    second = jobs.start("Count again", held(release))
    assert first.document() == {"state": "running", "label": "counting", "done": 3, "total": 10}
    assert second.document()["state"] == "waiting"
    assert jobs.under_way() == (first, second)
    release.set()
    assert second.wait(5)
    assert (first.state, second.result, jobs.under_way()) == ("done", "counted", ())


def test_a_job_that_fails_says_what_a_person_may_see(caplog: pytest.LogCaptureFixture) -> None:
    def refuse(_tell: Progress) -> None:
        raise StoreError("the database is busy.")

    def break_down(_tell: Progress) -> None:
        raise RuntimeError("secret inner workings")

    jobs = Jobs()
    refused = jobs.start("Refused", refuse)
    assert refused.wait(5)
    assert (refused.state, refused.words) == ("failed", "the database is busy.")
    with caplog.at_level(logging.ERROR, "dashboard"):
        broken = jobs.start("Broken", break_down)
        assert broken.wait(5)
    assert "secret" not in broken.words
    assert caplog.records[0].getMessage().removeprefix("reference ") in broken.words


def test_old_jobs_are_forgotten_and_those_at_work_are_not() -> None:
    jobs, release = Jobs(), threading.Event()
    first = jobs.start("Long", held(release))
    others = [jobs.start(str(number), held(release)) for number in range(3)]
    release.set()
    assert all(job.wait(5) for job in (first, *others))
    later = [jobs.start("Later", lambda _tell: None) for _ in range(MOST_KEPT)]
    assert all(job.wait(5) for job in later)
    assert jobs.get(first.id) is None
    assert jobs.get(later[-1].id) is later[-1]


def put(room: WaitingRoom, size: int = 10) -> Parcel:
    return room.take("files", [FileStorage(BytesIO(b"x" * size), filename="a.csv")])


def test_the_waiting_room_lets_go_of_the_oldest(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(waiting, "MOST_PARCELS", 3)
    room = WaitingRoom()
    parcels = [put(room) for _ in range(12)]
    here = [parcel for parcel in parcels if room.find("files", parcel.token)]
    assert parcels[-1] in here
    assert len(here) <= 12
    assert [parcel.folder.exists() for parcel in parcels] == [parcel in here for parcel in parcels]


def test_the_waiting_room_is_bounded_in_size(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(waiting, "MOST_TOGETHER_BYTES", 250)
    room = WaitingRoom()
    parcels = [put(room, 100) for _ in range(4)]
    assert [room.find("files", parcel.token) is not None for parcel in parcels] == [False, False, True, True]


def test_what_waited_too_long_is_gone() -> None:
    room = WaitingRoom()
    old, new = put(room), put(room)
    old.at_s -= waiting.MOST_AGE_S + 1
    assert room.find("files", old.token) is None
    assert not old.folder.exists()
    assert room.find("files", new.token) is new
    assert room.find("backup", new.token) is None


def test_what_is_being_worked_on_is_never_let_go(monkeypatch: pytest.MonkeyPatch) -> None:
    room, jobs, release = WaitingRoom(), Jobs(), threading.Event()
    parcels = [put(room) for _ in range(waiting.MOST_PARCELS)]
    for parcel in parcels:
        parcel.use = jobs.start("Hold", held(release))
        parcel.at_s -= waiting.MOST_AGE_S + 1
    try:
        with pytest.raises(InputError, match="Wait until some are done"):
            put(room)
        assert all(parcel.folder.exists() for parcel in parcels)
        assert len(list(room._place().iterdir())) == len(parcels)
    finally:
        release.set()
