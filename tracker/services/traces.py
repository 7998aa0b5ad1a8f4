"""Recordings of runs: looking at a logger's file, keeping it with its run, and giving it out again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace as changed
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tracker.domain.session import Run
from tracker.domain.trace import Trace, TraceNote, TracePreview, TraceReading
from tracker.errors import ConflictError, FieldErrors, NotFoundError
from tracker.estimators.recorded import SUMMARY, summarise
from tracker.intake.traces import is_trace, read_trace
from tracker.physics.recording_shape import thinned
from tracker.services.assessing import assess_and_save
from tracker.services.checks import time_problems, unknown
from tracker.store.database import Store
from tracker.store.records import Records

LEAST_RUN_S = 1.0
"""A run made for a recording is at least so long."""


class Traces:
    """Recordings, each belonging to the run of its pack and time."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def look(self, file: Path, reading: TraceReading | None = None) -> TracePreview:
        """Return what was found out about a logger's file; nothing is stored."""
        return read_trace(file, reading).preview

    def is_trace(self, file: Path) -> bool:
        """Tell whether a file's header is that of a recording."""
        return is_trace(file)

    def keep(
        self,
        file: Path,
        *,
        pack: str | None = None,
        started_at: datetime | None = None,
        vehicle: str | None = None,
        reading: TraceReading | None = None,
        replace: bool = False,
        file_name: str | None = None,
    ) -> TraceNote:
        """Store a recording with the run of that pack and time, which is made when there is none, and assess the pack.

        Pack and time come from the file where it tells them. `file_name` is what the file was called where it came from.
        """
        found = read_trace(file, reading)
        named = pack or found.preview.pack
        began = started_at or found.preview.started_at
        problems = {}
        if not named:
            problems["pack"] = "is missing, and the file does not name one; give the pack the recording is of"
        if began is None:
            problems["started_at"] = "is missing, and the file does not tell it; give the time the run started"
        if problems or named is None or began is None:
            raise FieldErrors(problems)
        trace = changed(found.trace(named, began), file_name=file.name if file_name is None else file_name)
        with self._store.writing() as records:
            _check(records, trace, vehicle)
            if started_at is None:
                _refuse_another_run(records, trace)
            note = keep_trace(records, trace, vehicle, replace=replace)
            records.mark_stale(named)
            assess_and_save(records, [named])
        return note

    def get(self, pack: str, started_at: datetime) -> Trace:
        """The recording of a run; NotFoundError when there is none."""
        with self._store.reading() as records:
            found = records.trace(pack, started_at)
        if found is None:
            raise NotFoundError(f"no recording of '{pack}' at {started_at.astimezone():%Y-%m-%d %H:%M} is stored; bring its file in.")
        return found

    def thinned(
        self, pack: str, started_at: datetime, low_s: float | None = None, high_s: float | None = None, points: int = 2000
    ) -> Trace:
        """The recording of a run, or the part between two times, with so many readings at most: the lowest and highest stay."""
        trace = self.get(pack, started_at)
        kept = thinned(trace.time_s, trace.pack_v, trace.current_a, trace.cell_v, low_s, high_s, points)
        return changed(
            trace,
            time_s=trace.time_s[kept],
            pack_v=trace.pack_v[kept],
            current_a=trace.current_a[kept],
            cell_v=trace.cell_v[kept],
            pack_k=trace.pack_k[kept] if len(trace.pack_k) else trace.pack_k,
        )

    def all(self) -> tuple[TraceNote, ...]:
        """Which runs have a recording, by pack and time."""
        with self._store.reading() as records:
            return records.trace_notes()

    def kept(self, pack: str) -> tuple[TraceNote, ...]:
        """Which runs of one pack have a recording, in time order."""
        return tuple(note for note in self.all() if note.pack == pack)

    def remove(self, pack: str, started_at: datetime) -> None:
        """Remove the recording of a run and keep the run; NotFoundError when there is none."""
        with self._store.writing() as records:
            records.remove_trace(pack, started_at)
            records.mark_stale(pack)
            records.save_findings(pack, ())


