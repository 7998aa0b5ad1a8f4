"""Runs: writing them down and what they took."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from tracker.domain.progress import Progress
from tracker.domain.results import AssessedRun, RunEstimate
from tracker.domain.session import Run
from tracker.errors import ConflictError, NotFoundError
from tracker.estimators import MODEL
from tracker.services.assessing import assess, assess_and_save, histories, refresh, waiting_runs
from tracker.services.fitting import check_run
from tracker.services.naming import opening
from tracker.services.noting import put, remove
from tracker.store.database import Store


class Runs:
    """Runs and their estimates."""

    model = MODEL
    """Version of the method the estimates come from."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def log(self, run: Run, *, replace: bool = False) -> RunEstimate:
        """Store a run, estimate its pack's history anew and return the run's estimate."""
        with self._store.writing() as records:
            check_run(records, run)
            stored = records.run(run.pack, run.started_at)
            if stored not in (None, run) and not replace:
                raise ConflictError(
                    f"another run of '{run.pack}' that started at {run.started_at.astimezone():%Y-%m-%d %H:%M:%S} is stored already; "
                    "give the time this one started, or ask for the stored one to be replaced (--replace)."
                )
            put(records, run)
            [assessment] = assess_and_save(records, [run.pack])
        return next(each.estimate for each in assessment.runs if each.run.started_at == run.started_at)

    def one(self, pack: str, started_at: datetime) -> AssessedRun:
        """Return one run and what it took, estimated first where it is not current; NotFoundError when it is not stored."""
        refresh(self._store, [pack])
        with self._store.reading() as records:
            run, estimate = records.run(pack, started_at), records.estimate(pack, started_at, MODEL)
        if run is None or estimate is None:
            raise NotFoundError(f"{opening('run', (pack, started_at))} is not stored; look at the name and the time.")
        return AssessedRun(run=run, estimate=estimate)

    def preview(self, run: Run) -> RunEstimate:
        """Return what a run would be estimated to have taken; nothing is stored."""
        with self._store.reading() as records:
            check_run(records, run)
            [history] = histories(records, [run.pack])
            others = [each for each in history.runs if each.started_at != run.started_at]
            [assessment] = assess(records, [replace(history, runs=tuple(sorted([*others, run], key=lambda each: each.started_at)))])
        return next(each.estimate for each in assessment.runs if each.run.started_at == run.started_at)

    def assess(self, pack: str | None = None, everything: bool = False, progress: Progress | None = None) -> tuple[AssessedRun, ...]:
        """Return what each run took, by pack and time, of one pack or of all; what is not current is estimated first."""
        names = None if pack is None else [pack]
        if pack is not None:
            with self._store.reading() as records:
                records.pack(pack)
        refresh(self._store, names, everything=everything, progress=progress)
        with self._store.reading() as records:
            estimates = records.estimates(names, MODEL)
            # A run written down by another program just now has no estimate yet; it will at the next look.
            runs = [run for run in records.runs(names) if (run.pack, run.started_at) in estimates]
        return tuple(AssessedRun(run=run, estimate=estimates[run.pack, run.started_at]) for run in runs)

    def assess_as_then(self, pack: str | None = None, progress: Progress | None = None) -> tuple[AssessedRun, ...]:
        """Return what each run took as it could be known at the time: from what came before it, itself and the charge after it."""
        with self._store.reading() as records:
            names = [each.name for each in records.packs()] if pack is None else [records.pack(pack).name]
            found = assess(records, histories(records, names), progress, view="then")
        return tuple(each for judged in found for each in judged.runs)

    def refresh(self, progress: Progress | None = None, *, everything: bool = False) -> None:
        """Estimate what needs estimating, or everything anew."""
        refresh(self._store, everything=everything, progress=progress)

    def waiting(self) -> int:
        """Return how many runs need estimating."""
        return waiting_runs(self._store)

    def remove(self, pack: str, started_at: datetime) -> None:
        """Remove a run; NotFoundError when it is not stored."""
        with self._store.writing() as records:
            remove(records, "run", (pack, started_at))
