"""What is done with files that wait: looked at, brought in, put in place of everything; each as a job that can be left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from flask import current_app
from werkzeug.datastructures import FileStorage

from dashboard.addresses import data_address
from dashboard.exchange.jobs import Job, Jobs, Work
from dashboard.exchange.receiving import MOST_BACKUP_BYTES, MOST_FILES_BYTES, too_large
from dashboard.exchange.waiting import GivenFile, Parcel, WaitingRoom
from dashboard.needs import Services
from tracker.domain.exchange import Contents
from tracker.domain.progress import Progress
from tracker.domain.results import ImportReport
from tracker.domain.trace import TraceNote, TraceReading
from tracker.errors import ConflictError, InputError, NotFoundError, StoreError, TrackerError

PATIENCE_S = 1.5
"""Up to so long a form waits for its answer, so that quick work shows no progress at all."""
MOST_ESTIMATED_RUNS = 20_000
"""Up to so many runs are estimated as part of bringing in; more are left for the next look at them."""


@dataclass(frozen=True, slots=True)
class Looked:
    """What is in files that were sent."""

    logbook: tuple[GivenFile, ...]
    recordings: tuple[GivenFile, ...]
    """Of which a person has to say to which run they belong."""
    report: ImportReport | None
    """Of the logbook files; None when there are none."""


@dataclass(frozen=True, slots=True)
class Compared:
    """What a backup holds beside what is stored."""

    backup: Contents
    stored: Contents


@dataclass(frozen=True, kw_only=True, slots=True)
class Wish:
    """How a recording is to be kept."""

    pack: str
    started_at: datetime
    vehicle: str | None
    reading: TraceReading | None
    replace: bool


class Desk:
    """One server's waiting files and jobs."""

    def __init__(self, services: Services) -> None:
        self.services = services
        self.room = WaitingRoom()
        self.jobs = Jobs()

    def take_files(self, files: Sequence[FileStorage]) -> Parcel:
        """Keep logbook files and recordings, and look at them."""
        parcel = self._take("files", files, MOST_FILES_BYTES)
        parcel.look = self.jobs.start(
            "Looking at the files", lambda tell: self._look(parcel, tell), address=data_address(files=parcel.token)
        )
        parcel.look.wait(PATIENCE_S)
        return parcel

    def take_backup(self, files: Sequence[FileStorage]) -> Parcel:
        """Keep a backup, and check it."""
        if len(files) > 1:
            raise InputError(f"{len(files)} files were sent. A backup is one file: choose it alone.")
        parcel = self._take("backup", files, MOST_BACKUP_BYTES)
        address = data_address(backup=parcel.token)
        parcel.look = self.jobs.start("Checking the backup", lambda _tell: self._compare(parcel), address=address)
        parcel.look.wait(PATIENCE_S)
        return parcel

    def bring_in(self, parcel: Parcel, *, replace: bool) -> Job:
        """Store what logbook files bring; asked twice, it is done once."""
        looked = parcel.look.result if parcel.look is not None else None
        if not isinstance(looked, Looked) or looked.report is None:
            raise ConflictError("These files hold nothing that could be brought in. Look at what is said about them first.")
        files = looked.logbook
        return self._use(parcel, "Bringing the files in", data_address(files=parcel.token), lambda tell: self._store(files, replace, tell))

    def keep(self, parcel: Parcel, number: int, wish: Wish) -> Job:
        """Keep one of the recordings with its run; asked twice, it is done once."""
        file = recording(parcel, number)
        address = data_address(files=parcel.token, recording=str(number))
        with parcel.lock:
            job = parcel.kept.get(number)
            if job is None or (job.ended and job.state == "failed"):
                parcel.kept[number] = job = self.jobs.start("Keeping the recording", lambda _tell: self._keep(file, wish), address=address)
        job.wait(PATIENCE_S)
        return job

    def _keep(self, file: GivenFile, wish: Wish) -> TraceNote:
        try:
            return self.services.traces.keep(
                file.path,
                pack=wish.pack,
                started_at=wish.started_at,
                vehicle=wish.vehicle,
                reading=wish.reading,
                replace=wish.replace,
                file_name=file.name,
            )
        except TrackerError as error:
            raise InputError(called(str(error), file)) from error

    def replace_all(self, parcel: Parcel) -> Job:
        """Put a backup in place of everything."""
        if parcel.look is None or not isinstance(parcel.look.result, Compared):
            raise ConflictError("This backup has not passed its check, and nothing was changed.")
        [file] = parcel.files
        address = data_address(backup=parcel.token)
        return self._use(parcel, "Putting the backup back", address, lambda tell: self._replace(file, tell))

    def estimate_anew(self) -> Job:
        """Estimate every run from the beginning."""
        title = "Estimating all runs anew"
        for job in self.jobs.under_way():
            if job.title == title:
                return job
        job = self.jobs.start(title, lambda tell: self.services.runs.refresh(tell, everything=True))
        job.wait(PATIENCE_S)
        return job

    def _take(self, kind: str, files: Sequence[FileStorage], most_bytes: int) -> Parcel:
        parcel = self.room.take(kind, files)
        if parcel.size_bytes > most_bytes:
            self.room.drop(parcel)
            raise too_large(parcel.size_bytes, most_bytes)
        return parcel

    def _use(self, parcel: Parcel, title: str, address: str, work: Work) -> Job:
        with parcel.lock:
            if parcel.use is None or (parcel.use.ended and parcel.use.state == "failed"):
                parcel.use = self.jobs.start(title, work, address=address)
            job = parcel.use
        job.wait(PATIENCE_S)
        return job

    def _look(self, parcel: Parcel, tell: Progress) -> Looked:
        logbook: list[GivenFile] = []
        recordings: list[GivenFile] = []
        for file in parcel.files:
            (recordings if self._is_recording(file) else logbook).append(file)
        report = self._import(logbook, tell, update=True, dry_run=True) if logbook else None
        return Looked(tuple(logbook), tuple(recordings), report)

    def _is_recording(self, file: GivenFile) -> bool:
        """Whether a person has to say more of it: the run it is of, or even which column is which."""
        kind = self.services.exchange.kind(file.path)
        return kind == "recording" or (kind is None and bool(self.services.exchange.table_head(file.path)[0]))

    def _store(self, files: Sequence[GivenFile], replace: bool, tell: Progress) -> ImportReport:
        report = self._import(files, tell, update=replace)
        if self.services.runs.waiting() <= MOST_ESTIMATED_RUNS:
            self.services.runs.refresh(tell)
        return report

    def _import(self, files: Sequence[GivenFile], tell: Progress, *, update: bool, dry_run: bool = False) -> ImportReport:
        names = {file.path: file.name for file in files}
        return self.services.exchange.import_files(list(names), update=update, dry_run=dry_run, names=names, progress=tell)

    def _compare(self, parcel: Parcel) -> Compared:
        [file] = parcel.files
        try:
            return Compared(self.services.exchange.examine(file.path), self.services.database.facts().contents)
        except StoreError as error:
            raise StoreError(called(str(error), file)) from error

    def _replace(self, file: GivenFile, tell: Progress) -> Path:
        try:
            return self.services.exchange.replace_all(file.path, tell)
        except StoreError as error:
            raise StoreError(called(str(error), file)) from error


def recording(parcel: Parcel, number: int) -> GivenFile:
    """One of the recordings of a parcel; NotFoundError when it has no such."""
    looked = parcel.look.result if parcel.look is not None else None
    if not isinstance(looked, Looked) or not 0 <= number < len(looked.recordings):
        raise NotFoundError("There is no such recording among these files. Choose the files again.")
    return looked.recordings[number]


def called(words: str, file: GivenFile) -> str:
    """Words about a file under the name its owner knows."""
    return words.replace(str(file.path), f"'{file.name}'")


def desk() -> Desk:
    """The desk of the server that answers this request."""
    found = current_app.extensions["exchange"]
    if not isinstance(found, Desk):
        raise TypeError(found)
    return found