def keep_trace(records: Records, trace: Trace, vehicle: str | None = None, *, replace: bool = False) -> TraceNote:
    """Store a recording that was checked, within a transaction; the run of its time is made when there is none."""
    summary = summarise(trace)
    run = records.run(trace.pack, trace.started_at)
    if run is None:
        long_s = summary.run_s if summary.run_s > 0 else float(trace.time_s[-1])
        records.add_runs([Run(pack=trace.pack, started_at=trace.started_at, run_s=max(long_s, LEAST_RUN_S), vehicle=vehicle)])
    elif vehicle is not None and run.vehicle is None:
        records.replace_run(changed(run, vehicle=vehicle))
    elif vehicle is not None and run.vehicle != vehicle:
        raise ConflictError(
            f"the run of '{trace.pack}' at that time was driven with '{run.vehicle}'; leave the vehicle out, or change the run."
        )
    stored = records.trace(trace.pack, trace.started_at)
    if stored is not None and is_same(stored, trace):
        return _note_of(records, trace)
    if stored is not None and not replace:
        raise ConflictError(
            f"another recording of '{trace.pack}' that started at {trace.started_at.astimezone():%Y-%m-%d %H:%M:%S} is stored already; "
            "give the time this one started, or ask for the stored one to be replaced."
        )
    return records.put_trace(trace, summary, SUMMARY)


def is_same(one: Trace, other: Trace) -> bool:
    """Tell whether two recordings hold the same numbers; what their files were called makes no difference."""
    return changed(one, file_name="") == changed(other, file_name="")


def cell_problem(trace: Trace, series: int) -> str | None:
    """Return what is wrong with a recording's number of cells for a pack."""
    cells = trace.cell_v.shape[1]
    if cells in (0, series):
        return None
    return f"the file has {cells} cells, but pack '{trace.pack}' has {series} in series; allowed are {series}, or none"


def _note_of(records: Records, trace: Trace) -> TraceNote:
    return next(note for note in records.trace_notes() if (note.pack, note.started_at) == (trace.pack, trace.started_at))


def _check(records: Records, trace: Trace, vehicle: str | None) -> None:
    names = [pack.name for pack in records.packs()]
    if trace.pack not in names:
        raise NotFoundError(unknown("pack", trace.pack, names, "look at the spelling, or bring in a packs file that describes it."))
    problems: dict[str, str] = {}
    cells = cell_problem(trace, records.pack(trace.pack).series)
    if cells:
        problems["columns"] = cells
    run = Run(pack=trace.pack, started_at=trace.started_at, run_s=LEAST_RUN_S)
    problems |= dict(time_problems(run, datetime.now(UTC)))
    vehicles = [each.name for each in records.vehicles()]
    if vehicle is not None and vehicle not in vehicles:
        problems["vehicle"] = unknown("vehicle", vehicle, vehicles, "look at the spelling, or store it first")
    if problems:
        raise FieldErrors(problems)


def _refuse_another_run(records: Records, trace: Trace) -> None:
    """A file's clock seldom says the very minute a person wrote down: a run that overlaps is named, and the person decides."""
    if records.run(trace.pack, trace.started_at) is not None:
        return
    ends = trace.started_at + timedelta(seconds=float(trace.time_s[-1]))
    near: Sequence[Run] = [
        run
        for run in records.runs([trace.pack], since=trace.started_at - timedelta(hours=12))
        if run.started_at <= ends and run.started_at + timedelta(seconds=run.run_s) >= trace.started_at
    ]
    if near:
        at = near[0].started_at.astimezone()
        raise FieldErrors(
            {
                "started_at": f"the file begins at {trace.started_at.astimezone():%Y-%m-%d %H:%M:%S}, while a run of '{trace.pack}' that started at "
                f"{at:%Y-%m-%d %H:%M:%S} is written down; give {at:%Y-%m-%dT%H:%M:%S%z} to keep the recording with that run, "
                "or the file's own time for a run of its own"
            }
        )
