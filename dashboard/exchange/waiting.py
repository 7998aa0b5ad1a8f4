"""Where files wait between being sent and being brought in: under names nobody can guess, bounded in size, number and age."""

from __future__ import annotations

import secrets
import shutil
import tempfile
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from werkzeug.datastructures import FileStorage

from dashboard.exchange.jobs import Job
from tracker.errors import InputError

MEBIBYTE = 1024 * 1024
MOST_PARCELS, MOST_AGE_S, MOST_TOGETHER_BYTES = 12, 2 * 3600.0, 1024 * MEBIBYTE
LONGEST_NAME = 120


@dataclass(frozen=True, slots=True)
class GivenFile:
    """One file that was sent: where it lies, and what its owner calls it."""

    path: Path
    name: str
    size_bytes: int


@dataclass(slots=True)
class Parcel:
    """Files that were sent together, and what is done with them."""

    token: str
    kind: str
    """files or backup"""
    folder: Path
    files: tuple[GivenFile, ...]
    at_s: float
    look: Job | None = None
    """Looks at what is in them."""
    use: Job | None = None
    """Brings them in."""
    kept: dict[int, Job] = field(default_factory=dict)
    """Of recordings, by their place: keeps it with its run."""
    lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def busy(self) -> bool:
        """Whether somebody is at work on them."""
        return any(job is not None and not job.ended for job in (self.look, self.use, *self.kept.values()))

    @property
    def size_bytes(self) -> int:
        """All files together."""
        return sum(file.size_bytes for file in self.files)


class WaitingRoom:
    """All parcels of this server, in a temporary folder that goes with it."""

    def __init__(self) -> None:
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._parcels: dict[str, Parcel] = {}
        self._lock = threading.Lock()

    def take(self, kind: str, files: Sequence[FileStorage]) -> Parcel:
        """Keep files that were just sent; InputError when there is no room for them."""
        token = secrets.token_urlsafe(24)
        with self._lock:
            self._make_room(0, time.monotonic())
            folder = self._place() / token
            folder.mkdir()
        given: list[GivenFile] = []
        try:
            for file in files:
                path = folder / f"{len(given) + 1:03}"
                file.save(path)
                given.append(GivenFile(path, _name_of(file, given), path.stat().st_size))
            parcel = Parcel(token, kind, folder, tuple(given), time.monotonic())
            with self._lock:
                self._make_room(parcel.size_bytes, parcel.at_s)
                self._parcels[token] = parcel
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        return parcel

    def find(self, kind: str, token: str | None) -> Parcel | None:
        """The parcel of that token, if it is still here."""
        with self._lock:
            self._make_room(0, time.monotonic(), most=MOST_PARCELS)
            parcel = self._parcels.get(token or "")
        return parcel if parcel is not None and parcel.kind == kind else None

    def drop(self, parcel: Parcel) -> None:
        """Throw files away."""
        with self._lock:
            self._forget(parcel)

    def _make_room(self, size_bytes: int, now_s: float, *, most: int = MOST_PARCELS - 1) -> None:
        """Let go of what is too old, then of the oldest, until one more of that size fits."""
        free = [parcel for parcel in sorted(self._parcels.values(), key=lambda one: one.at_s) if not parcel.busy]
        for parcel in free:
            together = sum(one.size_bytes for one in self._parcels.values()) + size_bytes
            old = now_s - parcel.at_s > MOST_AGE_S
            if old or len(self._parcels) > most or together > MOST_TOGETHER_BYTES:
                self._forget(parcel)
        if len(self._parcels) > most:
            raise InputError("Too many files are being worked on at once. Wait until some are done, then send them again.")

    def _forget(self, parcel: Parcel) -> None:
        self._parcels.pop(parcel.token, None)
        shutil.rmtree(parcel.folder, ignore_errors=True)

    def _place(self) -> Path:
        if self._folder is None:
            self._folder = tempfile.TemporaryDirectory(prefix="pack-tracker-sent-", ignore_cleanup_errors=True)
        return Path(self._folder.name)


def _name_of(file: FileStorage, before: Sequence[GivenFile]) -> str:
    """What to call a file: the last part of the name it came with, as text for a page; never a place on this machine."""
    last = (file.filename or "").replace("\\", "/").rsplit("/", 1)[-1]
    name = "".join(char for char in last if char.isprintable()).strip()
    if len(name) > LONGEST_NAME:
        name = f"{name[: LONGEST_NAME - 11]}…{name[-10:]}"
    name = name or f"file {len(before) + 1}"
    taken, number, told = {one.name for one in before}, 1, name
    while told in taken:
        number += 1
        told = f"{name} ({number})"
    return told
